"""The numbers of a place, each with its unit and with how sure it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from reachrank.sheets.measures import NOTHING, Measures, is_missing, money, rounded, share, word
from reachrank.sheets.site import Record, Site


@dataclass(frozen=True)
class Number:
    """A line of the list: what, how much, how sure."""

    what: str
    value: str
    sure: str = ""


def numbers_of(
    site: Site, measures: Measures, *, reaches: int, years_cap: float | None
) -> list[Number]:
    """Return the lines of a site's list; what is not known at all is left out.

    Parameters
    ----------
    site
        The place.
    measures
        The reader's units.
    reaches
        How many reaches were ranked.
    years_cap
        Number of years beyond which none are counted; None where it is not stated.
    """
    lines = [
        *_standing(site, reaches),
        *(_work(site.repair, site.tie_ins, measures) if site.repair is not None else ()),
        *_bank(site, measures, years_cap),
        *_channel(site, measures),
    ]
    return [line for line in lines if line.value != NOTHING]


def _standing(site: Site, reaches: int) -> Iterator[Number]:
    reach = site.reach
    if not is_missing(reach["rank"]):
        sure = ""
        if not is_missing(reach.get("rank_low")) and not is_missing(reach.get("rank_high")):
            low, high = int(reach["rank_low"]), int(reach["rank_high"])
            ranks = f"{low} to {high}" if low != high else f"{low}"
            sure = f"{ranks} in 9 of 10 draws"
        yield Number("Rank", f"{int(reach['rank'])} of {reaches}", sure)
    yield Number("Priority", _points(reach["priority_score"]), word(reach.get("priority_class")))
    yield Number("Hazard", _points(site.bank["hazard_score"]), "the bank's own state")
    yield Number("Exposure", _points(site.bank["exposure_score"]), "what could be lost")
    yield Number("Confidence", share(site.bank["confidence_frac"]), "of the weight measured")


def _bank(site: Site, measures: Measures, years_cap: float | None) -> Iterator[Number]:
    bank = site.bank
    se = bank.get("bank_height_se_m")
    sure = f"± {measures.of(se, 'm', 2)} (s.e.)" if not is_missing(se) else ""
    if not is_missing(bank.get("bank_height_p90_m")):
        sure += f"{'; ' if sure else ''}10 % above {measures.of(bank['bank_height_p90_m'], 'm', 1)}"
    yield Number(
        "Bank height" if site.repair is None else "Bank of the reach",
        measures.of(bank["bank_height_m"], "m", 1),
        sure,
    )
    angle = bank["bank_angle_deg"]
    if not is_missing(angle):
        bound = bool(bank.get("is_angle_lower_bound")) and not is_missing(
            bank.get("is_angle_lower_bound")
        )
        yield Number(
            "Face angle",
            f"{'at least ' if bound else ''}{float(angle):.0f}°",
            "the grid cannot resolve it" if bound else "from level",
        )
    near = site.nearest
    if near is None:
        yield Number("Nearest structure", "none", "within reach of this bank")
    else:
        away = measures.of(near["bank_distance_m"], "m")
        what = word(near["structure_class"], 20)
        yield Number("Nearest structure", away, f"{what}, from the top")
        if float(near["bank_distance_m"]) > 0.0:
            yield Number("Edge gets there", *_years(near, years_cap))
    if not is_missing(bank.get("cover_frac")):
        yield Number("Trees and shrubs", share(bank["cover_frac"]), "of the strip behind")


def _years(near: Record, cap: float | None) -> tuple[str, str]:
    soon, late = near.get("reached_soonest_yr"), near.get("reached_latest_yr")
    if is_missing(soon) or is_missing(late):
        return NOTHING, ""
    low, high = float(str(soon)), float(str(late))
    why = "by category, screening"
    if cap is not None and low >= cap - 1e-6:
        return f"{cap:.0f} years +", why
    beyond = " +" if cap is not None and high >= cap - 1e-6 else ""
    first, last = rounded(low, 0), rounded(high, 0)
    return (f"{first} to {last}{beyond} yr" if first != last else f"{first} yr"), why


def _channel(site: Site, measures: Measures) -> Iterator[Number]:
    reach = site.reach
    yield Number(
        "Width at the toes", measures.of(reach["toe_width_m"], "m", 1), "median of the reach"
    )
    yield Number("Width at the tops", measures.of(reach["top_width_m"], "m", 1), "lip to lip")
    yield Number(
        "Bankfull width",
        measures.of(reach["bankfull_width_m"], "m", 1),
        word(reach.get("width_source")),
    )
    if not is_missing(reach["radius_m"]):
        ratio: Any = reach.get("radius_width_ratio")
        times = f"{float(ratio):.1f} widths" if not is_missing(ratio) else ""
        outside = reach.get("outside_bank")
        side = f"{outside} outside" if not is_missing(outside) else ""
        yield Number(
            "Bend radius",
            measures.of(reach["radius_m"], "m"),
            ", ".join(t for t in (times, side) if t),
        )
    yield Number(
        "Drainage area", measures.of(reach["drainage_area_km2"], "km²", 1), "at the lower end"
    )
    if not is_missing(reach["slope_ratio"]):
        unit = measures.unit("m")
        yield Number(
            "Bed slope",
            f"{100.0 * float(reach['slope_ratio']):.2f} %",
            f"{unit} of fall per 100 {unit}",
        )


def _work(repair: Record, tie_ins: list[Record], measures: Measures) -> Iterator[Number]:
    ends = sum(float(row["length_m"]) for row in tie_ins)
    sure = f"and {measures.of(ends, 'm')} of tie-ins" if ends > 0 else ""
    yield Number("Length to work on", measures.of(repair["length_m"], "m"), sure)
    yield Number(
        "Height along it", measures.of(repair["bank_height_m"], "m", 1),
        f"median; greatest {measures.of(repair['bank_height_max_m'], 'm', 1)}",
    )  # fmt: skip
    if not is_missing(repair.get("face_area_low_m2")):
        yield Number(
            "Face to cover",
            measures.span(repair["face_area_low_m2"], repair.get("face_area_high_m2"), "m²"),
            "length times slope height",
        )
    yield Number(
        "Speed at bankfull",
        measures.of(repair.get("velocity_m_per_s"), "m/s", 1),
        "greatest, with bend",
    )
    yield Number(
        "Shear at bankfull", measures.of(repair.get("shear_pa"), "Pa"), "greatest, with bend"
    )
    low, high = (repair.get(f"sediment_{k}_t_yr_screening") for k in ("low", "high"))
    yield Number("Soil lost", measures.span(low, high, "t/yr"), "at the bank, screening")
    if not is_missing(repair.get("crew_hours_low")):
        yield Number(
            "Work by hand",
            _hours(repair["crew_hours_low"], repair.get("crew_hours_high")),
            "person hours",
        )
    yield Number(
        "Cost", money(repair.get("cost_low_usd"), repair.get("cost_high_usd")), "screening"
    )


def _hours(low: Any, high: Any) -> str:
    texts = [f"{float(v):,.0f}" for v in (low, high) if not is_missing(v)]
    return f"{' to '.join(dict.fromkeys(texts))} h"


def _points(value: Any) -> str:
    return NOTHING if is_missing(value) else f"{float(value):.0f} of 100"
