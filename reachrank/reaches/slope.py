"""The slope of a reach from the low part of its sections."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.grouped import median_of

Floats = NDArray[np.float64]

LEAST_SECTIONS = 3
"""Below this many sections no slope is given."""
MOST_POINTS = 400


def bed_slope(station_m: Floats, bed_elevation_m: Floats) -> float:
    """Return the fall per length, positive where the bed rises upstream, from points in a window.

    Parameters
    ----------
    station_m
        Upstream from the mouth, shape (n,). Every pair is looked at: of more than 400 points only
        every second, third ... is taken, evenly.
    bed_elevation_m
        Low part of the section, NaN where not measured, shape (n,).

    Returns
    -------
    float
        Median of the slopes between all pairs of points, so that up to 29 % of false elevations
        do not decide it; NaN with fewer than three points. May be negative through noise.

    References
    ----------
    Theil 1950, Proc. Kon. Ned. Akad. v. Wetensch. A53; Sen 1968, J. Am. Stat. Assoc. 63(324).

    Examples
    --------
    >>> import numpy as np
    >>> station = np.arange(0.0, 100.0, 10.0)
    >>> bed = 200.0 + 0.004 * station
    >>> bed[3] += 2.0  # a road fill
    >>> round(bed_slope(station, bed), 6)
    0.004
    """
    return float(_bed_slope(station_m, bed_elevation_m))


def falling_slopes(
    station_m: Floats,
    bed_elevation_m: Floats,
    starts: NDArray[np.int64],
    stream: NDArray[np.integer],
    from_m: Floats,
    to_m: Floats,
    least_m: Floats,
) -> Floats:
    """Return for each range the slope of the shortest window over which the bed falls.

    Parameters
    ----------
    station_m, bed_elevation_m
        Sections of all streams, stream by stream, stations rising in each; shape (n,).
    starts
        Where each stream starts, and at last where the last one ends; shape (streams + 1,).
    stream
        Each range's stream, -1 for one without sections; shape (ranges,).
    from_m, to_m, least_m
        The range, and the length of the first window about it, at least that of the range. The
        window is doubled until the bed falls; shape (ranges,).

    Returns
    -------
    ndarray of float64, shape (ranges,)
        By `bed_slope`; that of the whole stream where no window falls, NaN with too few beds.
    """
    found: Floats = _falling_slopes(
        station_m, bed_elevation_m, starts, stream, from_m, to_m, least_m
    )
    return found


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _bed_slope(station_m, bed_elevation_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    good = np.isfinite(station_m) & np.isfinite(bed_elevation_m)
    x, y = station_m[good], bed_elevation_m[good]
    if x.size < LEAST_SECTIONS or x.max() == x.min():
        return np.nan
    step = -(-x.size // MOST_POINTS)
    x, y = x[::step], y[::step]
    slopes = np.empty(x.size * (x.size - 1) // 2)
    count = 0
    for i in range(x.size):
        for j in range(i):
            if x[i] != x[j]:
                slopes[count] = (y[i] - y[j]) / (x[i] - x[j])
                count += 1
    return median_of(slopes[:count]) if count else np.nan


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _falling_slopes(station_m, bed_elevation_m, starts, stream, from_m, to_m, least_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    found = np.full(stream.size, np.nan)
    for k in range(stream.size):
        if stream[k] < 0:
            continue
        own = slice(starts[stream[k]], starts[stream[k] + 1])
        station, bed = station_m[own], bed_elevation_m[own]
        length = to_m[k] - from_m[k]
        least = max(least_m[k], length)
        while True:
            widen = max(0.0, (least - length) / 2.0)
            first = np.searchsorted(station, from_m[k] - widen)
            stop = np.searchsorted(station, to_m[k] + widen, side="right")
            found[k] = _bed_slope(station[first:stop], bed[first:stop])
            if found[k] > 0.0 or stop - first == station.size or not least > 0.0:
                break
            least *= 2.0
    return found
