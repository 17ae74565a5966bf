"""The slope of a reach from the low part of its sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import theilslopes

LEAST_SECTIONS = 3
"""Below this many sections no slope is given."""
MOST_POINTS = 400


def window(from_m: float, to_m: float, least_m: float) -> tuple[float, float]:
    """Return a range widened evenly to at least ``least_m``; a longer one comes back unchanged."""
    widen = max(0.0, (least_m - (to_m - from_m)) / 2.0)
    return from_m - widen, to_m + widen


def bed_slope(station_m: NDArray[np.float64], bed_elevation_m: NDArray[np.float64]) -> float:
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
    good = np.isfinite(station_m) & np.isfinite(bed_elevation_m)
    if np.count_nonzero(good) < LEAST_SECTIONS or np.ptp(station_m[good]) == 0.0:
        return float("nan")
    step = -(-int(np.count_nonzero(good)) // MOST_POINTS)
    return float(theilslopes(bed_elevation_m[good][::step], station_m[good][::step])[0])
