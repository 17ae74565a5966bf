"""The docket: every application once, in the order given, placed, matched and judged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.requests.applications import Applications
from reachrank.requests.judging import Facts, Verdict, judge, limit_rank, money_row
from reachrank.requests.matching import Matched, match_all
from reachrank.requests.placing import Placed, Surroundings, place_all
from reachrank.requests.ranked_tables import RankedTables
from reachrank.requests.rules import Rules, rules_hash
from reachrank.requests.sites import SiteBook

_SAME_PLACE_M = 1.0
_AT_PLACE_M = 5.0
_NUMBERS = ("sediment_low_t_yr_screening", "sediment_mid_t_yr_screening",
            "sediment_high_t_yr_screening", "cost_low_usd", "cost_high_usd")  # fmt: skip


@dataclass(frozen=True)
class Screening:
    """What screening needs besides the applications.

    ``around`` is what places are found with; ``excluded`` the areas that the program leaves out,
    in the metric CRS; ``sites`` the sites that are known already.
    """

    ranked: RankedTables
    rules: Rules
    is_demo: bool
    around: Surroundings
    excluded: NDArray[np.object_] | None = None
    sites: SiteBook | None = None


def screen(applications: Applications, screening: Screening) -> gpd.GeoDataFrame:
    """Judge every application.

    Parameters
    ----------
    applications
        As they were read.
    screening
        The ranking, the rules and the places.

    Returns
    -------
    geopandas.GeoDataFrame
        The layer ``docket`` with one row for each application, in their order, in the CRS of the
        ranked file.
    """
    ranked, rules = screening.ranked, screening.rules
    repairs, banks = _metric_tables(ranked)
    places = place_all(applications, screening.around, rules.placing)
    matches = match_all(places, repairs, banks, rules.matching, screening.around.parcels)
    ids = _ids(applications)
    limit = limit_rank(
        ranked.tables["banks"]["priority_score"].dropna().tolist(), rules.eligibility
    )
    excluded = _excluded_shares(repairs, screening.excluded)
    known = repairs.drop(columns=repairs.geometry.name).astype(object)
    rows_of_repairs = known.where(known.notna(), None).to_dict("records")
    rows_of_banks = _bank_rows(banks)
    verdicts: list[Verdict] = []
    for place, match in zip(places, matches, strict=True):
        verdicts.append(
            _verdict(place, match, rows_of_repairs, rows_of_banks, excluded, limit, rules)
        )
    _mark_duplicates(ids, places, matches, verdicts)
    if rules.eligibility.one_per_parcel:
        _mark_one_per_parcel(ids, places, matches, verdicts, rows_of_repairs)
    rows = [
        _row(number, ids[number], places[number], matches[number], verdicts[number],
             rows_of_repairs, rows_of_banks)
        for number in range(len(ids))
    ]  # fmt: skip
    _share_out(rows, rows_of_repairs, rules)
    site_of = screening.sites.of_repairs(ranked.repairs) if screening.sites else {}
    fingerprint = rules_hash(rules, is_demo=screening.is_demo)
    for row in rows:
        row["site_id"] = site_of.get(str(row.get("repair_id")))
        row["rules_hash"] = fingerprint
        row["run_id"] = ranked.run_id
    geometry = gpd.GeoSeries([p.geometry for p in places], crs=ranked.metric_crs)
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    frame = frame.astype(object).where(frame.notna(), None).astype(_TYPES)
    return gpd.GeoDataFrame(frame, geometry=geometry).to_crs(ranked.crs)


_COLUMNS = [
    "application_id", "source_row", "state", "reason_code", "reason", "placed_by", "repair_id",
    "site_id", "bank_id", "bank", "stream_id", "distance_m", "rank", "rank_low", "rank_high",
    "priority_score", "path", "length_m", *_NUMBERS, "share_usd", "cap_applied",
    "structures_count", "decision", "decided_on", "decision_note", "changed", "rules_hash",
    "run_id",
]  # fmt: skip
_TYPES: dict[str, Any] = {
    **dict.fromkeys(_COLUMNS, "object"),
    **dict.fromkeys(("source_row", "rank", "rank_low", "rank_high", "structures_count"), "Int64"),
    **dict.fromkeys(
        ("distance_m", "priority_score", "length_m", "share_usd", *_NUMBERS), "float64"
    ),
    "cap_applied": "boolean",
}


def _metric_tables(ranked: RankedTables) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    reaches = pd.DataFrame(ranked.tables["reaches"])
    stream_of = dict(zip(reaches["reach_id"], reaches["stream_id"], strict=True))
    name_of = dict(zip(reaches["reach_id"], reaches.get("stream_name", reaches["stream_id"]),
                       strict=True))  # fmt: skip
    banks = ranked.tables["banks"].sort_values("bank_id", ignore_index=True)
    banks["stream_id"] = banks["reach_id"].map(stream_of)
    banks["stream_name"] = banks["reach_id"].map(name_of)
    return ranked.repairs.to_crs(ranked.metric_crs), banks.to_crs(ranked.metric_crs)


def _bank_rows(banks: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    wanted = ["bank_id", "bank", "stream_id", "stream_name", "rank", "rank_low", "rank_high",
              "priority_score"]  # fmt: skip
    known = pd.DataFrame(banks).reindex(columns=wanted).astype(object)
    rows: list[dict[str, Any]] = known.where(known.notna(), None).to_dict("records")
    return rows


def _ids(applications: Applications) -> list[str]:
    """Return the application's own name, else row-N."""
    given = applications.rows["application_id"].tolist()
    return [str(name).strip() or f"row-{number}" for number, name in enumerate(given, 1)]


def _excluded_shares(
    repairs: gpd.GeoDataFrame, areas: NDArray[np.object_] | None
) -> NDArray[np.float64]:
    lines = repairs.geometry.to_numpy()
    if areas is None or not areas.size or not lines.size:
        return np.zeros(lines.size)
    shares = np.zeros(lines.size)
    found, near = shapely.STRtree(areas).query(lines, "intersects")
    for line in np.unique(found):
        area = shapely.union_all(areas[near[found == line]])
        inside = shapely.length(shapely.intersection(lines[line], area))
        shares[line] = min(1.0, inside / max(shapely.length(lines[line]), 1e-9))
    return shares


def _verdict(
    place: Placed,
    match: Matched | None,
    repairs: list[dict[str, Any]],
    banks: list[dict[str, Any]],
    excluded: NDArray[np.float64],
    limit: int,
    rules: Rules,
) -> Verdict:
    if place.geometry is None:
        return Verdict("not_placed", place.code or "no_place", place.sentence or "It has no place.")
    if match is None:
        return Verdict("too_far", "no_banks", "The ranked file has no bank to compare it with.")
    if match.repair is not None:
        return judge(_facts(repairs[match.repair], float(excluded[match.repair]), limit), rules)
    bank = banks[match.bank or 0]
    where = f"the {bank['bank']} bank of {bank['stream_name'] or bank['stream_id']}"
    within = rules.matching.nearest_bank_within_m
    if not match.is_own_parcel and match.distance_m > within:
        if place.is_outside:
            return Verdict(
                "too_far",
                "outside_area",
                f"Its place lies {match.distance_m:,.0f} m from the nearest ranked bank, outside "
                "the area that was ranked; please check the place.",
            )
        return Verdict(
            "too_far",
            "far_from_bank",
            f"Its place is {match.distance_m:,.0f} m from the nearest ranked bank, {where}; the "
            f"program goes no farther than {within:.0f} m.",
        )
    if bank["rank"] is None:
        return Verdict(
            "visit_first",
            "not_measured",
            f"{where[0].upper()}{where[1:]} could not be measured well enough; visit it first.",
        )
    own = "its own bank" if match.is_own_parcel else "the nearest bank"
    nothing = f"The elevations show no failing length on {own}, {where}, {_away(match.distance_m)}"
    if min(bank["rank"], bank["rank_low"] or bank["rank"]) <= limit:
        return Verdict(
            "visit_first",
            "no_failing_length",
            f"{nothing}, but its rank of {bank['rank']} may be within the program's limit of "
            f"{limit}; visit it first.",
        )
    return Verdict("not_eligible", "no_failing_bank", f"{nothing}, and its rank is {bank['rank']}.")


def _away(distance_m: float) -> str:
    return "at its place" if distance_m < _AT_PLACE_M else f"{distance_m:.0f} m from its place"


def _facts(known: dict[str, Any], excluded_frac: float, limit: int) -> Facts:
    return Facts(
        bank=known["bank"],
        stream=known["stream_name"] or known["stream_id"] or "the stream",
        length_m=known["length_m"],
        path=known.get("path"),
        rank=known["bank_rank"],
        rank_low=known["bank_rank_low"],
        rank_high=known["bank_rank_high"],
        score=known["priority_score"],
        confidence_frac=known["confidence_frac"],
        limit_rank=limit,
        excluded_frac=excluded_frac,
    )


def _mark_duplicates(
    ids: list[str],
    places: list[Placed],
    matches: list[Matched | None],
    verdicts: list[Verdict],
) -> None:
    """Mark what asks for the same again: the same number, or the same address or place.

    The first that could be placed stands; without one, the first.
    """
    same_id: dict[str, list[int]] = {}
    for number, name in enumerate(ids):
        same_id.setdefault(name.casefold(), []).append(number)
    for group in same_id.values():
        if len(group) > 1:
            kept = next((k for k in group if places[k].geometry is not None), group[0])
            for k in group:
                if k != kept:
                    verdicts[k] = _same_number(k, kept, places)
    standing: dict[tuple[int | None, int | None], _Standing] = {}
    for number, match in enumerate(matches):
        if match is None or verdicts[number].state == "duplicate":
            continue
        here = standing.setdefault((match.repair, match.bank), _Standing())
        first = here.same_or_add(number, places[number])
        if first is not None:
            verdicts[number] = Verdict(
                "duplicate",
                "same_place",
                f"It asks for the same bank at the same place as application {ids[first]}, which "
                "stands.",
            )


class _Standing:
    """Applications for one bank, found again by their address or their place."""

    def __init__(self) -> None:
        self._of_address: dict[str, int] = {}
        self._of_cell: dict[tuple[int, int], list[tuple[int, Placed]]] = {}

    def same_or_add(self, number: int, place: Placed) -> int | None:
        """Return the application that asks for the same; without one, keep this one."""
        if place.address_key is not None and place.address_key in self._of_address:
            return self._of_address[place.address_key]
        x, y = _middle(place)
        column, row = int(x // _SAME_PLACE_M), int(y // _SAME_PLACE_M)
        near = sorted(
            found
            for a in (-1, 0, 1)
            for b in (-1, 0, 1)
            for found, other in self._of_cell.get((column + a, row + b), [])
            if _is_same_request(place, other)
        )
        if near:
            return near[0]
        if place.address_key is not None:
            self._of_address[place.address_key] = number
        self._of_cell.setdefault((column, row), []).append((number, place))
        return None


def _middle(place: Placed) -> tuple[float, float]:
    middle = shapely.centroid(place.geometry)
    return float(middle.x), float(middle.y)


def _same_number(number: int, kept: int, places: list[Placed]) -> Verdict:
    if _is_same_request(places[number], places[kept]) or places[number].geometry is None:
        return Verdict(
            "duplicate",
            "same_number",
            f"The application in row {kept + 1} has the same number and stands.",
        )
    return Verdict(
        "duplicate",
        "same_number_other_place",
        f"The application in row {kept + 1} has the same number but another place; give this one "
        "a number of its own and screen it again.",
    )


def _is_same_request(a: Placed, b: Placed) -> bool:
    if a.address_key is not None and a.address_key == b.address_key:
        return True
    if a.geometry is None or b.geometry is None:
        return False
    (ax, ay), (bx, by) = _middle(a), _middle(b)
    return bool(np.hypot(ax - bx, ay - by) <= _SAME_PLACE_M) and (
        a.address_key is None or b.address_key is None
    )


def _mark_one_per_parcel(
    ids: list[str],
    places: list[Placed],
    matches: list[Matched | None],
    verdicts: list[Verdict],
    repairs: list[dict[str, Any]],
) -> None:
    """Leave one application for each parcel: eligible before visit first, then by rank."""
    groups: dict[str, list[tuple[bool, float, int]]] = {}
    for number, verdict in enumerate(verdicts):
        key, match = places[number].parcel_key, matches[number]
        if key is None or match is None or verdict.state not in ("eligible", "visit_first"):
            continue
        rank = repairs[match.repair]["bank_rank"] if match.repair is not None else None
        place = (verdict.state != "eligible", float("inf") if rank is None else float(rank), number)
        groups.setdefault(key, []).append(place)
    for group in groups.values():
        best = min(group)[2]
        for *_, number in group:
            if number != best:
                verdicts[number] = Verdict(
                    "not_eligible",
                    "parcel_has_another",
                    "The program takes one application for each parcel, and application "
                    f"{ids[best]} for the same parcel comes first.",
                )


def _row(
    number: int,
    name: str,
    place: Placed,
    match: Matched | None,
    verdict: Verdict,
    repairs: list[dict[str, Any]],
    banks: list[dict[str, Any]],
) -> dict[str, Any]:
    row: dict[str, Any] = {
        "application_id": name,
        "source_row": number + 1,
        "state": verdict.state,
        "reason_code": verdict.code,
        "reason": verdict.sentence,
        "placed_by": place.how,
    }
    if match is None:
        return row
    row["distance_m"] = match.distance_m
    if match.repair is not None:
        known = repairs[match.repair]
        row |= {key: known.get(key) for key in
                ("repair_id", "bank_id", "bank", "stream_id", "priority_score", "path", "length_m",
                 "structures_count", *_NUMBERS)}  # fmt: skip
        row |= {key: known[f"bank_{key}"] for key in ("rank", "rank_low", "rank_high")}
    elif match.bank is not None:
        known = banks[match.bank]
        row |= {key: known[key] for key in
                ("bank_id", "bank", "stream_id", "priority_score", "rank", "rank_low",
                 "rank_high")}  # fmt: skip
    return row


def _share_out(rows: list[dict[str, Any]], repairs: list[dict[str, Any]], rules: Rules) -> None:
    """Share the program's money for a repair equally among the eligible who ask for it, in cents.

    The first get a cent more where it does not come out even, so that the sum is exact.
    """
    cost_of = {str(known["repair_id"]): known for known in repairs}
    asking: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        if row["state"] == "eligible" and row.get("repair_id"):
            asking.setdefault(str(row["repair_id"]), []).append(row)
    for name, group in asking.items():
        share, is_capped = money_row(cost_of[name], rules)
        for place, row in enumerate(group):
            row["cap_applied"] = is_capped
            if share is not None:
                cents, more = divmod(round(share * 100), len(group))
                row["share_usd"] = (cents + (place < more)) / 100.0
            if len(group) > 1:
                row["reason"] += f" {len(group)} applications ask for it and share the money."
