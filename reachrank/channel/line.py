"""Lines as arrays: even steps, smoothing that keeps the ends, directions, curvature.

All coordinates in metres, points ordered downstream.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

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


def smooth_values(values: Float, sigma_steps: float) -> Float:
    """Gaussian smoothing of a series along a line, ends mirrored; NaN is filled by its neighbours.

    Parameters
    ----------
    values
        Shape (n,). Where all are NaN the result is NaN.
    sigma_steps
        Standard deviation in steps; 0 or less returns the values.
    """
    values = np.asarray(values, np.float64)
    good = np.isfinite(values)
    if sigma_steps <= 0 or not good.any():
        return values.copy()
    if good.all():
        return np.asarray(gaussian_filter1d(values, sigma_steps, mode="nearest"))
    weight = gaussian_filter1d(good.astype(np.float64), sigma_steps, mode="nearest")
    total = gaussian_filter1d(np.where(good, values, 0.0), sigma_steps, mode="nearest")
    index = np.arange(values.size)
    filled = np.interp(index, index[good], values[good])
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight > 1e-3, total / weight, filled)


def smooth_line(xy: Float, sigma_steps: float) -> Float:
    """Gaussian smoothing of evenly spaced points that keeps both end points where they are.

    The line is continued past its ends by turning it about the end point (odd reflection), so a
    straight line stays as it is.
    """
    if sigma_steps <= 0 or len(xy) < 3:
        return xy.copy()
    pad = min(len(xy) - 1, int(np.ceil(4 * sigma_steps)))
    before = 2 * xy[0] - xy[pad:0:-1]
    after = 2 * xy[-1] - xy[-2 : -pad - 2 : -1]
    padded = np.vstack([before, xy, after])
    smoothed = gaussian_filter1d(padded, sigma_steps, axis=0, mode="nearest")[pad : pad + len(xy)]
    return np.asarray(smoothed)


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
    """Return the unwrapped direction at each point, counter-clockwise from east, in radians."""
    tangent = tangents(xy)
    return np.unwrap(np.arctan2(tangent[:, 1], tangent[:, 0]))


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
