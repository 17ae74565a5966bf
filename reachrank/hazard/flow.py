"""Slope of the profile, discharge and unit stream power."""

from __future__ import annotations

import numpy as np

from reachrank.hazard.side_frame import Bools, Floats

WATER_WEIGHT_N_PER_M3 = 9810.0
"""rho g of water."""
_LEAST_POINTS = 5


def unit_stream_power(discharge_m3s: Floats, slope_ratio: Floats, width_m: Floats) -> Floats:
    """Return rho g Q S / W in W/m²; a profile that does not fall has none.

    Examples
    --------
    >>> # 9810 * 10 * 0.005 / 8 = 61.31
    >>> round(float(unit_stream_power(np.float64(10), np.float64(0.005), np.float64(8))), 2)
    61.31
    """
    return np.asarray(
        WATER_WEIGHT_N_PER_M3 * discharge_m3s * np.maximum(slope_ratio, 0.0) / width_m, np.float64
    )


def manning_discharge_m3s(
    width_m: Floats, mean_depth_m: Floats, slope_ratio: Floats, manning_n: float
) -> Floats:
    """Return discharge by Manning's formula in a section of that width and mean depth.

    Area is width times mean depth, the wetted perimeter width plus twice the mean depth. Holds for
    steady, even flow at bankfull.
    """
    area = width_m * mean_depth_m
    radius = area / (width_m + 2.0 * mean_depth_m)
    return np.asarray(
        area * radius ** (2.0 / 3.0) * np.sqrt(np.maximum(slope_ratio, 0.0)) / manning_n, np.float64
    )


def profile_slope(
    station_m: Floats, elevation_m: Floats, window_m: Floats, usable: Bools
) -> Floats:
    """Return the fall of a stream's profile at each station, by least squares in a moving window.

    Parameters
    ----------
    station_m
        Stations upstream from the mouth, rising, shape (n,).
    elevation_m
        Elevation of the bed there, in metres.
    window_m
        Length of the window about each station.
    usable
        False where the elevation must not count (crossings, ponds).

    Returns
    -------
    slope_ratio
        Positive where the bed rises upstream. NaN where fewer than 5 points or less than half of
        the window is there to fit.
    """
    keep = usable & np.isfinite(elevation_m)
    slope = np.full(station_m.shape, np.nan)
    if keep.sum() < _LEAST_POINTS:
        return slope
    x, z = station_m[keep], elevation_m[keep]
    x0, z0 = x.mean(), z.mean()
    x, z = x - x0, z - z0
    first = np.searchsorted(x, station_m - x0 - window_m / 2, "left")
    last = np.searchsorted(x, station_m - x0 + window_m / 2, "right")

    def total(values: Floats) -> Floats:
        running = np.concatenate(([0.0], np.cumsum(values)))
        return np.asarray(running[last] - running[first], np.float64)

    count = (last - first).astype(np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x, mean_z = total(x) / count, total(z) / count
        fitted = (total(x * z) / count - mean_x * mean_z) / (total(x * x) / count - mean_x**2)
    span = np.zeros(station_m.shape)
    some = last > first
    span[some] = x[last[some] - 1] - x[first[some]]
    good = (count >= _LEAST_POINTS) & (span >= window_m / 2)
    slope[good] = fitted[good]
    return slope
