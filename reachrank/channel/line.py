"""Lines as arrays: even steps, smoothing that keeps the ends, directions, curvature.

All coordinates in metres, points ordered downstream.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.whole_numbers import HAIR, at_least, nearest

Float = NDArray[np.float64]


def arc_length(xy: Float) -> Float:
    """Return the distance along a line to each of its points, shape (n,), first value 0."""
    steps = np.hypot(*np.diff(xy, axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def resample(xy: Float, step_m: float) -> Float:
    """Return points at an even step along a line, both ends kept.

    The step is stretched or shrunk so that a whole number of steps fits; at least two points.

    Examples
    --------
    >>> resample(np.array([[0.0, 0.0], [9.0, 0.0]]), 4.0)[:, 0]  # 9 / 4 rounds to 2 steps
    array([0. , 4.5, 9. ])
    >>> resample(np.array([[0.0, 0.0], [10.0, 0.0]]), 4.0)[:, 0]  # a half goes up: 3 steps
    array([ 0.        ,  3.33333333,  6.66666667, 10.        ])
    """
    along = arc_length(xy)
    count = max(1, nearest(along[-1] / step_m))
    at = np.linspace(0.0, along[-1], count + 1)
    return np.column_stack([np.interp(at, along, xy[:, 0]), np.interp(at, along, xy[:, 1])])


def same_both_ways(place: NDArray[np.int64], whole: int, count: int) -> NDArray[np.int64]:
    """Return the point numbers, of ``count`` even points, nearest to the shares ``place / whole``.

    In whole numbers throughout, a half rounded away from the middle: places that lie evenly about
    the middle give the same set of points from either end of the line.
    """
    lower = np.minimum(place, whole - place)
    number = (lower * (count - 1) + whole // 2) // whole
    both = np.where(place == lower, number, count - 1 - number).astype(np.int64)
    points = np.sort(both, kind="stable")  # in order but for the middle: hardly any work
    return points[np.diff(points, prepend=-1) > 0]


FAR_SIGMAS = 3.5
"""Gaussian weights end so many standard deviations from the middle."""
LEAST_SIGMA = 0.2
"""A standard deviation of fewer steps averages nothing."""
PLACES_AT_ONCE = 32
"""Averages that are made together: their sums stay in the processor's nearest cache."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def gaussian_along(values, sigma, pad, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with the Gaussian averages of padded series, each place with its own sigma.

    ``values`` has a row for each series and ``pad`` more places at both ends than ``sigma``, which
    counts in steps, and ``out``. NaN is left out, and where all is NaN the result is. The same
    both ways along the series, to the last digit.
    """
    most = min(PLACES_AT_ONCE, sigma.size)
    half = np.empty(most)
    weight, ratio, shrink = np.empty(most), np.empty(most), np.empty(most)
    own = np.empty(most)
    sums, shares = np.empty((len(values), most)), np.empty((len(values), most))
    for first in range(0, sigma.size, PLACES_AT_ONCE):
        count = min(PLACES_AT_ONCE, sigma.size - first)
        middle = first + pad
        farthest = 0
        for j in range(count):
            s = sigma[first + j]
            weight[j] = 1.0
            half[j] = ratio[j] = shrink[j] = 0.0
            if s >= LEAST_SIGMA:
                half[j] = min(pad, int(np.ceil(FAR_SIGMAS * s - HAIR)))
                farthest = max(farthest, int(half[j]))
                # exp(-k^2 / 2 s^2) from its neighbour: the ratio of ratios is constant
                ratio[j] = np.exp(-0.5 / (s * s))
                shrink[j] = ratio[j] * ratio[j]
        for n in range(len(values)):
            for j in range(count):
                value = values[n, middle + j]
                sums[n, j] = 0.0 if np.isnan(value) else value
                shares[n, j] = 0.0 if np.isnan(value) else 1.0
        for k in range(1, farthest + 1):
            for j in range(count):
                weight[j] *= ratio[j]
                ratio[j] *= shrink[j]
                own[j] = weight[j] if k <= half[j] else 0.0
            for n in range(len(values)):
                before = values[n, middle - k : middle - k + count]
                after = values[n, middle + k : middle + k + count]
                total, share = sums[n], shares[n]
                for j in range(count):
                    b, a = before[j], after[j]
                    no_b, no_a = np.isnan(b), np.isnan(a)
                    of_b, of_a = 0.0 if no_b else own[j], 0.0 if no_a else own[j]
                    total[j] += of_b * (0.0 if no_b else b) + of_a * (0.0 if no_a else a)
                    share[j] += of_b + of_a
        for n in range(len(values)):
            for j in range(count):
                is_enough = shares[n, j] > 1e-3
                out[n, first + j] = sums[n, j] / shares[n, j] if is_enough else np.nan


def _sigma_and_pad(sigma_steps: Float | float, count: int) -> tuple[Float, int]:
    """Return sigma at each of ``count`` places, and how far beyond its ends a series is asked for.

    Always an array of the same kind: for every other one the kernel would be compiled again.
    """
    sigma = np.array(np.broadcast_to(np.asarray(sigma_steps, np.float64), (count,)))
    return sigma, min(count - 1, at_least(FAR_SIGMAS * float(sigma.max())))


def smooth_values(values: Float, sigma_steps: Float | float) -> Float:
    """Average a series along a line with Gaussian weights; NaN is filled by its neighbours.

    Parameters
    ----------
    values
        Shape (n,). Where all are NaN the result is NaN.
    sigma_steps
        Standard deviation in steps, one for all places or one for each.
    """
    values = np.asarray(values, np.float64)
    good = np.isfinite(values)
    if values.size < 2 or not good.any():
        return values.copy()
    sigma, pad = _sigma_and_pad(sigma_steps, values.size)
    padded = np.concatenate([np.full(pad, values[0]), values, np.full(pad, values[-1])])
    smooth = np.empty(values.size)
    gaussian_along(padded[None], sigma, pad, smooth[None])
    known = np.isfinite(smooth)
    if known.all():
        return smooth
    index = np.arange(values.size)
    return np.where(known, smooth, np.interp(index, index[known], smooth[known]))


def smooth_line(xy: Float, sigma_steps: Float | float) -> Float:
    """Smooth evenly spaced points with Gaussian weights, keeping both end points where they are.

    The line is continued past its ends by turning it about the end point (odd reflection), so a
    straight line stays as it is. ``sigma_steps`` may differ from place to place, shape (n,).
    """
    if len(xy) < 3:
        return xy.copy()
    sigma, pad = _sigma_and_pad(sigma_steps, len(xy))
    before, after = 2.0 * xy[0] - xy[pad:0:-1], 2.0 * xy[-1] - xy[-2 : -pad - 2 : -1]
    out = np.empty((2, len(xy)))
    gaussian_along(np.concatenate([before, xy, after]).T.copy(), sigma, pad, out)
    return out.T.copy()


def tangents(xy: Float) -> Float:
    """Return unit vectors downstream at each point, shape (n, 2), from central differences."""
    delta = np.gradient(xy, axis=0)
    length = np.hypot(delta[:, 0], delta[:, 1])
    length[length == 0] = 1.0
    return np.asarray(delta / length[:, None])


def left_normals(tangent: Float) -> Float:
    """Return the unit vectors that point to the left of the tangents."""
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def headings_rad(xy: Float) -> Float:
    """Return the unwrapped direction at each point, counter-clockwise from east, in radians.

    Differences over four steps, exact for curves up to the fourth degree: those over two would
    flatten a bend of a few steps. Two points at each end, where there are no four, do with two.
    """
    delta = np.gradient(xy, axis=0)
    if len(xy) > 4:
        delta[2:-2] = (8.0 * (xy[3:-1] - xy[1:-3]) - (xy[4:] - xy[:-4])) / 12.0
    return np.unwrap(np.arctan2(delta[:, 1], delta[:, 0]))


def curvature_per_m(xy: Float) -> Float:
    """Return the signed curvature at each point: positive where the line turns left.

    Three-point (Menger) curvature, exact on a circle at any spacing; the end points repeat their
    neighbours' values.

    Examples
    --------
    A circle of radius 20 m, run counter-clockwise, turns left with 1/20 per metre:

    >>> a = np.linspace(0, 1, 9)
    >>> round(float(curvature_per_m(20 * np.column_stack([np.cos(a), np.sin(a)]))[4]), 6)
    0.05
    """
    if len(xy) < 3:
        return np.zeros(len(xy))
    a, b, c = xy[:-2], xy[1:-1], xy[2:]
    ab, bc, ca = b - a, c - b, a - c
    area_2 = ab[:, 0] * bc[:, 1] - ab[:, 1] * bc[:, 0]
    lengths = np.hypot(*ab.T) * np.hypot(*bc.T) * np.hypot(*ca.T)
    with np.errstate(invalid="ignore", divide="ignore"):
        inner = np.where(lengths > 0, 2.0 * area_2 / lengths, 0.0)
    return np.concatenate([inner[:1], inner, inner[-1:]])
