"""How far the ground falls along each line, and how sure that is.

Two end cells would say little: lines lie metres off the channel, roads cross it, and the ends of
tributaries lie on the bank of the main stem. The low ground beside the line is taken at stations
along it, and its trend by the median of the slopes between all pairs of stations (Theil 1950,
Sen 1968), which up to 29 % of wild values do not move.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.network.lines import Line
from reachrank.surface import Surface, sample_points

Floats = NDArray[np.float64]

LEAST_STATIONS, MOST_STATIONS = 6, 48


LEAST_SEARCH_CELLS = 1.5
"""A line on a coarse grid is at least a cell off; with less, its stations climb the valley side."""

TURN_ERRORS = 5.0
"""A line is taken to fall to both sides of a place only where both falls exceed this many of their
standard errors."""
TURN_LEAST_M = 1.0
"""And both are at least this high: less may be the rough bed of a pool or a beaver pond."""


@dataclass(frozen=True)
class Fall:
    """Fall in metres along each line as drawn, negative where it rises; its standard error.

    Both are NaN where fewer than four stations have elevation, or less than half of them.
    ``turn_share`` is where, as a share of the length, the line turns from falling to rising or
    from rising to falling for good; NaN where it does not.
    """

    fall_m: Floats
    error_m: Floats
    turn_share: Floats


def station_count(length_m: Floats, step_m: float) -> NDArray[np.int64]:
    """Stations for each line: one about every ``step_m``, within limits."""
    return np.clip(length_m / max(step_m, 1.0), LEAST_STATIONS, MOST_STATIONS).astype(np.int64)


def measure_fall(lines: Sequence[Line], surface: Surface, search_m: float, noise_m: float) -> Fall:
    """Measure the fall along lines on a surface.

    Parameters
    ----------
    lines
        Lines in metres.
    surface
        Elevation near them.
    search_m
        The lowest elevation within this distance to either side of a station is taken.
    noise_m
        Standard error of an elevation difference besides the scatter, in metres.
    """
    if not lines:
        return Fall(np.empty(0), np.empty(0), np.empty(0))
    xy = np.concatenate([line.xy for line in lines])
    starts = np.concatenate([[0], np.cumsum([len(line.xy) for line in lines])]).astype(np.int64)
    lengths_m = np.array([line.length_m for line in lines])
    counts = station_count(lengths_m, max(search_m, surface.cell_m))
    search_m = max(search_m, LEAST_SEARCH_CELLS * surface.cell_m)
    side_steps = int(np.clip(np.ceil(search_m / surface.cell_m), 1, 15))
    fall, error, turn = (np.empty(len(lines)) for _ in range(3))
    _measure(
        xy, starts, counts, search_m / side_steps, side_steps, noise_m,
        surface.tiles, surface.index, surface.inverse, fall, error, turn,
    )  # fmt: skip
    return Fall(fall, error, turn)


@numba.njit(cache=True, nogil=True)
def _measure(  # type: ignore[no-untyped-def]  # pragma: no cover
    xy, starts, counts, side_step_m, side_steps, noise_m, tiles, index, inverse, fall, error, turn
):
    for line in range(starts.size - 1):
        along, low = low_profile(
            xy[starts[line] : starts[line + 1]],
            counts[line], side_step_m, side_steps, tiles, index, inverse,
        )  # fmt: skip
        fall[line], error[line] = trend(along, low, noise_m)
        turn[line] = turning_place(along, low, noise_m)


@numba.njit(cache=True, nogil=True)
def low_profile(  # type: ignore[no-untyped-def]  # pragma: no cover
    xy, count, side_step_m, side_steps, tiles, index, inverse
):
    """Lowest elevation across the line at evenly spaced stations, each at the middle of its part.

    Returns the distances along the line as a share of its length, and the elevations (NaN where
    no place across has one).
    """
    vertices = xy.shape[0]
    along = np.zeros(vertices)
    for i in range(1, vertices):
        along[i] = along[i - 1] + np.hypot(xy[i, 0] - xy[i - 1, 0], xy[i, 1] - xy[i - 1, 1])
    total = along[-1]
    share = np.empty(count)
    low = np.full(count, np.nan)
    offset = side_step_m * np.arange(-side_steps, side_steps + 1)
    across = np.empty(offset.size)
    at = 0
    for station in range(count):
        share[station] = (station + 0.5) / count
        distance = share[station] * total
        while at < vertices - 2 and along[at + 1] < distance:
            at += 1
        step = along[at + 1] - along[at]
        if step <= 0.0:
            continue
        east = (xy[at + 1, 0] - xy[at, 0]) / step
        north = (xy[at + 1, 1] - xy[at, 1]) / step
        x = xy[at, 0] + east * (distance - along[at])
        y = xy[at, 1] + north * (distance - along[at])
        sample_points(tiles, index, inverse, x - north * offset, y + east * offset, across)
        for z in across:
            if np.isfinite(z) and not (low[station] <= z):
                low[station] = z
    return share, low


@numba.njit(cache=True, nogil=True)
def trend(share, low, noise_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fall from start to end by the median slope, and its standard error; NaN where data lack.

    The error of a slope over n evenly spaced stations with scatter s is s sqrt(12 / n) for the
    whole length (least squares); s is 1.4826 times the median absolute residual.
    """
    is_good = np.isfinite(low)
    x, z = share[is_good], low[is_good]
    n = x.size
    if n < 4 or 2 * n < share.size:
        return np.nan, np.nan
    slopes = np.empty(n * (n - 1) // 2)
    k = 0
    for i in range(n):
        for j in range(i + 1, n):
            slopes[k] = (z[j] - z[i]) / (x[j] - x[i])
            k += 1
    slope = np.median(slopes)
    residual = z - slope * x
    scatter = 1.4826 * np.median(np.abs(residual - np.median(residual)))
    independent = max(n / 4.0, 1.0)  # neighbouring stations scatter together: four count as one
    error = np.sqrt(noise_m**2 + 12.0 * scatter**2 / independent)
    return -slope, error


@numba.njit(cache=True, nogil=True)
def turning_place(share, low, noise_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Find the place that a line falls clearly towards, or away from, on both sides.

    Returns its share of the length, NaN where there is no such place.

    A line joined through a confluence at the edge of the data falls towards its middle, a ditch
    dug across a divide away from it.
    """
    is_good = np.isfinite(low)
    x, z = share[is_good], low[is_good]
    n = x.size
    if n < 8:
        return np.nan
    smooth = z.copy()
    for i in range(1, n - 1):
        smooth[i] = np.median(z[i - 1 : i + 2])
    for sign in (1.0, -1.0):
        at = 3 + np.argmin(sign * smooth[3 : n - 3])
        before, error_before = trend(x[: at + 1], z[: at + 1], noise_m)
        after, error_after = trend(x[at:], z[at:], noise_m)
        # the trends are for the whole length; each side has its share of it
        down_to = sign * before * x[at]
        up_from = -sign * after * (1.0 - x[at])
        least = max(TURN_LEAST_M, TURN_ERRORS * max(error_before, error_after))
        if down_to > least and up_from > least:
            return x[at]
    return np.nan
