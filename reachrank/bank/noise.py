"""The elevation noise, measured on the ground beside the channel."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.surface import Surface, cell_at
from reachrank.whole_numbers import nearest

Float = NDArray[np.float64]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def nearest_cells(tiles, index, inverse, x, y, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with the value of the cell that each point lies in."""
    for k in range(x.size):
        column = inverse[0] * x[k] + inverse[1] * y[k] + inverse[2]
        row = inverse[3] * x[k] + inverse[4] * y[k] + inverse[5]
        if np.isfinite(column) and np.isfinite(row):
            out[k] = cell_at(tiles, index, np.int64(np.floor(row)), np.int64(np.floor(column)))
        else:
            out[k] = np.nan


def ground_noise_m(
    surface: Surface, xy: Float, normal: Float, left_top_m: Float, right_top_m: Float, step_m: float
) -> float:
    """Return the standard deviation of the elevation noise on flat ground behind the banks.

    Second differences of single cells along lines a few cells behind the tops, four cells apart,
    so that noise shared by neighbouring cells counts too; a plane has none, so slopes drop out.
    Median absolute deviation, so that ditches and houses do. NaN with fewer than 30 values.
    """
    cell = surface.cell_m
    lag = max(1, nearest(4.0 * cell / step_m))
    parts = []
    for top, sign in ((left_top_m, 1.0), (right_top_m, -1.0)):
        for behind in (2.5, 5.5):
            at = xy + (sign * (np.asarray(top) + behind * cell))[:, None] * normal
            z = np.empty(len(at))
            nearest_cells(
                surface.tiles, surface.index, surface.inverse, at[:, 0].copy(), at[:, 1].copy(), z
            )
            if z.size > 2 * lag:
                parts.append(z[: -2 * lag] - 2.0 * z[lag:-lag] + z[2 * lag :])
    if not parts:
        return float("nan")
    second = np.concatenate(parts)
    second = second[np.isfinite(second)]
    if second.size < 30:
        return float("nan")
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))
