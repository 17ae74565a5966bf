"""Settings of what a hand-built repair takes: plants, mat, stakes, hours, prices."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, TOOL_DEFAULT, setting

ALLEN_LEECH = "Allen & Leech 1997 (WES TR EL-97-8)"
MDE = "Maryland Department of the Environment, Waterway Construction Guidelines, MGWC 2.4"


@dataclass(frozen=True, kw_only=True)
class MaterialsSettings:
    """What a hand-built repair takes."""

    prices_file: str = setting(
        "",
        "Your own prices, a TOML file like the one that `reachrank settings --prices` prints. "
        "Empty: invented demo prices, good for trying out alone.",
    )

    # ---- live stakes -----------------------------------------------------------------------
    stake_length_m: float = setting(
        0.6,
        "Length of a live stake: 2 ft, the short end of the printed 2 to 3 ft.",
        unit="m",
        source="Pennsylvania DEP 363-2134-008 (2012); NRCS Engineering Field Handbook ch. 18",
        least=0.3,
        greatest=2.0,
    )
    stake_buried_low_frac: float = setting(
        2.0 / 3.0,
        "Least share of a live stake that is set into the bank.",
        unit="0-1",
        source=COMMON_PRACTICE,
        least=0.3,
        greatest=0.95,
    )
    stake_buried_high_frac: float = setting(
        0.75,
        f"Greatest share of a live stake that is set into the bank; {MDE} has 0.8.",
        unit="0-1",
        source=COMMON_PRACTICE,
        least=0.3,
        greatest=0.95,
    )
    stake_rule: str = setting(
        "spacing",
        "Which of the two next settings leads; the other follows from it by geometry. Handbooks "
        "print both, and at 3 ft apart they do not agree.",
        choices=("spacing", "density"),
    )
    stake_spacing_m: float = setting(
        0.6096,
        "Distance between live stakes on a triangular grid: 2 ft, of the printed 2 to 3 ft the "
        "one whose density (2.6 for each square yard) is within the printed 2 to 4.",
        unit="m",
        source=MDE,
        least=0.2,
        greatest=3.0,
    )
    stake_density_per_m2: float = setting(
        3.588,
        "Live stakes for each square metre: 3 for each square yard, the middle of the printed "
        "2 to 4. Used by the rule 'density'.",
        unit="1/m²",
        source=MDE,
        least=0.1,
        greatest=25.0,
    )
    survival_low_frac: float = setting(
        0.34,
        "Low share of cuttings alive after the first year: unrooted willow on a stream bank.",
        unit="0-1",
        source="Conroy & Svejcar 1991 (J. Range Manage.), Geyer willow, northeastern California",
        least=0.01,
        greatest=1.0,
    )
    survival_high_frac: float = setting(
        0.83,
        "High share of cuttings alive after the first year: the same on the stream bottom.",
        unit="0-1",
        source="Conroy & Svejcar 1991 (J. Range Manage.), Geyer willow, northeastern California",
        least=0.01,
        greatest=1.0,
    )
    most_planted_ratio: float = setting(
        2.0,
        "Most cuttings bought for each one wanted alive, however low the survival: beyond this "
        "replant in the next season.",
        unit="ratio",
        source=TOOL_DEFAULT,
        least=1.0,
        greatest=20.0,
    )

    # ---- fascines --------------------------------------------------------------------------
    bundle_length_m: float = setting(
        2.4384,
        "Length of one live fascine: 8 ft, of the printed 5 to 10 ft.",
        unit="m",
        source="Pennsylvania DEP 363-2134-008 (2012)",
        least=0.5,
        greatest=20.0,
    )
    bundle_overlap_m: float = setting(
        0.3, "Overlap of neighbouring fascines in a row.", unit="m", least=0.0, greatest=2.0
    )
    bundle_diameter_m: float = setting(
        0.1524,
        "Diameter of a fascine: 6 in. Handbooks run from 4 to 10 in.",
        unit="m",
        source="Pennsylvania DEP 363-2134-008 (2012): 6 to 8 in",
        least=0.05,
        greatest=0.5,
    )
    tie_spacing_m: float = setting(
        0.38, "Distance between ties.", unit="m", source=ALLEN_LEECH, least=0.1, greatest=2.0
    )
    dead_stake_spacing_m: float = setting(
        0.9,
        "Greatest distance between dead stout stakes: one row below a fascine, one through it, "
        "another pair at each overlap.",
        unit="m",
        source=ALLEN_LEECH,
        least=0.2,
        greatest=3.0,
    )
    twine_ball_m: float = setting(
        100.0, "Length of twine in a ball.", unit="m", least=1.0, greatest=10000.0
    )

    # ---- mat -------------------------------------------------------------------------------
    roll_width_m: float = setting(
        2.0, "Width of a roll of coir matting.", unit="m", least=0.5, greatest=10.0
    )
    roll_length_m: float = setting(
        25.0, "Length of a roll of coir matting.", unit="m", least=1.0, greatest=500.0
    )
    side_overlap_m: float = setting(
        0.15,
        "Overlap of the sides of neighbouring strips: 4 to 6 in.",
        unit="m",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=1.0,
    )
    end_overlap_m: float = setting(
        0.3,
        "Overlap at the end of a roll, the upstream one on top: 6 to 12 in.",
        unit="m",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=1.0,
    )
    top_key_m: float = setting(
        0.3,
        "Length of mat in the trench at the top: down one side and along the bottom of a 6 by "
        "6 in trench.",
        unit="m",
        source=f"{ALLEN_LEECH}: keyed into trenches at top and bottom; trench size: "
        f"{COMMON_PRACTICE}",
        least=0.0,
        greatest=2.0,
    )
    toe_key_m: float = setting(
        0.3,
        "The same at the toe.",
        unit="m",
        source=f"{ALLEN_LEECH}; trench size: {COMMON_PRACTICE}",
        least=0.0,
        greatest=2.0,
    )
    wood_stakes_per_m2: float = setting(
        2.392,
        "Hardwood stakes for each square metre of mat laid: 2 for each square yard. A maker's "
        "pattern holds for that maker's mat alone.",
        unit="1/m²",
        least=0.0,
        greatest=25.0,
    )
    staple_spacing_m: float = setting(
        0.3048,
        "Distance between staples in both trenches: 12 in.",
        unit="m",
        source=COMMON_PRACTICE,
        least=0.05,
        greatest=3.0,
    )

    # ---- hours -----------------------------------------------------------------------------
    mat_m2_per_hour: float = setting(
        10.0,
        "Mat that one person lays, keys in and stakes in an hour.",
        unit="m² per hour",
        source="tool default, no published rate",
        least=0.1,
        greatest=500.0,
    )
    shaping_m3_per_hour: float = setting(
        0.5,
        "Soil that one person cuts and spreads by hand in an hour.",
        unit="m³ per hour",
        source="tool default, no published rate",
        least=0.05,
        greatest=10.0,
    )
    unpractised_ratio: float = setting(
        2.0,
        "Hours of a crew without practice over those of a trained one: the high figure.",
        unit="ratio",
        source=f"low end of brush mattresses, 1 hour for each m² by a trained crew and 2 to 5 "
        f"otherwise ({ALLEN_LEECH})",
        least=1.0,
        greatest=10.0,
    )
