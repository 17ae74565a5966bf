"""Settings of the `hazard` stage: weights and breakpoints of the factors.

Breakpoints are knots ``(value, score)``: between two knots the score runs straight, beyond the
ends it stays level. Scores run from 0 (adds nothing) to 1 (adds its whole weight).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, setting

Knots = tuple[tuple[float, float], ...]

_BANK_TABLE = "class edges of Rosgen 2001 (7th Fed. Interagency Sed. Conf.), recalled, not re-read"


def _weight(default: float, text: str) -> float:
    weight: float = setting(default, text, least=0.0, greatest=1.0)
    return weight


def _knots(default: Knots, text: str, unit: str, source: str) -> Knots:
    knots: Knots = setting(default, text, unit=unit, source=source)
    return knots


@dataclass(frozen=True, kw_only=True)
class HazardSettings:
    """Settings of the `hazard` stage."""

    # ---- weights: shared out anew when a factor's layer is absent ------------------------
    bank_height_weight: float = _weight(
        0.10,
        "Weight of the bank's height over the greatest bankfull depth. Height carries the most in"
        " all (0.40 with the next), for it is what lidar measures best.",
    )
    bank_height_absolute_weight: float = _weight(
        0.30,
        "Weight of the bank's height itself, which goes on telling high banks apart where the"
        " ratio is at its cap, and is the only height term without a curve.",
    )
    bank_angle_weight: float = _weight(
        0.15, "Weight of the face's angle; less than height, for a grid often gives a lower bound."
    )
    bend_weight: float = _weight(0.20, "Weight of standing on the outside of a bend.")
    cover_weight: float = _weight(
        0.10,
        "Weight of missing trees and shrubs; held below height and bend, for along large rivers"
        " cover explained little (Nanson & Hickin 1986).",
    )
    soil_weight: float = _weight(0.05, "Weight of the soil; low: soil maps are coarse at a bank.")
    unit_stream_power_weight: float = _weight(
        0.05, "Weight of the stream's power on its bed; low, for slope and discharge are estimates."
    )
    cutting_down_weight: float = _weight(
        0.05,
        "Weight of unusually high banks on both sides at once, a sign of a sinking bed.",
    )

    # ---- breakpoints -----------------------------------------------------------------------
    bank_height_knots: tuple[tuple[float, float], ...] = _knots(
        ((1.0, 0.0), (1.11, 0.11), (1.2, 0.33), (1.6, 0.56), (2.1, 0.78), (2.8, 1.0)),
        "Score by bank height over the greatest bankfull depth. Lidar height leaves out the"
        " wetted depth, so the ratio reads low where there is water.",
        "ratio",
        f"{_BANK_TABLE}; index 1 to 10 brought to 0 to 1",
    )
    bank_height_absolute_knots: tuple[tuple[float, float], ...] = _knots(
        (
            (0.3, 0.0),
            (0.6, 0.08),
            (1.0, 0.20),
            (2.0, 0.55),
            (3.0, 0.75),
            (4.0, 0.87),
            (6.0, 0.95),
            (10.0, 1.0),
        ),
        "Score by bank height: a knee-high bank adds little however tight its bend; still rising at"
        " 4 m, so that high banks are told apart.",
        "m",
        "tool default, no published limit",
    )
    bank_angle_knots: tuple[tuple[float, float], ...] = _knots(
        ((10.0, 0.0), (21.0, 0.10), (61.0, 0.60), (81.0, 0.85), (90.0, 1.0)),
        "Score by the face's angle from level. A raster cannot show more than 90 degrees.",
        "degrees",
        f"{_BANK_TABLE}; scores are a tool default, spread over 0 to 90 degrees",
    )
    bend_knots: tuple[tuple[float, float], ...] = _knots(
        ((0.0, 0.0), (0.1, 0.10), (0.2, 0.30), (0.333, 0.65), (0.5, 0.85), (0.667, 1.0)),
        "Score on the outside of a bend by width over radius (0.333 is a radius of 3 widths); used"
        " by the rule 'monotone'.",
        "ratio",
        "rises throughout, as in Furbish 1988 (Geology 16:752) and Sylvester, Durkin & Covault 2019"
        " (Geology 47:263); level beyond a radius of 1.5 widths: tool default",
    )
    cover_knots: tuple[tuple[float, float], ...] = _knots(
        ((0.0, 1.0), (0.3, 0.65), (0.8, 0.1), (1.0, 0.0)),
        "Score by the share of tree and shrub cover behind the top of the bank.",
        "0-1",
        "tool default, no published limit; direction as in Beeson & Doyle 1995 (Water Resour. Bull."
        " 31:983)",
    )
    soil_knots: tuple[tuple[float, float], ...] = _knots(
        ((0.0, 0.0), (1.0, 1.0)),
        "Score by the soil's erodibility index, 0 to 1.",
        "0-1",
        "the index is the score",
    )
    unit_stream_power_knots: tuple[tuple[float, float], ...] = _knots(
        ((5.0, 0.0), (60.0, 0.5), (300.0, 1.0)),
        "Score by unit stream power at bankfull.",
        "W/m²",
        "upper end: Magilligan 1992 (Geomorphology 5:373), recalled, not re-read; the rest tool"
        " default",
    )
    cutting_down_knots: tuple[tuple[float, float], ...] = _knots(
        ((1.0, 0.0), (1.5, 0.5), (2.5, 1.0)),
        "Score by the lower bank's height over the greatest bankfull depth, or over the run's"
        " median of the same without a curve.",
        "ratio",
        "tool default, no published limit",
    )
    factor_weights: Mapping[str, float] = setting(
        {}, "Weights of factors that come from other packages, by name, in place of their own."
    )
    factor_knots: Mapping[str, tuple[tuple[float, float], ...]] = setting(
        {},
        "Breakpoints of factors that come from other packages, by name, in place of their own.",
    )

    # ---- missing values, sections, banks --------------------------------------------------
    missing_rule: str = setting(
        "median",
        "What a value absent in one place is scored as: 'median' the run's median, so that a place"
        " without data stands where a typical one does; 'least' the least that its breakpoints"
        " give, so that no place whatever can gain by lacking data, at the price of ranking low.",
        choices=("median", "least"),
    )
    bank_quantile: float = setting(
        0.8,
        "A bank takes this quantile of the scores of its sections: above the middle, for a bank"
        " fails where it is worst; below the end, so that one bad section does not decide.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )

    # ---- bankfull size --------------------------------------------------------------------
    greatest_depth_factor: float = setting(
        1.5,
        "Greatest over mean bankfull depth; 1.5 is a parabola. Curves give the mean.",
        unit="ratio",
        source="geometry of a parabola",
        least=1.0,
        greatest=4.0,
    )
    field_bankfull_width_m: float = setting(
        0.0,
        "Bankfull width measured in the field, for the run; 0 for none.",
        unit="m",
        least=0.0,
    )
    field_greatest_depth_m: float = setting(
        0.0,
        "Greatest bankfull depth measured in the field, for the whole run; 0 for none.",
        unit="m",
        least=0.0,
    )
    own_curve_units: str = setting(
        "metric",
        "Units of your own curve (curve 'own'): metric is km², m, m³/s; us is mi², ft, ft³/s.",
        choices=("metric", "us"),
    )
    own_curve_width: tuple[float, ...] = setting(
        (), "a and b of your own curve's width = a * area^b; empty for none."
    )
    own_curve_depth: tuple[float, ...] = setting(
        (), "a and b of your own curve's mean depth; empty for none."
    )
    own_curve_discharge: tuple[float, ...] = setting(
        (), "a and b of your own curve's discharge; empty for none."
    )
    own_curve_fit: tuple[float, ...] = setting(
        (),
        "Least and greatest drainage area behind your own curve, in its units; or empty.",
    )
    own_curve_citation: str = setting("", "Where your own curve comes from.")

    # ---- bends ----------------------------------------------------------------------------
    bend_rule: str = setting(
        "monotone",
        "How the score follows the bend: 'monotone' rises with tightness by bend_knots, 'peaked' is"
        " greatest at bend_peak_ratio and falls for tighter bends. Published results disagree.",
        source="monotone: Furbish 1988, Sylvester et al. 2019; peaked: Hickin & Nanson 1975",
        choices=("monotone", "peaked"),
    )
    bend_peak_ratio: float = setting(
        3.0,
        "Radius over width where the peaked rule is greatest.",
        unit="ratio",
        source="Hickin & Nanson 1975 (GSA Bull. 86:487), 'approximates 3.0'",
        least=1.0,
        greatest=20.0,
    )
    bend_peak_floor: float = setting(
        0.5,
        "Score of the peaked rule at a radius of one width.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )
    bend_lag_widths: float = setting(
        1.0,
        "How far downstream of the bend its outside bank is worn, in channel widths. That there is"
        " a near-constant lag is published; its default length here is not.",
        unit="widths",
        source="lag: Sylvester, Durkin & Covault 2019; its length: tool default",
        least=0.0,
        greatest=10.0,
    )

    # ---- cover, soil ----------------------------------------------------------------------
    cover_strip_m: float = setting(
        10.0, "Width of the strip behind the top of the bank.", unit="m", least=1.0, greatest=200.0
    )
    soil_texture_index: Mapping[str, float] = setting(
        {
            "sand": 1.0, "loamy sand": 0.95, "sandy loam": 0.84, "fine sandy loam": 0.8,
            "silt": 0.68, "silt loam": 0.68, "loam": 0.48, "sandy clay loam": 0.45,
            "silty clay loam": 0.4, "clay loam": 0.35, "sandy clay": 0.3, "silty clay": 0.2,
            "clay": 0.0, "gravel": 0.48,
        },
        "Erodibility index by texture: permissible shear on a log scale from fine sand"
        " (0.02 lb/ft², 1) to stiff clay (0.26 lb/ft², 0).",
        unit="0-1",
        source="sand, sandy loam, silt loam, loam, fine gravel, clay: Fischenich 2001 (ERDC"
        " TN-EMRRP-SR-29), recalled, not re-read; the textures between them: tool default",
    )  # fmt: skip
    soil_erodibility_knots: tuple[tuple[float, float], ...] = _knots(
        ((0.02, 0.0), (0.64, 1.0)),
        "Erodibility index by the erodibility attribute, used where a soil has no texture; the"
        " default is the usual range of a soil-loss K factor in U.S. units.",
        "as given",
        "tool default, no published limit",
    )

    # ---- stream power ---------------------------------------------------------------------
    slope_window_widths: float = setting(
        20.0,
        "Length of the profile over which slope is fitted, in channel widths: several pools and"
        " riffles, which come every 5 to 7 widths.",
        unit="widths",
        source=COMMON_PRACTICE,
        least=5.0,
        greatest=200.0,
    )
    slope_window_least_m: float = setting(
        100.0, "Least length of that window.", unit="m", least=10.0, greatest=5000.0
    )
    manning_n: float = setting(
        0.045,
        "Manning's n for discharge at bankfull where the curve has none: a winding natural stream"
        " with some weeds and stones.",
        unit="s/m^(1/3)",
        source="within the usual range for natural streams (Chow 1959), from memory",
        least=0.01,
        greatest=0.3,
    )

    # ---- measurement errors, for the rank draws -------------------------------------------
    angle_se_deg: float = setting(
        5.0,
        "Standard error of a bank's angle.",
        unit="degrees",
        source="near the 5.5 degrees that Smith et al. 2019 (ESurf 7:475) give for 1 m cells",
        least=0.0,
        greatest=45.0,
    )
    cover_se_frac: float = setting(
        0.1, "Standard error of the share of cover.", unit="0-1", least=0.0, greatest=0.5
    )
    depth_relative_se: float = setting(
        0.2,
        "Relative standard error of the greatest bankfull depth from a curve.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )
    power_relative_se: float = setting(
        0.4, "Relative standard error of unit stream power.", unit="0-1", least=0.0, greatest=2.0
    )
    radius_relative_se: float = setting(
        0.15,
        "Relative standard error of width over bend radius.",
        unit="0-1",
        least=0.0,
        greatest=1.0,
    )
