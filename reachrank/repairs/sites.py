"""From the tables to what is known of the place of each failing length."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache, partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.context import Context, Table
from reachrank.repairs.flow import SectionFlow, bank_flow, section_flow
from reachrank.repairs.lengths import FailingLength
from reachrank.repairs.site import Site
from reachrank.repairs.surroundings import (
    are_structures_known,
    constraint_names,
    nearest_structures,
    textures,
)

Floats = NDArray[np.float64]


def sites_of(
    lengths: Sequence[FailingLength], tables: Mapping[str, Table], ctx: Context
) -> list[Site]:
    """Return the place of each failing length, in their order."""
    if not lengths:
        return []
    flow = section_flow(tables, ctx)
    # whole columns and the bends of a stream are taken out once, not for every repair
    column = cache(partial(floats, tables["sections"]))
    bends = tables["bends"]
    bends_of = {str(key): own for key, own in bends.groupby("stream_id")}
    over_median = _over_median(flow)
    tie_in_m = ctx.settings.repairs.tie_in_m
    near = nearest_structures(lengths, tables, ctx.settings.exposure.reach_m, tie_in_m)
    constraints = constraint_names(lengths, tables.get("constraints"), tie_in_m)
    soil = textures(lengths, tables.get("soils"))
    is_known = are_structures_known(tables, ctx)
    cover = _by_bank(tables["banks"], "cover_frac")
    area, is_cut = _drainage(tables)
    sites = []
    for i, length in enumerate(lengths):
        rows, side = length.rows, length.bank
        angles = column(f"{side}_bank_angle_deg")[rows]
        angle = _median(angles)
        height = column(f"{side}_bank_height_m")[rows]
        along = bank_flow(
            flow,
            rows,
            bends_of.get(length.stream_id, bends.iloc[:0]),
            stream_id=length.stream_id,
            bank=side,
            stations_m=(length.station_from_m, length.station_to_m),
            bank_angle_deg=angle,
            safety_ratio=ctx.settings.work.bend_safety_ratio,
        )
        width = _median(flow.width_m[rows])
        if math.isnan(width):
            width = _median(column("top_width_m")[rows])
        sites.append(
            Site(
                length_m=length.length_m,
                bank_height_m=_median(height),
                bank_height_max_m=float(np.max(height)) if height.size else math.nan,
                bank_angle_deg=angle,
                is_angle_lower_bound=_is_mostly_bound(
                    angles, column(f"{side}_is_angle_lower_bound")[rows]
                ),
                hazard_score=_median(column(f"{side}_hazard_score")[rows]),
                cover_frac=_weighted(
                    length.shares, {r: cover.get((r, side), math.nan) for r in length.shares}
                ),
                are_structures_known=is_known,
                structure_distance_m=near[i].distance_m,
                structure_id=near[i].structure_id,
                velocity_m_per_s=along.velocity_m_per_s,
                velocity_source=along.velocity_source,
                bend_factor=along.bend_factor,
                shear_pa=along.shear_pa,
                toe_shear_pa=along.toe_shear_pa,
                lower_bank_height_m=_median(flow.lower_bank_m[rows]),
                lower_bank_over_median=_median(over_median[rows]),
                lower_bank_over_depth=_median(flow.lower_bank_over_depth[rows]),
                drainage_area_km2=_greatest([area.get(r, math.nan) for r in length.shares]),
                is_area_lower_bound=any(is_cut.get(r, False) for r in length.shares),
                toe_width_m=_median(column("toe_width_m")[rows]),
                channel_width_m=width,
                constraint_names=constraints[i],
                texture=soil[i],
            )
        )
    return sites


def _over_median(flow: SectionFlow) -> Floats:
    """Return the lower bank over the run's median: of the ratio to depth, if any depth is known."""
    ratio = flow.lower_bank_over_depth
    values = ratio if np.isfinite(ratio).any() else flow.lower_bank_m
    known = values[np.isfinite(values)]
    middle = float(np.median(known)) if known.size else math.nan
    return values / middle if middle > 0.0 else np.full(values.shape, np.nan)


def _is_mostly_bound(angle_deg: Floats, is_bound: Floats) -> bool:
    """Return whether at least half of the sections with an angle have only a lower bound."""
    known = np.isfinite(angle_deg)
    bound = is_bound == 1.0
    return bool(known.any() and bound[known].mean() >= 0.5)


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


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan
