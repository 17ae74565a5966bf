"""Bankfull flow at the sections, and the rise of velocity and shear along a bend."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.context import Context, Table
from reachrank.findings import Findings
from reachrank.hazard.bankfull import chosen_curve, curve_area_km2
from reachrank.hazard.flow import manning_discharge_m3s
from reachrank.hazard.measure import build_frame
from reachrank.repairs.shear import bed_shear_pa, bend_effect_length_m, bend_factor, side_factor

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
    quiet = replace(ctx, findings=Findings())  # what there is to find was told by the stage hazard
    cover = floats(tables["banks"], "cover_frac")
    frame, size = build_frame(tables, cover, used, quiet)
    slope, width = frame.slope_ratio[:, 0], frame.width_m[:, 0]
    speed = np.full(len(slope), np.nan)
    if used is not None:
        edges = tables["edges"]
        area_km2 = pd.Series(curve_area_km2(edges), index=edges["edge_id"])
        at = area_km2.reindex(tables["sections"]["edge_id"]).to_numpy(np.float64)
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
    lower = np.where(frame.counts.all(axis=1), frame.both_banks_height_m[:, 0], np.nan)
    return SectionFlow(
        velocity_m_per_s=speed,
        by_curve=by_curve,
        mean_depth_m=depth,
        greatest_depth_m=size.greatest_depth_m,
        slope_ratio=np.where(falls, slope, np.nan),
        width_m=width,
        lower_bank_m=lower,
        manning_n=settings.manning_n,
    )


@dataclass(frozen=True)
class BankFlow:
    """Flow along one repair; NaN where unknown. Velocity and shear are raised for the bend."""

    velocity_m_per_s: float
    velocity_source: str
    bend_factor: float
    shear_pa: float
    toe_shear_pa: float


def bank_flow(
    flow: SectionFlow,
    rows: NDArray[np.intp],
    bends: pd.DataFrame,
    *,
    stream_id: str,
    bank: str,
    stations_m: tuple[float, float],
    bank_angle_deg: float,
    safety_ratio: float = 1.0,
) -> BankFlow:
    """Return the flow along a repair: medians of its sections, raised for the tightest bend.

    Parameters
    ----------
    flow, rows
        Flow of all sections, and which of them the repair has.
    bends
        The layer; a bend acts on its outside bank, and below its end as far as its shear goes on
        (`shear.bend_effect_length_m`).
    stations_m
        Stations of the lower and the upper end.
    bank_angle_deg
        Angle of the face; the shear on it is lower than on the bed. NaN: as on the bed.
    safety_ratio
        Multiplies the rise of shear in a bend.

    Notes
    -----
    Shear goes with the square of velocity, so the velocity rises by the root of the bend factor.
    """
    speed, depth, deepest, slope, width = (
        _median(values[rows])
        for values in (
            flow.velocity_m_per_s,
            flow.mean_depth_m,
            flow.greatest_depth_m,
            flow.slope_ratio,
            flow.width_m,
        )
    )
    radius_m = width * depth / (width + 2.0 * depth)
    below = bend_effect_length_m(radius_m, flow.manning_n) if radius_m > 0.0 else 0.0
    tightest = _tightest_m(bends, stream_id, bank, stations_m, below)
    factor = 1.0
    if tightest > 0.0 and width > 0.0 and math.isfinite(tightest):
        factor = bend_factor(tightest / width) * safety_ratio
    bed = bed_shear_pa(deepest, slope) * factor
    face = bed
    if 0.0 < bank_angle_deg <= 90.0:
        face = bed * side_factor(1.0 / math.tan(math.radians(bank_angle_deg)))
    return BankFlow(
        velocity_m_per_s=speed * math.sqrt(factor),
        velocity_source=_source(flow, rows, speed, factor),
        bend_factor=factor,
        shear_pa=face,
        toe_shear_pa=bed,
    )


def _source(flow: SectionFlow, rows: NDArray[np.intp], speed: float, factor: float) -> str:
    if not math.isfinite(speed):
        return "no bankfull discharge, and no depth and fall for a formula"
    by_curve = flow.by_curve[rows]
    how = BY_DISCHARGE if by_curve.any() else f"{BY_MANNING}, n = {flow.manning_n:g}"
    if factor <= 1.0:
        return f"{how}; no bend"
    return f"{how}; {speed:.2f} m/s times the root of a bend factor of {factor:.2f}"


def _tightest_m(
    bends: pd.DataFrame, stream_id: str, bank: str, stations_m: tuple[float, float], below_m: float
) -> float:
    """Return the least radius of the bends that act on the bank there; infinite for none."""
    if bends.empty:
        return math.inf
    low, high = stations_m
    end = bends["end_station_m"].to_numpy(np.float64) - below_m
    acts = (
        (bends["stream_id"] == stream_id).to_numpy(np.bool_)
        & (bends["outside_bank"] == bank).to_numpy(np.bool_)
        & (bends["start_station_m"].to_numpy(np.float64) > low)
        & (end < high)
    )
    return float(np.min(bends["radius_m"].to_numpy(np.float64)[acts], initial=math.inf))


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan
