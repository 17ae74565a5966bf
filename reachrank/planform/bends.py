"""Bends: from one inflection to the next, with the least radius at the apex."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.channel.line import curvature_per_m, headings_rad, smooth_line
from reachrank.channel.strip import usual_width_m
from reachrank.settings.planform import PlanformSettings

Float = NDArray[np.float64]


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


def _lobes(kappa: Float, least: Float, longest_flat: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return the runs of one sign, cut where the line is nearly straight for long enough."""
    n = kappa.size
    curved = np.abs(kappa) >= least
    lobes: list[tuple[int, int]] = []
    start = None
    last_curved = -1
    sign = 0.0
    for i in range(n):
        if not curved[i]:
            continue
        s = np.sign(kappa[i])
        broken = start is not None and (s != sign or i - last_curved > longest_flat[i])
        if start is None:
            start = i
        elif broken:
            lobes.append((start, last_curved))
            start = i
        sign = s
        last_curved = i
    if start is not None:
        lobes.append((start, last_curved))
    # out to the inflection, or half-way to the neighbour, or no farther than the flat limit
    out = []
    for k, (start_of, end_of) in enumerate(lobes):
        a, b = start_of, end_of
        low = lobes[k - 1][1] + 1 if k else 0
        high = lobes[k + 1][0] - 1 if k + 1 < len(lobes) else n - 1
        s = np.sign(kappa[a])
        while a > low and np.sign(kappa[a - 1]) == s:
            a -= 1
        while b < high and np.sign(kappa[b + 1]) == s:
            b += 1
        out.append((a, b))
    for k in range(len(out) - 1):
        (a, b), (c, d) = out[k], out[k + 1]
        if b >= c:
            middle = (lobes[k][1] + lobes[k + 1][0]) // 2
            out[k], out[k + 1] = (a, middle), (middle, d)
    return out


LEAST_SCALE_STEPS = 3.0
"""Least width, in steps of the centreline (cells), that smoothing goes by."""
HEADING_SMOOTHING_WIDTHS = 0.15
"""Smoothing of the line before its direction is taken: just the jitter from point to point."""
CORE = 0.3
"""The core of a bend is where it curves at least this share of its sharpest."""
LONG_CORE_WIDTHS = 7.0
"""Longer cores are often skewed or flattened and are smoother for their length: order 5, not 3."""


def apex_radius_m(
    heading: Float, kappa: Float, first: int, last: int, step_m: float, width_m: float
) -> tuple[float, float]:
    """Least radius of a bend and its place, from one polynomial of direction around the apex.

    The largest value of a noisy curvature reads the radius too short; a polynomial of the
    direction over the core of the bend averages the noise. Its derivative is the curvature.

    Parameters
    ----------
    heading
        Unwrapped direction of the lightly smoothed centreline, radians, shape (n,).
    kappa
        Its smoothed curvature, 1/m, shape (n,); tells the core only.
    first, last
        The points of the bend's inflections.

    Returns
    -------
    radius_m, apex
        Metres, and the fractional point number.
    """
    part = np.abs(kappa[first : last + 1])
    peak = first + int(np.argmax(part))
    core = np.abs(kappa) >= CORE * part.max()
    a = peak
    while a > first and core[a - 1]:
        a -= 1
    b = peak
    while b < last and core[b + 1]:
        b += 1
    order = 5 if (b - a) * step_m > LONG_CORE_WIDTHS * width_m else 3
    extra = int(np.ceil(0.25 * width_m / step_m))
    a, b = max(0, a - extra), min(heading.size - 1, b + extra)
    if b - a < order + 1:
        return 1.0 / float(part.max()), float(peak)
    middle, half = 0.5 * (a + b), 0.5 * (b - a)
    v = (np.arange(a, b + 1) - middle) / half
    series = np.polynomial.legendre.legfit(v, heading[a : b + 1], order)
    fine = np.linspace(-0.8, 0.8, 65)
    slope = np.polynomial.legendre.legval(fine, np.polynomial.legendre.legder(series))
    curve = np.abs(slope) / (half * step_m)
    k = int(np.argmax(curve))
    return 1.0 / float(curve[k]), middle + half * float(fine[k])


def find_bends(
    xy: Float, step_m: float, width_m: Float, settings: PlanformSettings
) -> tuple[list[Bend], Float]:
    """Return the bends of a centreline and its smoothed curvature.

    Parameters
    ----------
    xy
        Shape (n, 2), evenly spaced, downstream.
    width_m
        Toe width at each point, shape (n,).
    """
    if len(xy) < 5:
        return [], np.zeros(len(xy))
    # a channel of two cells is known no better than to a cell: smooth as if it were three
    width_m = np.fmax(usual_width_m(width_m, step_m), LEAST_SCALE_STEPS * step_m)
    kappa = smoothed_curvature_per_m(xy, step_m, width_m, settings.smoothing_widths)
    heading = headings_rad(smooth_line(xy, HEADING_SMOOTHING_WIDTHS * width_m / step_m))
    least = 1.0 / (settings.straight_radius_widths * width_m)
    flat = (settings.straight_length_widths * width_m / step_m).astype(np.int64)
    bends = []
    for first, last in _lobes(kappa, least, flat):
        turning = float(heading[last] - heading[first])
        if abs(turning) < np.radians(settings.least_turning_deg):
            continue
        here = float(np.nanmedian(width_m[first : last + 1]))
        radius, apex = apex_radius_m(heading, kappa, first, last, step_m, here)
        bends.append(Bend(first, last, apex, radius, turning))
    return bends, kappa
