"""Every layer and column, spelled once: name, type, unit, limits, meaning, source.

The GeoPackage field descriptions, the data dictionary, the desktop labels and the check before
writing all come from here. Names are metric; `units.py` turns them into U.S. customary ones.
Left and right look downstream. Columns that end in ``_score`` or ``_frac`` run from 0, scores to
100 and fractions to 1.
"""

# One column to a line, so that a layer reads as a table.
# fmt: off

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

Kind = Literal["str", "int", "float", "bool", "bytes"]
Geometry = Literal["LineString", "Any", "None"]


@dataclass(frozen=True)
class Column:
    """One column. ``required`` columns never hold a null; ``unit`` is empty for words and counts."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    least: float | None = None
    greatest: float | None = None
    required: bool = False
    label: str = ""

    @property
    def title(self) -> str:
        """A label for people: the words of the name, then the unit."""
        words = self.label or _words_without_unit(self.name)
        return f"{words} ({self.unit})" if self.unit and self.unit not in ("0-1", "0-100") else words


@dataclass(frozen=True)
class Layer:
    """One layer. ``public`` layers are for people; the others only pass between stages.

    ``file`` says which files hold it: the ranked one, or those made from it for requests.
    """

    name: str
    geometry: Geometry
    meaning: str
    columns: tuple[Column, ...]
    public: bool = True
    file: Literal["ranked", "requests"] = "ranked"

    def __iter__(self) -> Iterator[Column]:
        return iter(self.columns)

    def __getitem__(self, name: str) -> Column:
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"{self.name}.{name}")

    @property
    def names(self) -> tuple[str, ...]:
        """The column names in order, without the geometry."""
        return tuple(column.name for column in self.columns)


_UNIT_OF_SUFFIX = {
    "_per_m": "1/m",
    "_m": "m",
    "_m2": "m²",
    "_m3": "m³",
    "_km2": "km²",
    "_deg": "degrees",
    "_yr": "years",
    "_frac": "0-1",
    "_score": "0-100",
    "_ratio": "ratio",
    "_usd": "US$",
    "_w_per_m2": "W/m²",
    "_m_per_s": "m/s",
    "_pa": "Pa",
    "_t_yr": "t/yr",
    "_kg_yr": "kg/yr",
}


_SCREENING = "_screening"


def unit_of(name: str) -> str:
    """Return the unit that the ending of a column's name states, ``""`` for none."""
    name = name.removesuffix(_SCREENING)
    endings = sorted(_UNIT_OF_SUFFIX, key=len, reverse=True)
    return next((_UNIT_OF_SUFFIX[e] for e in endings if name.endswith(e)), "")


def _words_without_unit(name: str) -> str:
    if name.endswith(_SCREENING):
        return f"{_words_without_unit(name.removesuffix(_SCREENING))}, screening"
    endings = sorted(_UNIT_OF_SUFFIX, key=len, reverse=True)
    ending = next((e for e in endings if name.endswith(e) and e not in ("_score", "_ratio")), "")
    return name[: len(name) - len(ending)].replace("_", " ").capitalize()


_DEFAULT_LIMITS: dict[str, tuple[float | None, float | None]] = {
    "_frac": (0.0, 1.0),
    "_score": (0.0, 100.0),
    "_deg": (-360.0, 360.0),
}


def _c(
    name: str,
    kind: Kind,
    meaning: str,
    *,
    least: float | None = None,
    greatest: float | None = None,
    required: bool = False,
    unit: str | None = None,
) -> Column:
    ending = next((e for e in _DEFAULT_LIMITS if name.endswith(e)), "")
    low, high = _DEFAULT_LIMITS.get(ending, (None, None))
    return Column(
        name,
        kind,
        meaning,
        unit_of(name) if unit is None else unit,
        low if least is None else least,
        high if greatest is None else greatest,
        required,
    )


_REACH_ID = _c("reach_id", "str", "Name of the reach: stream, then its number upstream.", required=True)
_STREAM_ID = _c("stream_id", "str", "Name of the stream, the path from a mouth up its main stem.", required=True)
_BANK = _c("bank", "str", "left or right, looking downstream.", required=True)
_STRUCTURE_DISTANCE = _c(
    "structure_distance_m", "float",
    "Least distance from the top-of-bank line to a structure within reach; null where none is.", least=0,
)
_REACHED = (
    _c("reached_soonest_yr", "float", "Years until the bank's edge gets to the structure at the high recession of its hazard's category; the greatest value means that many or more.", least=0),
    _c("reached_middle_yr", "float", "The same at the middle recession.", least=0),
    _c("reached_latest_yr", "float", "The same at the low recession.", least=0),
)
_HAZARD = _c("hazard_score", "float", "How likely the bank is to go on failing.")
_EXPOSURE = _c("exposure_score", "float", "What would be lost: near structures, by class and distance.")
_PRIORITY = _c("priority_score", "float", "Hazard and exposure together, by the rule in the settings.")
_RANK = _c("rank", "int", "1 is first; ties share a rank and the next rank is skipped.", least=1)
_REPAIR_LENGTH = _c("repair_length_m", "float", "Length of bank here that needs work.", least=0)
_REASON = _c("reason", "str", "Why it scores as it does, in plain words.")

REACHES = Layer(
    "reaches", "LineString", "Stretches of a stream between junctions, about as long as the target length.",
    (
        _REACH_ID,
        _STREAM_ID,
        _c("stream_name", "str", "Name from the input layer; null without one."),
        _c("edge_id", "str", "The line between two junctions that it is cut from.", required=True),
        _c("station_from_m", "float", "Lower end, along the found channel from the stream's mouth.", required=True),
        _c("station_to_m", "float", "Upper end, along the found channel from the stream's mouth.", required=True),
        _c("length_m", "float", "Length along the found channel.", least=0, required=True),
        _c("stream_order", "int", "Strahler order.", least=1),
        _c("drainage_area_km2", "float", "Drainage area at the lower end; null where no source serves.", least=0),
        _c("slope_ratio", "float", "Fall of the channel's low line over its length; null where not measured."),
        _c("sinuosity_ratio", "float", "Channel length over straight distance, end to end.", least=1),
        _c("toe_width_m", "float", "Median width between the toes, at the water's edge of the flight.", least=0),
        _c("top_width_m", "float", "Median width from lip to lip.", least=0),
        _c("bankfull_width_m", "float", "From a field value, an attribute or the chosen regional curve; null without.", least=0),
        _c("bankfull_depth_m", "float", "Mean bankfull depth from the chosen regional curve or a field value.", least=0),
        _c("width_source", "str", "Which width radius_width_ratio uses: field, attribute, curve or top_width."),
        _c("radius_m", "float", "Least bend radius touching the reach; null where it has no bend.", least=0),
        _c("radius_width_ratio", "float", "radius_m over the width named in width_source.", least=0),
        _c("bend_id", "str", "The tightest bend that the reach touches; null for none."),
        _c("outside_bank", "str", "The outside (concave) bank of that bend: left or right; null for none."),
        _c("left_bank_height_m", "float", "Median height of the left bank, top minus toe; lidar leaves out the wetted depth.", least=0),
        _c("right_bank_height_m", "float", "Median height of the right bank, top minus toe; lidar leaves out the wetted depth.", least=0),
        _c("left_bank_angle_deg", "float", "Median angle of the left bank's face from level.", least=0, greatest=90),
        _c("right_bank_angle_deg", "float", "Median angle of the right bank's face from level.", least=0, greatest=90),
        _c("bank_height_ratio", "float", "Worse bank's height over the greatest bankfull depth (mean depth times a setting); lidar height leaves out the wetted depth.", least=0),
        _STRUCTURE_DISTANCE,
        _c("structure_id", "str", "The structure at that distance."),
        _c("worst_bank", "str", "The bank with the higher priority: left or right."),
        _HAZARD, _EXPOSURE, _PRIORITY, _RANK,
        _c("rank_low", "int", "5th percentile of the rank over the draws.", least=1),
        _c("rank_high", "int", "95th percentile of the rank over the draws.", least=1),
        _c("top_share", "float", "Share of draws in which it is among the first N.", least=0, greatest=1),
        _c("priority_class", "str", "Class of the priority score, by breakpoints in the settings."),
        _c("confidence_frac", "float", "How much of the score's weight was measured here, times the share of usable sections."),
        _REPAIR_LENGTH,
        _REASON,
    ),
)

BANKS = Layer(
    "banks", "LineString", "A reach's left or right top-of-bank line, drawn downstream.",
    (
        _c("bank_id", "str", "Name of the bank: reach, then L or R.", required=True),
        _REACH_ID,
        _BANK,
        _c("length_m", "float", "Length of the top-of-bank line.", least=0, required=True),
        _c("bank_height_m", "float", "Median height, top minus toe, of the sections that count.", least=0),
        _c("bank_height_p90_m", "float", "90th percentile of the height of the sections that count.", least=0),
        _c("bank_height_se_m", "float", "Standard error of bank_height_m from the elevation noise and the sections' spread.", least=0),
        _c("bank_angle_deg", "float", "Median angle of the face from level; see is_angle_lower_bound.", least=0, greatest=90),
        _c("is_angle_lower_bound", "bool", "True where the grid cannot resolve the face: it is at least this steep."),
        _c("outside_frac", "float", "Share of the bank's length on the outside of a bend."),
        _c("cover_frac", "float", "Share of tree or shrub cover in a strip behind the top; null without a cover layer."),
        _c("hazard_confidence_frac", "float", "How much of the hazard's weight was measured here, times the share of usable sections."),
        _c("second_opinion_known_points", "float", "Points of the parts that are known of a published five-part hazard index (Rosgen 2001), 1 to 10 each; not comparable with a total of five.", least=0, greatest=20),
        _c("second_opinion_missing", "str", "The parts of that index that are not known here, comma between."),
        _c("near_bank_stress_number", "int", "Near-bank stress, 1 to 6, by bend radius over width (Rosgen 2006, method 2); null on the inside of a bend.", least=1, greatest=6),
        _c("sections_used", "int", "Number of sections that count for this bank.", least=0),
        _STRUCTURE_DISTANCE,
        _c("structure_id", "str", "The structure at that distance."),
        *_REACHED,
        _HAZARD, _EXPOSURE, _PRIORITY, _RANK,
        _c("rank_low", "int", "5th percentile of the rank over the draws.", least=1),
        _c("rank_high", "int", "95th percentile of the rank over the draws.", least=1),
        _c("top_share", "float", "Share of draws in which it is among the first N.", least=0, greatest=1),
        _c("confidence_frac", "float", "How much of the score's weight was measured here, times the share of usable sections."),
        _REPAIR_LENGTH,
        _REASON,
    ),
)

BENDS = Layer(
    "bends", "LineString", "Centreline from one inflection to the next, drawn downstream.",
    (
        _c("bend_id", "str", "Name of the bend: stream, then its number upstream.", required=True),
        _STREAM_ID,
        _c("start_station_m", "float", "Station of the upstream inflection.", required=True),
        _c("apex_station_m", "float", "Station where the radius is least.", required=True),
        _c("end_station_m", "float", "Station of the downstream inflection.", required=True),
        _c("radius_m", "float", "Least radius of the centreline, at the apex; at least half the toe width.", least=0, required=True),
        _c("radius_width_ratio", "float", "radius_m over bankfull width, else top width.", least=0),
        _c("turning_deg", "float", "Change of direction from end to end; positive turns left going downstream; beyond a full turn where the ground is no channel.", least=-1e6, greatest=1e6, required=True),
        _c("length_m", "float", "Length along the centreline.", least=0, required=True),
        _c("outside_bank", "str", "The concave bank: left or right, looking downstream.", required=True),
    ),
)


def _section_side(side: str) -> tuple[Column, ...]:
    return (
        _c(f"{side}_toe_offset_m", "float", f"Centreline to the {side} toe, the water's edge of the flight.", least=0),
        _c(f"{side}_top_offset_m", "float", f"Centreline to the {side} top, the lip of the bank; a natural levee's crest counts as the top.", least=0),
        _c(f"{side}_top_elevation_m", "float", f"Elevation of the {side} top."),
        _c(f"{side}_bank_height_m", "float", f"{side.capitalize()} top minus toe; lidar leaves out the wetted depth.", least=0),
        _c(f"{side}_bank_angle_deg", "float", f"Angle of the {side} face from level; see the next column.", least=0, greatest=90),
        _c(f"{side}_is_angle_lower_bound", "bool", "True where the grid cannot resolve the face: it is at least this steep."),
        _c(f"{side}_hazard_score", "float", f"Hazard of the {side} bank at this section."),
    )


SECTIONS = Layer(
    "sections", "LineString", "Cross-sections from the left top to the right top.",
    (
        _c("section_id", "str", "Name of the section: stream, then its station.", required=True),
        _c("reach_id", "str", "The reach it lies in; null before the reaches are made."),
        _STREAM_ID,
        _c("station_m", "float", "Along the found channel from the stream's mouth.", required=True),
        _c("curvature_per_m", "float", "Centreline curvature; positive turns left going downstream, then the right bank is outside."),
        _c("bed_elevation_m", "float", "Low part of the section: the water surface where there is water."),
        _c("toe_width_m", "float", "Width between the toes.", least=0),
        _c("top_width_m", "float", "Width from lip to lip.", least=0),
        _c("line_offset_m", "float", "How far the input line lies from the found channel.", least=0),
        *_section_side("left"),
        *_section_side("right"),
        _c("quality", "float", "0 unusable to 1 clean.", least=0, greatest=1, required=True),
        _c("flags", "str", "Words, space between: crossing pond gap coarse no_top angle_lower_bound line_far junction.", required=True),
        _c("edge_id", "str", "The line between two junctions that it lies on.", required=True),
        _c("bend_id", "str", "The bend it lies in; null outside of bends."),
        _c("bearing_deg", "float", "Direction of the channel here, downstream, clockwise from grid north.", least=0, greatest=360, required=True),
        _c("x_m", "float", "Easting of the section's middle in the working CRS.", required=True),
        _c("y_m", "float", "Northing of the section's middle in the working CRS.", required=True),
        _c("noise_m", "float", "Standard deviation of the elevation noise beside the channel.", least=0),
    ),
)

EXPOSURES = Layer(
    "exposures", "LineString", "Lines from the nearest point of a bank's top to each structure within reach.",
    (
        _c("exposure_id", "str", "Name of the pair.", required=True),
        _c("structure_id", "str", "The structure's id in its own layer, with the layer's name.", required=True),
        _c("structure_class", "str", "Class of the structure, from the class attribute or the layer.", required=True),
        _c("source", "str", "Layer that the structure comes from.", required=True),
        _c("bank_distance_m", "float", "From the top of the bank to the structure; 0 where it lies on the line.", least=0, required=True),
        _BANK,
        _c("bank_id", "str", "The bank that faces it.", required=True),
        _REACH_ID,
        *_REACHED,
    ),
)

REPAIRS = Layer(
    "repairs", "LineString", "The failing length itself, along the top of the bank, drawn downstream.",
    (
        _c("repair_id", "str", "Name of the repair.", required=True),
        _BANK,
        _c("reach_ids", "str", "The reaches it lies in, upstream first, comma between.", required=True),
        _c("rank", "int", "Best rank of its reaches.", least=1),
        _c("length_m", "float", "Length along the top of the bank.", least=0, required=True),
        _c("bank_height_m", "float", "Median height along it.", least=0),
        _c("bank_height_max_m", "float", "Greatest height along it.", least=0),
        _c("path", "str", "Kind of work: hand_built, design_first, leave_alone or visit_first."),
        _c("path_label", "str", "The kind of work in plain words."),
        _c("path_reasons", "str", "Why that kind of work, in sentences: the limits that decided it, what is not known, cautions."),
        _c("permit_questions", "str", "Whom to ask for leave before work, in sentences; null where nothing is known to ask beyond the local office."),
        _c("constraint_names", "str", "The constraint areas that it touches, comma between; null for none."),
        _c("bank_angle_deg", "float", "Median angle of the face from level; see is_angle_lower_bound.", least=0, greatest=90),
        _c("is_angle_lower_bound", "bool", "True where the grid cannot resolve the face on half of its sections or more: it is at least this steep."),
        _c("slope_height_low_m", "float", "Height measured on the face; the bank height itself where the angle is only a lower bound.", least=0),
        _c("slope_height_high_m", "float", "The same at the angle measured; equal to the low one where the angle is known.", least=0),
        _c("face_area_low_m2", "float", "Length times the low slope height.", least=0),
        _c("face_area_high_m2", "float", "Length times the high slope height.", least=0),
        _c("velocity_m_per_s", "float", "Greatest bankfull velocity along it, raised for the bend; null where no discharge, area or depth is known.", least=0),
        _c("velocity_source", "str", "How the velocity was found: discharge over area, a resistance formula, or unknown, and why."),
        _c("shear_pa", "float", "Greatest bankfull shear on the bank along it, raised for the bend; null where depth or slope is not known.", least=0),
        _STRUCTURE_DISTANCE,
        _c("structure_id", "str", "The structure at that distance."),
        _c("crew_hours_low", "float", "Person hours by hand, low; only for hand-built work.", least=0, unit="hours"),
        _c("crew_hours_high", "float", "Person hours by hand, high; only for hand-built work.", least=0, unit="hours"),
        _c("cost_low_usd", "float", "Low cost: materials and hours where hand-built, length times the low price of designed work where design comes first; null otherwise.", least=0),
        _c("cost_high_usd", "float", "High cost, found the same way.", least=0),
        _c("soil_texture", "str", "Texture that the soil weight and the nutrients use, and where it comes from."),
        _c("recession_category", "str", "Recession by the bank's hazard: slight, moderate, severe or very_severe."),
        _c("sediment_low_t_yr_screening", "float", "Soil that leaves the face in a year at the category's low recession: at the bank, not delivered anywhere.", least=0),
        _c("sediment_mid_t_yr_screening", "float", "The same at the middle recession.", least=0),
        _c("sediment_high_t_yr_screening", "float", "The same at the high recession.", least=0),
        _c("sediment_delivered_low_t_yr_screening", "float", "The low figure times the delivery ratio in the settings; null without one.", least=0),
        _c("sediment_delivered_mid_t_yr_screening", "float", "The middle figure times the delivery ratio in the settings; null without one.", least=0),
        _c("sediment_delivered_high_t_yr_screening", "float", "The high figure times the delivery ratio in the settings; null without one.", least=0),
        _c("nitrogen_low_kg_yr_screening", "float", "Nitrogen attached to the low sediment figure, at the bank.", least=0),
        _c("nitrogen_mid_kg_yr_screening", "float", "Nitrogen attached to the middle sediment figure, at the bank.", least=0),
        _c("nitrogen_high_kg_yr_screening", "float", "Nitrogen attached to the high sediment figure, at the bank.", least=0),
        _c("phosphorus_low_kg_yr_screening", "float", "Phosphorus attached to the low sediment figure, at the bank.", least=0),
        _c("phosphorus_mid_kg_yr_screening", "float", "Phosphorus attached to the middle sediment figure, at the bank.", least=0),
        _c("phosphorus_high_kg_yr_screening", "float", "Phosphorus attached to the high sediment figure, at the bank.", least=0),
        _c("cost_per_tonne_low_usd_screening", "float", "Low yearly cost over the practice life for each tonne kept at the high sediment figure; metric tonnes, or tons of 2000 lb in U.S. units.", least=0),
        _c("cost_per_tonne_high_usd_screening", "float", "High yearly cost over the practice life for each tonne kept at the low sediment figure.", least=0),
    ),
)

MATERIALS = Layer(
    "materials", "None", "What a hand-built repair takes: one row per item, computed and to buy.",
    (
        _c("repair_id", "str", "The repair.", required=True),
        _c("item", "str", "What to buy, gather or do.", required=True),
        _c("unit", "str", "Unit of the four quantities and of the price.", required=True),
        _c("computed_low", "float", "What the arithmetic gives at the low slope height, before rounding.", least=0),
        _c("computed_high", "float", "What the arithmetic gives at the high slope height, before rounding.", least=0),
        _c("purchase_low", "float", "Rounded up to whole things to buy, once for the whole repair.", least=0),
        _c("purchase_high", "float", "Rounded up to whole things to buy, once for the whole repair.", least=0),
        _c("price_low_usd", "float", "Low price of one unit; null where the price file has none.", least=0),
        _c("price_high_usd", "float", "High price of one unit; null where the price file has none.", least=0),
        _c("cost_low_usd", "float", "Low purchase quantity times low price.", least=0),
        _c("cost_high_usd", "float", "High purchase quantity times high price.", least=0),
        _c("source", "str", "The rule, the rounding and where they come from."),
    ),
)

TIE_INS = Layer(
    "tie_ins", "LineString", "Extra length into sound bank at each end of a repair.",
    (
        _c("repair_id", "str", "The repair it belongs to.", required=True),
        _c("end", "str", "up or down: which end of the repair.", required=True),
        _c("length_m", "float", "Length along the top of the bank.", least=0, required=True),
    ),
)

FACTORS = Layer(
    "factors", "None", "How each bank's hazard came about, one row per factor.",
    (
        _c("bank_id", "str", "The bank.", required=True),
        _c("factor", "str", "Name of the factor.", required=True),
        _c("value", "float", "The measurement; null where missing."),
        _c("unit", "str", "Unit of the measurement.", required=True),
        _c("score", "float", "Factor score from the breakpoints.", least=0, greatest=1),
        _c("weight", "float", "Weight after sharing out those of absent layers.", least=0, greatest=1),
        _c("contribution", "float", "Score times weight, in points of 100.", least=0, greatest=100),
        _c("source", "str", "Where the breakpoints come from, and whether the value was measured or the run's median."),
        _c("state", "str", "measured, lower_bound (the value is at least this), or missing (scored as the run's median).", required=True),
        _c("value_se", "float", "Standard error of the measurement, in its unit; null where none is known.", least=0),
        _c("section_id", "str", "The section that decides the bank's score, where the value was measured."),
    ),
)

PROFILES = Layer(
    "profiles", "None", "Elevation across the section, left to right.",
    (
        _c("section_id", "str", "The section.", required=True),
        _c("offset_from_m", "float", "Offset of the first value; left of the middle is negative.", required=True),
        _c("step_m", "float", "Distance between values.", required=True),
        _c("elevations", "str", "Centimetres above the section's bed, comma between; empty where there is no data.", required=True),
    ),
)

FINDINGS = Layer(
    "findings", "Any", "Every thing mended, left out or doubted.",
    (
        _c("severity", "str", "info, warning or left_out.", required=True),
        _c("code", "str", "Short stable word for the kind of finding.", required=True),
        _c("text", "str", "The sentence for a person.", required=True),
        _c("source_layer", "str", "Input layer it is about.", required=True),
        _c("source_id", "str", "Input feature it is about.", required=True),
        _c("station_m", "float", "Where along a stream, when it is about a place."),
    ),
)

RUN_INFO = Layer(
    "run_info", "None", "Settings, versions, input fingerprints, units, cautions.",
    (
        _c("key", "str", "What is stated.", required=True),
        _c("value", "str", "What it is.", required=True),
    ),
)

# ---- layers of the files that are made from a ranked file ----------------------------------

_RANK_OF_BANK = (
    _c("rank", "int", "Rank of the repair's best bank among all banks; 1 is first.", least=1),
    _c("rank_low", "int", "5th percentile of that bank's rank over the draws.", least=1),
    _c("rank_high", "int", "95th percentile of that bank's rank over the draws.", least=1),
)
_SHARE = _c("share_usd", "float", "What the program would pay, by its share and cap; a repair that several eligible applications ask for is shared equally among them.", least=0)

DOCKET = Layer(
    "docket", "Any", "Applications judged by a program's rules, one row for each; drawn at the place asked about.",
    (
        _c("application_id", "str", "Name of the application as given; row-N where it has none.", required=True),
        _c("source_row", "int", "Place in the file of applications, from 1; the header is not counted.", least=1, required=True),
        _c("state", "str", "eligible, visit_first, not_eligible, too_far, duplicate or not_placed.", required=True),
        _c("reason_code", "str", "Short stable word for the reason.", required=True),
        _c("reason", "str", "The reason as a sentence for a letter.", required=True),
        _c("placed_by", "str", "How its place was found, and what was put right; null where none was found."),
        _c("repair_id", "str", "The repair that it is matched to; null for none."),
        _c("site_id", "str", "Permanent name of that repair once it is chosen."),
        _c("bank_id", "str", "The bank of the repair with the best rank, else the nearest bank."),
        _c("bank", "str", "left or right, looking downstream."),
        _c("stream_id", "str", "The stream."),
        _c("distance_m", "float", "From the place to the repair, else to the nearest bank.", least=0),
        *_RANK_OF_BANK,
        _PRIORITY,
        _c("path", "str", "Kind of work of the repair: hand_built, design_first, leave_alone or visit_first."),
        _c("length_m", "float", "Length of the repair along the top of the bank.", least=0),
        _c("sediment_low_t_yr_screening", "float", "Low yearly soil loss at the bank, from the repair.", least=0),
        _c("sediment_mid_t_yr_screening", "float", "Middle yearly soil loss at the bank, from the repair.", least=0),
        _c("sediment_high_t_yr_screening", "float", "High yearly soil loss at the bank, from the repair.", least=0),
        _c("cost_low_usd", "float", "Low cost of the repair.", least=0),
        _c("cost_high_usd", "float", "High cost of the repair.", least=0),
        _SHARE,
        _c("cap_applied", "bool", "True where the cap of the program makes the share smaller."),
        _c("structures_count", "int", "Structures within reach of the repair.", least=0),
        _c("decision", "str", "What was decided; filled in by people, never here."),
        _c("decided_on", "str", "The day of the decision."),
        _c("decision_note", "str", "A note on the decision."),
        _c("changed", "str", "What is not as in the docket that this one updates; null where nothing is."),
        _c("rules_hash", "str", "Fingerprint of the rules; begins with demo- where no program's own were given.", required=True),
        _c("run_id", "str", "Fingerprint of the ranking that it was judged by.", required=True),
    ),
    file="requests",
)

SITES = Layer(
    "sites", "LineString", "Repairs that were chosen, their geometry frozen, each with a name that stays.",
    (
        _c("site_id", "str", "Permanent name of the site; made from its geometry when it was first chosen.", required=True),
        _c("bank_id", "str", "The bank of the repair with the best rank, when it was chosen."),
        _STREAM_ID,
        _c("stream_name", "str", "Name of the stream from the input layer; null without one."),
        _c("bank_rank", "int", "Rank of that bank among all banks, when it was chosen.", least=1),
        _c("bank_rank_low", "int", "5th percentile of that rank over the draws.", least=1),
        _c("bank_rank_high", "int", "95th percentile of that rank over the draws.", least=1),
        _PRIORITY,
        _c("structures_count", "int", "Structures within reach of the repair.", least=0),
        _c("application_ids", "str", "The eligible applications for it, comma between; null for none."),
        _SHARE,
        _c("worth", "float", "Its worth in the choice within a budget; null where it was chosen by name.", least=0),
        _c("charge_usd", "float", "What it takes from that budget.", least=0),
        _c("run_id", "str", "Fingerprint of the ranking that it was chosen from.", required=True),
        *REPAIRS.columns,
    ),
    file="requests",
)

# ---- layers that only pass between stages -------------------------------------------------

STREAMS = Layer(
    "streams", "LineString", "Cleaned input lines, single part, two-dimensional, in the working CRS.",
    (
        _c("source_id", "str", "Row number (from 0) in the input layer, with a part number after a dot.", required=True),
        _c("stream_name", "str", "Name from the attribute in the settings."),
        _c("attribute_area_km2", "float", "Drainage area from the attribute in the settings.", least=0),
        _c("attribute_width_m", "float", "Bankfull width from the attribute in the settings.", least=0),
    ),
    public=False,
)

EDGES = Layer(
    "edges", "LineString", "Lines from junction to junction, drawn downstream.",
    (
        _c("edge_id", "str", "Name of the edge.", required=True),
        _STREAM_ID,
        _c("sequence", "int", "Place in its stream, 0 at the mouth.", least=0, required=True),
        _c("catchment", "int", "Number of the connected network it belongs to.", least=0, required=True),
        _c("from_node", "int", "Upstream node.", required=True),
        _c("to_node", "int", "Downstream node.", required=True),
        _c("stream_name", "str", "Name from the input layer."),
        _c("stream_order", "int", "Strahler order.", least=1, required=True),
        _c("drainage_area_km2", "float", "At the lower end; null where no source serves.", least=0),
        _c("drainage_area_source", "str", "attribute, raster, routing, or none.", required=True),
        _c("is_area_cut", "bool", "True where the catchment leaves the DEM: the area is a lower bound.", required=True),
        _c("attribute_width_m", "float", "Bankfull width from an attribute.", least=0),
        _c("is_turned", "bool", "True where the input line ran upstream.", required=True),
        _c("joins_stream_id", "str", "The stream that its stream flows into; null at a mouth of the network."),
    ),
    public=False,
)

CHANNEL = Layer(
    "channel", "LineString", "The found channel of each stream, midway between the toes, drawn downstream.",
    (
        _STREAM_ID,
        _c("stream_name", "str", "Name from the input layer."),
        _c("length_m", "float", "Length of the found channel.", least=0, required=True),
        _c("toe_width_m", "float", "Median width between the toes.", least=0),
    ),
    public=False,
)

CHANNEL_POINTS = Layer(
    "channel_points", "None", "The found channel as points at an even step, ordered downstream.",
    (
        _STREAM_ID,
        _c("edge_id", "str", "The edge it lies on.", required=True),
        _c("station_m", "float", "From the stream's mouth.", required=True),
        _c("x_m", "float", "Easting in the working CRS.", required=True),
        _c("y_m", "float", "Northing in the working CRS.", required=True),
        _c("toe_width_m", "float", "Width between the toes, smoothed along the channel.", least=0),
        _c("bed_elevation_m", "float", "Low part of the channel."),
        _c("line_offset_m", "float", "How far the input line lies from the found channel.", least=0),
        _c("curvature_per_m", "float", "Positive turns left going downstream; added by planform."),
        _c("bend_id", "str", "The bend it lies in; added by planform."),
    ),
    public=False,
)

STRUCTURES = Layer(
    "structures", "Any", "Buildings, roads and other things that could be lost, in the working CRS.",
    (
        _c("structure_id", "str", "Layer name, then the row number or id in that layer.", required=True),
        _c("structure_class", "str", "Class from the class attribute, else from the layer: building, road.", required=True),
        _c("source", "str", "Layer that it comes from.", required=True),
    ),
    public=False,
)

SOILS = Layer(
    "soils", "Any", "Soil polygons in the working CRS.",
    (
        _c("texture", "str", "Texture class from the attribute in the settings."),
        _c("erodibility", "float", "Erodibility from the attribute in the settings.", least=0),
    ),
    public=False,
)

CONSTRAINTS = Layer(
    "constraints", "Any", "Areas that call for a permit, in the working CRS.",
    (_c("constraint_name", "str", "What the area is."),),
    public=False,
)

LAYERS: dict[str, Layer] = {
    layer.name: layer
    for layer in (
        REACHES, BANKS, BENDS, SECTIONS, EXPOSURES, REPAIRS, TIE_INS, MATERIALS, FACTORS, PROFILES, FINDINGS,
        RUN_INFO, DOCKET, SITES, STREAMS, EDGES, CHANNEL, CHANNEL_POINTS, STRUCTURES, SOILS, CONSTRAINTS,
    )
}
PUBLIC_LAYERS: tuple[str, ...] = tuple(
    name for name, layer in LAYERS.items() if layer.public and layer.file == "ranked"
)
"""The layers of a ranked file, in order."""
