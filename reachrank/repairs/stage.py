"""The `repairs` stage: failing lengths, the kind of work, what to buy, cost, soil kept."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.context import Context, Tables, with_tables
from reachrank.repairs.bank_line import cut
from reachrank.repairs.face import ShapedFace, shaped_face
from reachrank.repairs.kept_soil import cost_per_tonne_usd, soil_rows
from reachrank.repairs.kind_of_work import Decision, kind_of_work, permit_questions
from reachrank.repairs.lengths import FailingLength, find_lengths
from reachrank.repairs.prices import Prices, load_prices
from reachrank.repairs.site import Site
from reachrank.repairs.sites import sites_of
from reachrank.repairs.take_off import Item, hours, take_off, total_usd
from reachrank.report.cautions import WORK_CAUTIONS
from reachrank.running.memory import give_back
from reachrank.schema import MATERIALS, REPAIRS, TIE_INS, Layer
from reachrank.settings import Settings

Pair = tuple[float, float]
Columns = dict[str, list[object]]
TieIn = tuple[FailingLength, str, Pair]
"""A length, its end ``up`` or ``down``, and where the tie-in lies down the bank line."""
UNKNOWN: Pair = (math.nan, math.nan)
AT_A_TIME = 2_000
"""Repairs that are worked out together."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Repair:
    """A failing length with everything that follows from it."""

    length: FailingLength
    site: Site
    decision: Decision
    tie_ins: Mapping[str, Pair]
    items: Sequence[Item]
    cost_usd: Pair

    @property
    def whole_length_m(self) -> float:
        """Length with tie-ins."""
        return self.site.length_m + sum(b - a for a, b in self.tie_ins.values())


def run(tables: Tables, ctx: Context) -> Tables:
    """Find the lengths of bank that need work, and what kind of work.

    Parameters
    ----------
    tables
        ``reaches`` (with ``rank`` where it is known), ``banks``, ``sections`` with a hazard for
        each side, ``edges`` and ``bends``; ``structures``, ``soils`` and ``constraints`` where
        there are any; left as they are.
    ctx
        Context of the run; the settings of repairs, work, materials, sediment, hazard and
        exposure are used.

    Returns
    -------
    Tables
        With ``repairs``, ``tie_ins``, ``materials``, and repair_length_m on ``banks`` (the exact
        share that lies in each) and ``reaches`` (both banks together). Materials are listed for
        work by hand alone.
    """
    reaches, banks = tables["reaches"].copy(), tables["banks"].copy()
    prices = load_prices(ctx.settings.materials.prices_file or None)
    lengths = find_lengths(tables, ctx)
    give_back()
    ctx.progress(0.5, "failing lengths found")
    in_bank: dict[tuple[str, str], float] = {}
    for length in lengths:
        for reach_id, share in length.shares.items():
            in_bank[reach_id, length.bank] = in_bank.get((reach_id, length.bank), 0.0) + share
    keys = zip(banks["reach_id"], banks["bank"], strict=True)
    banks["repair_length_m"] = [in_bank.get((str(r), str(b)), 0.0) for r, b in keys]
    total = banks.groupby("reach_id")["repair_length_m"].sum()
    reaches["repair_length_m"] = reaches["reach_id"].map(total).astype(np.float64)
    ranks = _ranks(reaches)
    repairs, materials = [_no_rows(REPAIRS)], [_no_rows(MATERIALS)]
    tie_ins: list[TieIn] = []
    places = zip(lengths, sites_of(lengths, tables, ctx), strict=True)
    while some := list(islice(places, AT_A_TIME)):  # of a county there are too many to hold all
        soil = soil_rows([site for _, site in some], ctx.settings.sediment, ctx.settings.exposure)
        own, bought = _no_columns(REPAIRS), _no_columns(MATERIALS)
        for (length, site), soil_kept in zip(some, soil, strict=True):
            repair = make_repair(length, site, ctx.settings, prices)
            _append(own, _row(repair, soil_kept, ranks, ctx.settings))
            for row in material_rows(length.repair_id, repair.items):
                _append(bought, row)
            tie_ins += [(length, end, span) for end, span in repair.tie_ins.items() if _has(span)]
            _tell_missing_prices(repair, ctx)
        repairs.append(_table(own))
        materials.append(_table(bought))
    found = pd.concat(repairs, ignore_index=True)
    _state(found["path"], prices, ctx)
    ctx.progress(1.0, "repairs found")
    shapes = _cut(lengths, [own.interval for own in lengths])
    return with_tables(
        tables,
        reaches=reaches,
        banks=banks,
        repairs=gpd.GeoDataFrame(found, geometry=shapes, crs=ctx.crs),
        tie_ins=_tie_ins(tie_ins, ctx.crs),
        materials=pd.concat(materials, ignore_index=True),
    )


def make_repair(length: FailingLength, site: Site, settings: Settings, prices: Prices) -> Repair:
    """Decide on the kind of work at a place, and take off what it needs."""
    decision = kind_of_work(site, settings.work)
    tie_ins = {end: length.tie_in(end, m) for end, m in _wanted_m(decision, site, settings)}
    whole_m = site.length_m + sum(b - a for a, b in tie_ins.values())
    items, cost = work_of(decision, site, whole_m, settings, prices)
    return Repair(
        length=length, site=site, decision=decision, tie_ins=tie_ins, items=items, cost_usd=cost
    )


def work_of(
    decision: Decision, site: Site, whole_length_m: float, settings: Settings, prices: Prices
) -> tuple[list[Item], Pair]:
    """Return the items (for work by hand alone) and the cost of a length with its tie-ins.

    Where a visit must come first, the cost runs from work by hand, if that turns out to do, to
    designed work.
    """
    per_m = prices.designed_work_per_m
    designed = (
        UNKNOWN
        if per_m is None
        else (whole_length_m * per_m.low_usd, whole_length_m * per_m.high_usd)
    )
    if decision.path == "leave_alone":
        return [], UNKNOWN
    if decision.path == "design_first":
        return [], designed
    shaped = finished_face(site, settings)
    if shaped is None:
        return [], UNKNOWN
    items = take_off(whole_length_m, shaped, settings.materials, prices)
    by_hand = total_usd(items)
    if decision.path == "hand_built":
        return items, by_hand
    return [], (min(by_hand[0], designed[0]), max(by_hand[1], designed[1]))


def finished_face(site: Site, settings: Settings) -> ShapedFace | None:
    """Return the face as work by hand would plant it; None where it is not known."""
    if site.face is None:
        return None
    return shaped_face(
        site.bank_height_m,
        site.bank_angle_deg,
        is_lower_bound=site.is_angle_lower_bound,
        steepest_h_per_v=settings.work.steepest_face_h_per_v,
    )


def _wanted_m(decision: Decision, site: Site, settings: Settings) -> list[tuple[str, float]]:
    """Return the tie-ins that a kind of work wants at the upper and the lower end."""
    if decision.path == "leave_alone":
        return []
    width = site.channel_width_m
    if decision.path == "design_first" and width > 0.0:
        work = settings.work
        return [
            ("up", width * work.design_tie_in_up_widths),
            ("down", width * work.design_tie_in_down_widths),
        ]
    return [("up", settings.repairs.tie_in_m), ("down", settings.repairs.tie_in_m)]


def material_rows(repair_id: str, items: Sequence[Item]) -> list[dict[str, object]]:
    """Return the rows of the layer ``materials`` for one repair."""
    return [
        {
            "repair_id": repair_id,
            "item": item.name,
            "unit": item.unit,
            "computed_low": item.computed[0],
            "computed_high": item.computed[1],
            "purchase_low": item.purchase[0],
            "purchase_high": item.purchase[1],
            "price_low_usd": item.price_usd[0],
            "price_high_usd": item.price_usd[1],
            "cost_low_usd": item.cost_usd[0],
            "cost_high_usd": item.cost_usd[1],
            "source": item.source,
        }
        for item in items
    ]


def _row(
    repair: Repair,
    soil: Mapping[str, float | str | None],
    ranks: Mapping[str, int],
    settings: Settings,
) -> dict[str, object]:
    length, site, decision = repair.length, repair.site, repair.decision
    known = [ranks[reach_id] for reach_id in length.shares if reach_id in ranks]
    face = site.face
    low, high = (face.low_m, face.high_m) if face else UNKNOWN
    crew = hours(list(repair.items)) if repair.items else UNKNOWN
    per_tonne = cost_per_tonne_usd(
        repair.cost_usd,
        (
            _number(soil["sediment_low_t_yr_screening"]),
            _number(soil["sediment_high_t_yr_screening"]),
        ),
        settings.sediment,
    )
    return {
        "repair_id": length.repair_id,
        "bank": length.bank,
        "reach_ids": ",".join(length.shares),
        "rank": min(known) if known else pd.NA,
        "length_m": site.length_m,
        "bank_height_m": site.bank_height_m,
        "bank_height_max_m": site.bank_height_max_m,
        "path": decision.path,
        "path_label": decision.label,
        "path_reasons": decision.reasons,
        "permit_questions": permit_questions(site, decision.path, settings.work),
        "constraint_names": ", ".join(site.constraint_names) or None,
        "bank_angle_deg": site.bank_angle_deg,
        "is_angle_lower_bound": site.is_angle_lower_bound if face else None,
        "slope_height_low_m": low,
        "slope_height_high_m": high,
        "face_area_low_m2": site.length_m * low,
        "face_area_high_m2": site.length_m * high,
        "velocity_m_per_s": site.velocity_m_per_s,
        "velocity_source": site.velocity_source,
        "shear_pa": site.shear_pa,
        "structure_distance_m": (
            site.structure_distance_m if math.isfinite(site.structure_distance_m) else math.nan
        ),
        "structure_id": site.structure_id,
        "crew_hours_low": crew[0],
        "crew_hours_high": crew[1],
        "cost_low_usd": repair.cost_usd[0],
        "cost_high_usd": repair.cost_usd[1],
        **soil,
        "cost_per_tonne_low_usd_screening": per_tonne[0],
        "cost_per_tonne_high_usd_screening": per_tonne[1],
    }


def _has(span: Pair) -> bool:
    return span[1] > span[0]


def _tie_ins(found: Sequence[TieIn], crs: object) -> gpd.GeoDataFrame:
    """Return the layer of the tie-ins that were found."""
    columns: Columns = {
        "repair_id": [length.repair_id for length, _, _ in found],
        "end": [end for _, end, _ in found],
        "length_m": [high - low for _, _, (low, high) in found],
    }
    shapes = _cut([length for length, _, _ in found], [span for _, _, span in found])
    return gpd.GeoDataFrame(_table(columns), geometry=shapes, crs=crs)


def _cut(lengths: Sequence[FailingLength], spans: Sequence[Pair]) -> NDArray[np.object_]:
    """Return what lies between two distances down the bank line of each length."""
    low, high = np.array(spans, dtype=np.float64).reshape(-1, 2).T
    return cut([length.line for length in lengths], low, high)


def _tell_missing_prices(repair: Repair, ctx: Context) -> None:
    missing = [item.name for item in repair.items if math.isnan(item.price_usd[0])]
    if missing:
        ctx.findings.add(
            "warning",
            "price_missing",
            f"No price is known for {', '.join(missing)}, so the repair has no cost.",
            source_layer="repairs",
            source_id=repair.length.repair_id,
        )


def _state(paths: Iterable[object], prices: Prices, ctx: Context) -> None:
    """State the share of each kind of work, and where the prices come from."""
    counts = Counter(str(path) for path in paths)
    shares = ", ".join(f"{path} {counts[path]}" for path in sorted(counts))
    ctx.facts["repair_paths"] = shares or "none"
    ctx.facts["prices"] = prices.note
    ctx.facts["work_cautions"] = " ".join(WORK_CAUTIONS)


def _ranks(reaches: pd.DataFrame) -> dict[str, int]:
    if "rank" not in reaches:
        return {}
    known = reaches[reaches["rank"].notna()]
    return {str(r): int(n) for r, n in zip(known["reach_id"], known["rank"], strict=True)}


def _no_columns(layer: Layer) -> Columns:
    return {name: [] for name in layer.names}


def _no_rows(layer: Layer) -> pd.DataFrame:
    return _table(_no_columns(layer))


def _append(columns: Columns, row: Mapping[str, object]) -> None:
    """Add a row; columns take less room than a dictionary for every row."""
    for name, values in columns.items():
        values.append(row[name])


_DTYPES = {
    column.name: {"float": "float64", "int": "Int64", "bool": "boolean"}.get(column.kind, "object")
    for layer in (REPAIRS, TIE_INS, MATERIALS)
    for column in layer
}


def _table(columns: Columns) -> pd.DataFrame:
    return pd.DataFrame(columns).astype({name: _DTYPES[name] for name in columns})


def _number(value: object) -> float:
    return float(value) if isinstance(value, float) else math.nan
