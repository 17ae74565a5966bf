"""Lines as arrays: even steps, smoothing that keeps the ends, directions, curvature.

All coordinates in metres, points ordered downstream.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

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
    >>> resample(np.array([[0.0, 0.0], [10.0, 0.0]]), 4.0)[:, 0]  # 10 / 4 rounds to 2 steps
    array([ 0.,  5., 10.])
    """
    along = arc_length(xy)
    count = max(1, round(along[-1] / step_m))
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


@numba.njit(cache=True, nogil=True, error_model="numpy")
def gaussian_along(values, sigma, pad, out):  # type: ignore[no-untyped-def]
    """Gaussian average of a padded series, each place with its own sigma in steps.

    ``values`` has ``pad`` more places at both ends than ``sigma`` and ``out``; NaN is left out, and
    where all is NaN the result is.
    """
    for i in range(out.size):
        s = sigma[i]
        if s < 0.2:
            out[i] = values[i + pad]
            continue
        half = min(pad, int(np.ceil(3.5 * s)))
        value = values[i + pad]
        total = 0.0
        weight = 0.0
        if not np.isnan(value):
            total = value
            weight = 1.0
        # exp(-k^2 / 2 s^2) from its neighbour: the ratio of ratios is constant
        ratio = np.exp(-0.5 / (s * s))
        shrink = ratio * ratio
        w = 1.0
        for k in range(1, half + 1):
            w *= ratio
            ratio *= shrink
            before = values[i + pad - k]
            after = values[i + pad + k]
            if not np.isnan(before):
                total += w * before
                weight += w
            if not np.isnan(after):
                total += w * after
                weight += w
        out[i] = total / weight if weight > 1e-3 else np.nan


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
    sigma = np.broadcast_to(np.asarray(sigma_steps, np.float64), values.shape).copy()
    pad = min(values.size - 1, int(np.ceil(3.5 * float(sigma.max()))))
    padded = np.concatenate([np.full(pad, values[0]), values, np.full(pad, values[-1])])
    smooth = np.empty(values.size)
    gaussian_along(padded, sigma, pad, smooth)
    index = np.arange(values.size)
    known = np.isfinite(smooth)
    return np.where(known, smooth, np.interp(index, index[known], smooth[known]))


@numba.njit(cache=True, nogil=True, error_model="numpy")
def smooth_points(xy, sigma, out):  # type: ignore[no-untyped-def]
    """Gaussian average of points, each place with its own sigma in steps.

    Past an end the line goes on turned about its end point, so that both ends stay.
    """
    n = len(xy)
    last = n - 1
    for i in range(n):
        s = sigma[i]
        if s < 0.2:
            out[i] = xy[i]
            continue
        half = min(last, int(np.ceil(3.5 * s)))
        x = xy[i, 0]
        y = xy[i, 1]
        weight = 1.0
        # exp(-k^2 / 2 s^2) from its neighbour: the ratio of ratios is constant
        ratio = np.exp(-0.5 / (s * s))
        shrink = ratio * ratio
        w = 1.0
        for k in range(1, half + 1):
            w *= ratio
            ratio *= shrink
            a = i - k
            b = i + k
            if a >= 0:
                before_x = xy[a, 0]
                before_y = xy[a, 1]
            else:
                before_x = 2.0 * xy[0, 0] - xy[-a, 0]
                before_y = 2.0 * xy[0, 1] - xy[-a, 1]
            if b <= last:
                after_x = xy[b, 0]
                after_y = xy[b, 1]
            else:
                after_x = 2.0 * xy[last, 0] - xy[2 * last - b, 0]
                after_y = 2.0 * xy[last, 1] - xy[2 * last - b, 1]
            x += w * (before_x + after_x)
            y += w * (before_y + after_y)
            weight += 2.0 * w
        out[i, 0] = x / weight
        out[i, 1] = y / weight


def smooth_line(xy: Float, sigma_steps: Float | float) -> Float:
    """Smooth evenly spaced points with Gaussian weights, keeping both end points where they are.

    The line is continued past its ends by turning it about the end point (odd reflection), so a
    straight line stays as it is. ``sigma_steps`` may differ from place to place, shape (n,).
    """
    if len(xy) < 3:
        return xy.copy()
    sigma = np.broadcast_to(np.asarray(sigma_steps, np.float64), (len(xy),))
    out = np.empty((len(xy), 2))
    smooth_points(np.ascontiguousarray(xy, np.float64), sigma, out)
    return out


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
