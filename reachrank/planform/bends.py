"""Bends: from one inflection to the next, and what `apex` tells of their least radius."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.channel.blur import Blur
from reachrank.channel.line import curvature_per_m, headings_rad, smooth_line
from reachrank.channel.strip import usual_width_m
from reachrank.grouped import run_medians
from reachrank.planform.apex import apexes_of, mixed_apexes
from reachrank.settings.planform import PlanformSettings
from reachrank.whole_numbers import HAIR, nearest_each

Float = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True)
class Bend:
    """One bend on a line of evenly spaced points.

    ``first`` and ``last`` are the points of its inflections (upstream, downstream), ``apex`` the
    place of the least radius, as a fractional point number. ``turning_rad`` is positive for a
    turn to the left.
    """

    first: int
    last: int
    apex: float
    radius_m: float
    turning_rad: float

    @property
    def outside_bank(self) -> str:
        """The concave bank: the right one where the channel turns left."""
        return "right" if self.turning_rad > 0 else "left"


def smoothed_curvature_per_m(xy: Float, step_m: float, width_m: Float, widths: float) -> Float:
    """Curvature of the centreline smoothed at the scale of its width, shape (n,), 1/m."""
    return curvature_per_m(smooth_line(xy, widths * width_m / step_m))


def sharpened_line(xy: Float, step_m: float, width_m: Float, blur: Blur) -> Float:
    """Return the line with the bends given back that finding it has flattened, shape (n, 2).

    The exact inverse of `Blur` is 1 + (1 - B)(1 - P) / P. It would raise noise without limit where
    P is next to nothing, so 1 / P is cut off after `TERMS` terms, 1 + (1 - P) + ...: wavelengths
    over four widths are given back to within a tenth, shorter ones in part.
    """
    base, move = blur.base_widths * width_m / step_m, blur.move_widths * width_m / step_m
    rest = xy - smooth_line(xy, base)
    sharp = xy
    for _ in range(TERMS):
        rest = rest - smooth_line(rest, move)
        sharp = sharp + rest
    return np.asarray(sharp)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_lobes(kappa, least, longest_flat, first, last):  # type: ignore[no-untyped-def]
    """Fill ``first`` and ``last`` with the runs of one sign; return how many there are.

    Runs are cut where the line is nearly straight for long enough.
    """
    n = kappa.size
    start = np.empty_like(first)
    end = np.empty_like(last)
    count = 0
    for i in range(n):
        if not np.abs(kappa[i]) >= least[i]:
            continue
        is_new = (
            count == 0
            or np.sign(kappa[i]) != np.sign(kappa[end[count - 1]])
            or i - end[count - 1] > longest_flat[i]
        )
        if is_new:
            start[count] = i
            count += 1
        end[count - 1] = i
    # out to the inflection, or half-way to the neighbour, or no farther than the flat limit
    for k in range(count):
        a, b = start[k], end[k]
        low = end[k - 1] + 1 if k else 0
        high = start[k + 1] - 1 if k + 1 < count else n - 1
        s = np.sign(kappa[a])
        while a > low and np.sign(kappa[a - 1]) == s:
            a -= 1
        while b < high and np.sign(kappa[b + 1]) == s:
            b += 1
        first[k], last[k] = a, b
    for k in range(count - 1):
        if last[k] >= first[k + 1]:
            middle = (end[k] + start[k + 1]) // 2
            last[k], first[k + 1] = middle, middle
    return count


def _lobes(kappa: Float, least: Float, longest_flat: Places) -> tuple[Places, Places]:
    """Return the first and the last point of each run of one sign."""
    first = np.empty(kappa.size, np.int64)
    last = np.empty(kappa.size, np.int64)
    count = fill_lobes(kappa, least, longest_flat, first, last)
    return first[:count], last[:count]


LEAST_SCALE_STEPS = 3.0
"""Least width, in steps of the centreline (cells), that smoothing goes by."""
HEADING_SMOOTHING_WIDTHS = 0.15
"""Smoothing of the line before its direction is taken: just the jitter from point to point."""
TERMS = 3
"""So much of what finding a line has taken off its bends is given back, see `sharpened_line`. A
fourth gives back more noise than bend."""
LEAST_RADIUS_WIDTHS = 0.5
"""The inner toe turns about a point then; what reads tighter is roughness."""


def find_bends(
    xy: Float,
    step_m: float,
    width_m: Float,
    settings: PlanformSettings,
    blur: Blur | None = None,
) -> tuple[list[Bend], Float]:
    """Return the bends of a centreline and its smoothed curvature.

    Parameters
    ----------
    xy
        Shape (n, 2), evenly spaced, downstream.
    width_m
        Toe width at each point, shape (n,).
    blur
        What finding the line has done to it (`blur_of`); None for a line that is exact.
    """
    if len(xy) < 5:
        return [], np.zeros(len(xy))
    # a channel of two cells is known no better than to a cell: smooth as if it were three
    width_m = np.fmax(usual_width_m(width_m, step_m), LEAST_SCALE_STEPS * step_m)
    kappa = smoothed_curvature_per_m(xy, step_m, width_m, settings.smoothing_widths)
    jitter = HEADING_SMOOTHING_WIDTHS * width_m / step_m
    heading = headings_rad(smooth_line(xy, jitter))
    least = 1.0 / (settings.straight_radius_widths * width_m)
    flat = (settings.straight_length_widths * width_m / step_m + HAIR).astype(np.int64)
    first, last = _lobes(kappa, least, flat)
    turning = heading[last] - heading[first]
    widths = run_medians(width_m, first, last + 1) / step_m
    is_bend = (np.abs(turning) >= np.radians(settings.least_turning_deg)) & (last > first)
    is_bend &= last - first >= settings.least_length_widths * widths - HAIR
    first, last, turning, widths = (a[is_bend] for a in (first, last, turning, widths))
    apex = apexes_of(heading, kappa, first, last, widths)
    # turning between inflections needs no sharpening, a short bend's apex does
    if blur is not None:
        sharp = headings_rad(smooth_line(sharpened_line(xy, step_m, width_m, blur), jitter))
        apex = mixed_apexes(apex, apexes_of(sharp, kappa, first, last, widths), widths)
    # too few points for a cubic: the curvature itself
    sharpest = 1.0 / np.abs(kappa[nearest_each(apex[:, 1])])
    radius = np.where(np.isfinite(apex[:, 0]), apex[:, 0] * step_m, sharpest)
    at_apex = width_m[nearest_each(apex[:, 1])]
    radius = np.maximum(radius, LEAST_RADIUS_WIDTHS * at_apex)
    bends = [
        Bend(*row)
        for row in zip(
            first.tolist(), last.tolist(), apex[:, 1].tolist(), radius.tolist(), turning.tolist(),
            strict=True,
        )
    ]  # fmt: skip
    return bends, kappa
