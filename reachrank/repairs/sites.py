"""From the tables to what is known of the place of each failing length."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.context import Context, Table
from reachrank.grouped import group_greatest, group_medians, group_sums, starts_of
from reachrank.repairs.flow import SectionFlow, bank_flows, section_flow
from reachrank.repairs.lengths import FailingLength
from reachrank.repairs.site import Site
from reachrank.repairs.surroundings import (
    are_structures_known,
    constraint_names,
    nearest_structures,
    textures,
)
from reachrank.running.mapped import let_go
from reachrank.running.memory import give_back

Floats = NDArray[np.float64]


def sites_of(
    lengths: Sequence[FailingLength], tables: Mapping[str, Table], ctx: Context
) -> Iterator[Site]:
    """Yield the place of each failing length, in their order."""
    if not lengths:
        return
    flow = section_flow(tables, ctx)
    let_go()
    measured = _measured(lengths, flow, tables["sections"])
    let_go()
    along = bank_flows(
        flow,
        *_rows(lengths),
        tables["bends"],
        stream_id=[length.stream_id for length in lengths],
        bank=[length.bank for length in lengths],
        stations_m=np.array([[own.station_from_m, own.station_to_m] for own in lengths]),
        bank_angle_deg=measured["bank_angle_deg"],
        safety_ratio=ctx.settings.work.bend_safety_ratio,
    )
    del flow  # a dozen arrays as long as the sections
    give_back()
    tie_in_m = ctx.settings.repairs.tie_in_m
    near = nearest_structures(lengths, tables, ctx.settings.exposure.reach_m, tie_in_m)
    constraints = constraint_names(lengths, tables.get("constraints"), tie_in_m)
    soil = textures(lengths, tables.get("soils"))
    is_known = are_structures_known(tables, ctx)
    cover = _by_bank(tables["banks"], "cover_frac")
    area, is_cut = _drainage(tables)
    rows = zip(*(values.tolist() for values in measured.values()), strict=True)
    for i, (length, numbers) in enumerate(zip(lengths, rows, strict=True)):
        yield Site(
            length_m=length.length_m,
            cover_frac=_weighted(
                length.shares, {r: cover.get((r, length.bank), math.nan) for r in length.shares}
            ),
            are_structures_known=is_known,
            structure_distance_m=near[i].distance_m,
            structure_id=near[i].structure_id,
            velocity_m_per_s=along[i].velocity_m_per_s,
            velocity_source=along[i].velocity_source,
            bend_factor=along[i].bend_factor,
            shear_pa=along[i].shear_pa,
            toe_shear_pa=along[i].toe_shear_pa,
            drainage_area_km2=_greatest([area.get(r, math.nan) for r in length.shares]),
            is_area_lower_bound=any(is_cut.get(r, False) for r in length.shares),
            constraint_names=constraints[i],
            texture=soil[i],
            **dict(zip(measured, numbers, strict=True)),
        )


def _rows(lengths: Sequence[FailingLength]) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Return the sections of all lengths, one length after the other, and where each starts."""
    starts = starts_of(np.array([length.rows.size for length in lengths]))
    return np.concatenate([length.rows for length in lengths]), starts


def _measured(
    lengths: Sequence[FailingLength], flow: SectionFlow, sections: pd.DataFrame
) -> dict[str, NDArray[Any]]:
    """Return what the sections of each length say of its `Site`, mostly medians; shapes (n,)."""
    rows, starts = _rows(lengths)
    is_left = np.repeat([length.bank == "left" for length in lengths], np.diff(starts))

    def of_side(name: str) -> Floats:
        left, right = (floats(sections, f"{side}_{name}")[rows] for side in ("left", "right"))
        return np.where(is_left, left, right)

    height, angle = of_side("bank_height_m"), of_side("bank_angle_deg")
    is_bound = np.isfinite(angle) & (of_side("is_angle_lower_bound") == 1.0)
    known = group_sums(np.isfinite(angle), starts)
    width = group_medians(flow.width_m[rows], starts)
    top_width = group_medians(floats(sections, "top_width_m")[rows], starts)
    return {
        "bank_height_m": group_medians(height, starts),
        "bank_height_max_m": group_greatest(height, starts),
        "bank_angle_deg": group_medians(angle, starts),
        # at least half of the sections with an angle have only a lower bound
        "is_angle_lower_bound": (known > 0) & (2 * group_sums(is_bound, starts) >= known),
        "hazard_score": group_medians(of_side("hazard_score"), starts),
        "lower_bank_height_m": group_medians(flow.lower_bank_m[rows], starts),
        "lower_bank_over_median": group_medians(_over_median(flow)[rows], starts),
        "lower_bank_over_depth": group_medians(flow.lower_bank_over_depth[rows], starts),
        "toe_width_m": group_medians(floats(sections, "toe_width_m")[rows], starts),
        "channel_width_m": np.where(np.isnan(width), top_width, width),
    }


def _over_median(flow: SectionFlow) -> Floats:
    """Return the lower bank over the run's median: of the ratio to depth, if any depth is known."""
    ratio = flow.lower_bank_over_depth
    values = ratio if np.isfinite(ratio).any() else flow.lower_bank_m
    known = values[np.isfinite(values)]
    middle = float(np.median(known)) if known.size else math.nan
    return values / middle if middle > 0.0 else np.full(values.shape, np.nan)


def _by_bank(banks: pd.DataFrame, column: str) -> dict[tuple[str, str], float]:
    values = floats(banks, column)
    keys = zip(banks["reach_id"], banks["bank"], strict=True)
    return {(str(r), str(b)): float(v) for (r, b), v in zip(keys, values, strict=True)}


def _drainage(tables: Mapping[str, Table]) -> tuple[dict[str, float], dict[str, bool]]:
    """Return each reach's drainage area, and whether it is only a lower bound."""
    reaches = tables["reaches"]
    names = [str(r) for r in reaches["reach_id"]]
    area = dict(zip(names, floats(reaches, "drainage_area_km2").tolist(), strict=True))
    edges = tables["edges"]
    if "is_area_cut" not in edges.columns:
        return area, {}
    cut = dict(zip(edges["edge_id"], edges["is_area_cut"].eq(True), strict=True))
    is_cut = [bool(cut.get(e, False)) for e in reaches["edge_id"]]
    return area, dict(zip(names, is_cut, strict=True))


def _weighted(shares: Mapping[str, float], values: Mapping[str, float]) -> float:
    """Return the mean by length over the reaches where the value is known."""
    known = {r: v for r, v in values.items() if math.isfinite(v)}
    weight = sum(shares[r] for r in known)
    return sum(shares[r] * v for r, v in known.items()) / weight if weight > 0.0 else math.nan


def _greatest(values: Sequence[float]) -> float:
    return max((v for v in values if math.isfinite(v)), default=math.nan)
