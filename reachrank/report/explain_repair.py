"""The arithmetic of one repair, step by step: face, kind of work, take-off, cost, soil kept."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from reachrank.errors import UsageError
from reachrank.exposure.recession import recession_rates
from reachrank.repairs.face import shaped_face
from reachrank.repairs.kept_soil import GROUPS
from reachrank.repairs.money import capital_recovery_factor
from reachrank.repairs.sediment import attached_nutrients, dry_density_kg_per_m3
from reachrank.report.cautions import CAUTIONS, WORK_CAUTIONS
from reachrank.report.explain_units import METRIC, US, Units
from reachrank.report.plain import plain
from reachrank.settings import Settings

if TYPE_CHECKING:
    from reachrank.context import Table

LEVELS = ("low", "mid", "high")


def explain_repair(
    tables: Mapping[str, Table],
    repair_id: str,
    settings: Settings | None = None,
    *,
    us: bool = False,
) -> Iterator[str]:
    """Yield the lines that lead from what was measured at a repair to every number it has.

    Parameters
    ----------
    tables
        ``repairs``, ``tie_ins`` and ``materials`` of a ranked run, metric.
    repair_id
        The repair.
    settings
        Those of the run; the defaults if None.
    us
        Speak feet, square yards, tons of 2000 lb.

    Raises
    ------
    UsageError
        If no repair has that id.
    """
    settings, units = settings or Settings(), US if us else METRIC
    found = tables["repairs"][tables["repairs"]["repair_id"] == repair_id]
    if found.empty:
        raise UsageError(
            f"There is no repair '{repair_id}'.", hint="Ids are in repair_id of the layer repairs."
        )
    repair = pd.DataFrame(found).iloc[0].to_dict()
    ties = tables["tie_ins"]
    own_ties = ties[ties["repair_id"] == repair_id]
    whole_m = _number(repair, "length_m") + float(own_ties["length_m"].sum())
    yield f"Repair {plain(repair_id, 60)}, {plain(repair['bank'])} bank, reaches " + plain(
        repair["reach_ids"], 200
    )
    yield from _kind(repair, units)
    yield from _face(repair, own_ties, whole_m, units)
    items = tables["materials"]
    items = items[items["repair_id"] == repair_id]
    yield from _work(repair, items, whole_m, settings, units)
    yield from _soil(repair, settings, units)
    yield ""
    yield "Before anyone goes there"
    cautions = (*CAUTIONS, *WORK_CAUTIONS) if repair["path"] == "hand_built" else CAUTIONS
    yield from (f"  {caution}" for caution in cautions)


def _kind(repair: Mapping[str, Any], units: Units) -> Iterator[str]:
    yield ""
    yield f"Kind of work: {_text(repair, 'path_label', units)} [{repair['path']}]"
    yield from (f"  {line}" for line in _sentences(_text(repair, "path_reasons", units)))
    permit = _text(repair, "permit_questions", units)
    if permit:
        yield f"  To ask: {permit}"


def _face(
    repair: Mapping[str, Any], ties: pd.DataFrame, whole_m: float, units: Units
) -> Iterator[str]:
    yield ""
    yield "Face and length"
    height, angle = _number(repair, "bank_height_m"), _number(repair, "bank_angle_deg")
    low, high = _number(repair, "slope_height_low_m"), _number(repair, "slope_height_high_m")
    length = _number(repair, "length_m")
    told = units.length
    if math.isnan(low):
        yield "  The height or the slope of the face is not known: no area, no amounts."
    else:
        if repair["is_angle_lower_bound"]:
            yield f"  angle at least {angle:.1f} degrees, so anything up to vertical"
            yield f"  slope height, low: that of a vertical face, {told(low)}"
            yield (
                f"  slope height, high: {told(height)} / sin({angle:.1f} degrees) = {told(high)}"
            )
        else:
            yield (f"  slope height = {told(height)} / sin({angle:.1f} degrees) = {told(high)}")
        for level, slope in (("low", low), ("high", high)):
            area = _number(repair, f"face_area_{level}_m2")
            yield (
                f"  face area, {level} = {told(length)} x {told(slope)}{units.per_area} = "
                f"{units.area(area)}"
            )
    parts = " + ".join([told(length), *(told(float(x)) for x in ties["length_m"])])
    yield f"  length with tie-ins = {parts} = {told(whole_m)}"


def _work(
    repair: Mapping[str, Any],
    items: pd.DataFrame,
    whole_m: float,
    settings: Settings,
    units: Units,
) -> Iterator[str]:
    yield ""
    yield "Work and cost"
    low, high = _number(repair, "cost_low_usd"), _number(repair, "cost_high_usd")
    path = repair["path"]
    if path == "hand_built":
        yield from _shaping(repair, settings, units)
        for item in items.to_dict("records"):
            yield from _item(item, units)
        yield f"  sum of the costs: {_usd(low)} to {_usd(high)}"
    elif path == "design_first" and math.isfinite(low):
        each = f"US$ {low / whole_m * units.metres:,.2f} to {high / whole_m * units.metres:,.2f}"
        yield (
            f"  {units.length(whole_m)} of designed work at {each} per {units.length_name}: "
            f"{_usd(low)} to {_usd(high)}"
        )
    elif path == "visit_first" and math.isfinite(low):
        yield (
            f"  {_usd(low)} to {_usd(high)}: from work by hand, should the visit find that it will "
            "do, to designed work"
        )
    else:
        yield "  No cost: no work is proposed, or a price or a measurement is missing."


def _shaping(repair: Mapping[str, Any], settings: Settings, units: Units) -> Iterator[str]:
    shaped = shaped_face(
        _number(repair, "bank_height_m"),
        _number(repair, "bank_angle_deg"),
        is_lower_bound=bool(repair["is_angle_lower_bound"]),
        steepest_h_per_v=settings.work.steepest_face_h_per_v,
    )
    if shaped.cut_high_m3_per_m > 0.0:
        yield (
            f"  face shaped to {shaped.h_per_v:g}:1 first: slope height then "
            f"{units.length(shaped.face.high_m)}, soil cut "
            f"{units.text(f'{shaped.cut_high_m3_per_m:.2f} m³/m')}"
        )


def _item(item: Mapping[Any, Any], units: Units) -> Iterator[str]:
    unit = plain(item["unit"], 20)
    computed = _span(item["computed_low"], item["computed_high"], 2)
    bought = _span(item["purchase_low"], item["purchase_high"], 0)
    price = _span(item["price_low_usd"], item["price_high_usd"], 2)
    yield f"  {plain(item['item'], 80)} [{unit}]"
    yield f"    computed {computed}, to buy {bought}"
    if math.isfinite(item["price_low_usd"]):
        yield (
            f"    {item['purchase_low']:.0f} x {item['price_low_usd']:.2f} = "
            f"{_usd(item['cost_low_usd'])} to {item['purchase_high']:.0f} x "
            f"{item['price_high_usd']:.2f} = {_usd(item['cost_high_usd'])}"
        )
    else:
        yield f"    no price ({price})"
    yield f"    {units.text(plain(item['source'], 600))}"


def _soil(repair: Mapping[str, Any], settings: Settings, units: Units) -> Iterator[str]:
    yield ""
    yield "Soil that leaves the face in a year (screening, at the bank, not delivered anywhere)"
    if math.isnan(_number(repair, "sediment_mid_t_yr_screening")):
        yield "  Not known: the face or the hazard is not."
        return
    told = plain(repair["soil_texture"], 200)
    texture = told.partition(",")[0]
    density = dry_density_kg_per_m3(texture)
    category = str(repair["recession_category"])
    start = next(s for s, name in settings.exposure.hazard_categories if name == category)
    rates = recession_rates([start], settings.exposure)[0]
    yield f"  soil: {told}, {units.text(f'{density:.1f} kg/m³')} dry"
    yield f"  recession: {category}"
    length = _number(repair, "length_m")
    slopes = [_number(repair, f"slope_height_{word}_m") for word in ("low", "high")]
    slopes.insert(1, 0.5 * sum(slopes))
    for level, slope, rate in zip(LEVELS, slopes, rates, strict=True):
        mass_t = _number(repair, f"sediment_{level}_t_yr_screening")
        yield "  " + units.mass_line(level, length, slope, float(rate), density, mass_t)
    group = GROUPS[texture]
    one = attached_nutrients(1.0, settings.sediment.nutrients, group)  # type: ignore[arg-type]
    per = units.nutrient_share
    yield (
        f"  nutrients by {settings.sediment.nutrients}, {units.per_mass}: nitrogen "
        f"{per(one.nitrogen_kg)}, phosphorus {per(one.phosphorus_kg)}"
    )
    for level in LEVELS:
        nitrogen = _number(repair, f"nitrogen_{level}_kg_yr_screening")
        phosphorus = _number(repair, f"phosphorus_{level}_kg_yr_screening")
        yield f"    {level}: {units.pounds(nitrogen)} and {units.pounds(phosphorus)} a year"
    yield from _per_tonne(repair, settings, units)


def _per_tonne(repair: Mapping[str, Any], settings: Settings, units: Units) -> Iterator[str]:
    low = _number(repair, "cost_per_tonne_low_usd_screening")
    if math.isnan(low):
        return
    own = settings.sediment
    factor = capital_recovery_factor(own.interest_frac, own.practice_life_yr)
    yield (
        f"  capital recovery factor, {own.interest_frac:.1%} over {own.practice_life_yr:g} years: "
        f"{factor:.5f}"
    )
    share = "" if own.efficiency_frac == 1.0 else f" x {own.efficiency_frac:g}"
    for level, other in (("low", "high"), ("high", "low")):
        cost = _number(repair, f"cost_{level}_usd")
        mass_t = _number(repair, f"sediment_{other}_t_yr_screening")
        each = _number(repair, f"cost_per_tonne_{level}_usd_screening")
        yield (
            f"  cost of a {units.mass_name}, {level} = {_usd(cost)} x {factor:.5f} / "
            f"({units.mass(mass_t)}{share}) = {_usd(each * units.tonnes)}"
        )


def _sentences(text: str) -> list[str]:
    return [part if part.endswith(".") else f"{part}." for part in text.split(". ") if part]


def _text(repair: Mapping[str, Any], name: str, units: Units) -> str:
    value = repair.get(name)
    return "" if value is None or pd.isna(value) else units.text(plain(value, 4000))


def _number(repair: Mapping[str, Any], name: str) -> float:
    value = repair.get(name)
    return math.nan if value is None or pd.isna(value) else float(value)


def _span(low: float, high: float, decimals: int) -> str:
    a, b = f"{low:,.{decimals}f}", f"{high:,.{decimals}f}"
    return a if a == b else f"{a} to {b}"


def _usd(value: float) -> str:
    return f"US$ {value:,.2f}"
