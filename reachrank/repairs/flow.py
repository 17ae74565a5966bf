"""Bankfull flow at the sections, and the rise of velocity and shear along a bend."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.context import Context, Table
from reachrank.grouped import group_medians, group_sums
from reachrank.hazard.bankfull import chosen_curve, curve_area_km2
from reachrank.hazard.flow import manning_discharge_m3s
from reachrank.hazard.measure import counting_sides, side_pair, size_at, slope_at, width_at
from reachrank.repairs.shear import bed_shear_pa, bend_effect_length_m, bend_factor, side_factor
from reachrank.running.mapped import mapped

Floats = NDArray[np.float64]
BY_DISCHARGE = "discharge over area of the regional curve"
BY_MANNING = "Manning's formula"


@dataclass(frozen=True)
class SectionFlow:
    """Bankfull flow at n sections; NaN where unknown.

    Attributes
    ----------
    velocity_m_per_s, by_curve
        Mean velocity, and whether it is discharge over area.
    mean_depth_m, greatest_depth_m, slope_ratio, width_m
        Bankfull depths, fall of the profile, bankfull width (else between the tops).
    lower_bank_m
        Height of the lower of both banks.
    manning_n
        The resistance used.
    """

    velocity_m_per_s: Floats
    by_curve: NDArray[np.bool_]
    mean_depth_m: Floats
    greatest_depth_m: Floats
    slope_ratio: Floats
    width_m: Floats
    lower_bank_m: Floats
    manning_n: float

    @property
    def lower_bank_over_depth(self) -> Floats:
        """Lower bank over the greatest bankfull depth."""
        return self.lower_bank_m / self.greatest_depth_m


def section_flow(tables: Mapping[str, Table], ctx: Context) -> SectionFlow:
    """Return the bankfull flow at every section, in the order of the table.

    Velocity is the regional curve's discharge over its area (its own fit of the area, else width
    times mean depth), else Manning's formula on the bankfull section with the ``manning_n`` of
    the hazard settings, else unknown.
    """
    settings = ctx.settings.hazard
    used = chosen_curve(ctx.inputs.curve, settings)
    sections, reaches, edges = tables["sections"], tables["reaches"], tables["edges"]
    size = size_at(sections, edges, used, settings)
    width = width_at(sections, reaches, size)
    slope = slope_at(sections, reaches, width, settings)
    speed = np.full(len(slope), np.nan)
    if used is not None:
        area_km2 = pd.Series(curve_area_km2(edges), index=edges["edge_id"])
        at = area_km2.reindex(sections["edge_id"]).to_numpy(np.float64)
        discharge, area = used.discharge_m3s(at), used.area_m2(at)
        if area is None:
            area = used.width_m(at) * used.depth_m(at)
        if discharge is not None:
            speed = np.asarray(discharge / area, np.float64)
    by_curve = np.isfinite(speed)
    depth = size.mean_depth_m
    by_formula = manning_discharge_m3s(width, depth, slope, settings.manning_n) / (width * depth)
    falls = slope > 0.0
    speed = np.where(by_curve, speed, np.where(falls, by_formula, np.nan))
    counts = counting_sides(sections, ctx.settings.reaches.least_quality)
    lower = side_pair(sections, "bank_height_m").min(axis=1)
    return SectionFlow(
        velocity_m_per_s=mapped(speed),
        by_curve=by_curve,
        mean_depth_m=depth,
        greatest_depth_m=size.greatest_depth_m,
        slope_ratio=mapped(np.where(falls, slope, np.nan)),
        width_m=width,
        lower_bank_m=mapped(np.where(counts.all(axis=1), lower, np.nan)),
        manning_n=settings.manning_n,
    )


@dataclass(frozen=True, slots=True)
class BankFlow:
    """Flow along one repair; NaN where unknown. Velocity and shear are raised for the bend."""

    velocity_m_per_s: float
    velocity_source: str
    bend_factor: float
    shear_pa: float
    toe_shear_pa: float


def bank_flows(
    flow: SectionFlow,
    rows: NDArray[np.int32] | NDArray[np.intp],
    starts: NDArray[np.int64],
    bends: pd.DataFrame,
    *,
    stream_id: Sequence[str],
    bank: Sequence[str],
    stations_m: Floats,
    bank_angle_deg: Floats,
    safety_ratio: float = 1.0,
) -> list[BankFlow]:
    """Return the flow along n repairs: medians of its sections, raised for the tightest bend.

    Parameters
    ----------
    flow, rows, starts
        Flow of all sections, and which of them the repairs have, one repair after the other:
        where the sections of each start, and at last where they end; shape (n + 1,).
    bends
        The layer; a bend acts on its outside bank, and below its end as far as its shear goes on
        (`shear.bend_effect_length_m`).
    stream_id, bank
        Where each repair is.
    stations_m
        Stations of the lower and the upper end, shape (n, 2).
    bank_angle_deg
        Angle of the face, shape (n,); the shear on it is lower than on the bed. NaN: as on the
        bed.
    safety_ratio
        Multiplies the rise of shear in a bend.

    Notes
    -----
    Shear goes with the square of velocity, so the velocity rises by the root of the bend factor.
    """
    speed, depth, deepest, slope, width = (
        group_medians(values[rows], starts)
        for values in (
            flow.velocity_m_per_s,
            flow.mean_depth_m,
            flow.greatest_depth_m,
            flow.slope_ratio,
            flow.width_m,
        )
    )
    radius_m = width * depth / (width + 2.0 * depth)
    below_m = [
        bend_effect_length_m(radius, flow.manning_n) if radius > 0.0 else 0.0
        for radius in radius_m.tolist()
    ]
    tightest = _tightest_m(bends, stream_id, bank, stations_m, np.array(below_m, np.float64))
    by_curve = group_sums(flow.by_curve[rows], starts) > 0
    return [
        _bank_flow(
            *numbers,
            safety_ratio=safety_ratio,
            how=BY_DISCHARGE if is_by_curve else f"{BY_MANNING}, n = {flow.manning_n:g}",
        )
        for *numbers, is_by_curve in zip(
            speed.tolist(),
            deepest.tolist(),
            slope.tolist(),
            width.tolist(),
            tightest.tolist(),
            bank_angle_deg.tolist(),
            by_curve.tolist(),
            strict=True,
        )
    ]


def _bank_flow(
    speed: float,
    deepest_m: float,
    slope: float,
    width_m: float,
    tightest_m: float,
    bank_angle_deg: float,
    *,
    safety_ratio: float,
    how: str,
) -> BankFlow:
    factor = 1.0
    if tightest_m > 0.0 and width_m > 0.0 and math.isfinite(tightest_m):
        factor = bend_factor(tightest_m / width_m) * safety_ratio
    bed = bed_shear_pa(deepest_m, slope) * factor
    face = bed
    if 0.0 < bank_angle_deg <= 90.0:
        face = bed * side_factor(1.0 / math.tan(math.radians(bank_angle_deg)))
    return BankFlow(
        velocity_m_per_s=speed * math.sqrt(factor),
        velocity_source=_source(speed, factor, how),
        bend_factor=factor,
        shear_pa=face,
        toe_shear_pa=bed,
    )


def _source(speed: float, factor: float, how: str) -> str:
    if not math.isfinite(speed):
        return "no bankfull discharge, and no depth and fall for a formula"
    if factor <= 1.0:
        return f"{how}; no bend"
    return f"{how}; {speed:.2f} m/s times the root of a bend factor of {factor:.2f}"


def _tightest_m(
    bends: pd.DataFrame,
    stream_id: Sequence[str],
    bank: Sequence[str],
    stations_m: Floats,
    below_m: Floats,
) -> Floats:
    """Return the least radius of the bends that act on each bank; infinite for none."""
    tightest = np.full(len(stations_m), math.inf)
    start, end, radius = (
        floats(bends, name) for name in ("start_station_m", "end_station_m", "radius_m")
    )
    low, high = stations_m[:, :1], stations_m[:, 1:]
    bends_of = pd.DataFrame(bends)[["stream_id", "outside_bank"]].reset_index(drop=True)
    bends_on = bends_of.groupby(["stream_id", "outside_bank"]).indices
    places = pd.DataFrame({"stream_id": list(stream_id), "bank": list(bank)})
    for key, rows in places.groupby(["stream_id", "bank"]).indices.items():
        own = bends_on.get(key)
        if own is not None:
            acts = (start[own] > low[rows]) & (end[own] - below_m[rows, None] < high[rows])
            tightest[rows] = np.where(acts, radius[own], math.inf).min(axis=1)
    return tightest
