"""What the water does: power on the bed, and a bed that is sinking."""

from __future__ import annotations

import numpy as np

from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import Floats, SideFrame


def _power(frame: SideFrame) -> Floats:
    return frame.unit_stream_power_w_per_m2.copy()


def _power_error(frame: SideFrame) -> Floats:
    return frame.unit_stream_power_w_per_m2 * frame.settings.power_relative_se


def _cutting_down(frame: SideFrame) -> Floats:
    lower = frame.both_banks_height_m
    usual = frame.greatest_depth_m
    if frame.is_absent("greatest_depth_m"):
        known = lower[frame.counts & np.isfinite(lower)]
        median = float(np.median(known)) if known.size else np.nan
        usual = np.full(frame.shape, median if median > 0 else np.nan)
    return lower / usual


def _cutting_down_error(frame: SideFrame) -> Floats:
    ratio = _cutting_down(frame)
    with np.errstate(invalid="ignore", divide="ignore"):
        relative = frame.bank_height_se_m / frame.bank_height_m
    return ratio * np.clip(np.nan_to_num(relative, posinf=0.0), 0.0, 1.0)


UNIT_STREAM_POWER = Factor(
    name="unit_stream_power",
    needs=("unit_stream_power_w_per_m2",),
    gives="stream power on the bed at bankfull, rho g Q S / W",
    unit="W/m²",
    compute=_power,
    reference="definition: 9810 N/m³ times discharge, slope, over width; Magilligan 1992",
    error=_power_error,
    error_group="power",
)

CUTTING_DOWN = Factor(
    name="cutting_down",
    needs=("both_banks_height_m",),
    gives="lower bank's height over the greatest bankfull depth, else over the run's median",
    unit="ratio",
    compute=_cutting_down,
    reference="high banks on both sides at once mark a sinking bed (Schumm, Harvey & Watson 1984,"
    " from memory)",
    error=_cutting_down_error,
    error_group="height",
)
