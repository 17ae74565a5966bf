"""Every bank along one found channel: toe, top, height, angle, and how sure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from reachrank.bank.angle import face_angle_deg
from reachrank.bank.averaged import LEAST_RUN_CELLS
from reachrank.bank.measure import Side, bank_rules
from reachrank.bank.noise import ground_noise_m
from reachrank.bank.scale import averaging_scale_m
from reachrank.channel.find import (
    bed_level_m,
    blocked_rows,
    both_sides,
    cut_bed,
    fit_rows,
    median_half_rows,
)
from reachrank.channel.line import left_normals, smooth_line, tangents
from reachrank.channel.strip import median_along, usual_width_m
from reachrank.settings.channel import ChannelSettings
from reachrank.settings.sections import SectionsSettings
from reachrank.surface import Surface
from reachrank.whole_numbers import nearest

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]


@dataclass
class BankLine:
    """One bank at each point of the channel, shape (n,) each, NaN where there is none."""

    toe_m: Float
    top_m: Float
    height_m: Float
    angle_deg: Float
    is_lower_bound: Bool
    misfit_m: Float


@dataclass
class Measured:
    """All that is measured along one channel, at every point of its centreline."""

    normal: Float
    left: BankLine
    right: BankLine
    bed_m: Float
    is_gap: Bool
    is_crossing: Bool
    is_pond: Bool
    noise_m: float
    strip: Float
    offsets_m: Float


def _bank_line(
    side: Side, rows: NDArray[np.int64], at: NDArray[np.int64], cell_m: float, least_height_m: float
) -> BankLine:
    """Return the bank at every point by running medians of the fits at the points ``at``."""
    is_found = np.full(rows.size, np.nan)
    is_found[at] = np.isfinite(side.rise_m[at])
    height = median_along(side.rise_m, rows)
    toe = median_along(side.toe_m, rows)
    top = median_along(side.top_m, rows)
    run = np.maximum(top - toe, LEAST_RUN_CELLS * cell_m)
    # a bank that is found at fewer than half of the stations around is not there
    share = median_along(is_found, rows)
    absent = (share < 0.5) | ~(height >= least_height_m)
    angle, bound = face_angle_deg(height, run, cell_m)
    misfit = median_along(side.misfit_m, rows)
    for values in (height, toe, top, angle, misfit):
        values[absent] = np.nan
    return BankLine(toe, top, height, angle, bound & ~absent, misfit)


def _ponds(bed: Float, width_m: Float, step_m: float, noise_m: float, times_as_wide: float) -> Bool:
    """Stretches much wider than around whose surface is as flat as the noise allows."""
    around = np.full(len(width_m), max(5, nearest(150.0 / step_m)), np.int64)
    is_wide = width_m > times_as_wide * median_along(width_m, around)
    spread = np.ptp(np.sort(bed, axis=1)[:, 1:-1], axis=1)
    # of nine values without the two outermost: 2.5 standard deviations of noise on average
    is_flat = spread < 4.0 * (noise_m if np.isfinite(noise_m) else 0.15) + 0.05
    pond = is_wide & is_flat
    # its shores reach into the channel above and below: as far again as it is wide
    spread = nearest(float(np.nanmax(width_m[pond])) / step_m) if pond.any() else 0
    return np.asarray(maximum_filter1d(pond.astype(np.uint8), 2 * spread + 1) > 0)


def measure_channel(
    xy: Float,
    width_m: Float,
    step_m: float,
    surface: Surface,
    channel: ChannelSettings,
    settings: SectionsSettings,
    others: Float | None = None,
) -> Measured:
    """Measure both banks at every point of a found channel.

    Parameters
    ----------
    xy, width_m, step_m
        The channel as `reachrank.channel.find.find_channel` gives it.
    others
        Points of neighbouring streams, which own their ground.
    """
    cell = surface.cell_m
    rules = bank_rules(settings)
    usual = usual_width_m(width_m, step_m)
    square = left_normals(tangents(smooth_line(xy, 0.3 * usual / step_m)))
    scale_m = averaging_scale_m(width_m, cell)
    at = fit_rows(len(xy), scale_m, step_m, cell)
    fitted_left, fitted_right, strip, offsets = both_sides(
        surface, xy, square, width_m, step_m, channel, rules, usual, others, rows=at,
        undo_averaging=True, scale_m=scale_m,
    )  # fmt: skip
    left, right = fitted_left.spread(at, len(xy)), fitted_right.spread(at, len(xy))
    rows = median_half_rows(scale_m, channel.median_widths, step_m)
    bed_each = np.where(
        np.isfinite(left.bed_m) & np.isfinite(right.bed_m),
        0.5 * (left.bed_m + right.bed_m),
        np.where(np.isfinite(left.bed_m), left.bed_m, right.bed_m),
    )
    bed_points = cut_bed(surface, xy, square, width_m)
    core = bed_level_m(bed_points)
    gap = np.isnan(core)
    crossing = blocked_rows(strip, offsets, width_m, cell, step_m, settings.crossing_rise_m)
    bed_fitted = np.full(len(xy), np.nan)
    bed_fitted[at] = np.where(np.isfinite(bed_each[at]), bed_each[at], core[at])
    bed = median_along(np.where(crossing, np.nan, bed_fitted), rows)
    lines = [_bank_line(side, rows, at, cell, settings.least_height_m) for side in (left, right)]
    noise = ground_noise_m(surface, xy, square, lines[0].top_m, lines[1].top_m, step_m)
    pond = _ponds(bed_points, width_m, step_m, noise, settings.pond_widths)
    return Measured(square, lines[0], lines[1], bed, gap, crossing, pond, noise, strip, offsets)
