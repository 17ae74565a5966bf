"""Hillslopes that drain to given valley floors: the steady shape of running water's land.

In a landscape where running water has cut down as fast as the land has risen, slope falls with
drainage area as a power of it. Starting from the valley floors, elevations are summed upstream
along the ways the water takes; the ways are found anew from the new elevations, and so on. This
makes branching hollows and ridges between them.

Source: the slope-area relation of Flint (1974), Water Resources Research 10, 969-973 (from
memory); exponent and coefficient here are chosen by eye.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

Array = NDArray[np.float64]

STEEPEST = 0.27
"""Slope, rise over run, where less than `FIRST_AREA_M2` drains."""
FIRST_AREA_M2 = 1200.0
CONCAVITY = 0.36


def hillslopes(
    floor_m: Array, is_floor: NDArray[np.bool_], cell_m: float, rng: np.random.Generator
) -> Array:
    """Return the elevation of the country between valley floors.

    Parameters
    ----------
    floor_m
        Shape (rows, columns): elevation of the floors; what it says elsewhere does not matter.
    is_floor
        Same shape: where the elevation is given.
    cell_m
        Side of a cell.
    rng
        For the first, rough surface, on which the first ways are found.

    Returns
    -------
    Array
        Shape (rows, columns).
    """
    away, nearest = distance_transform_edt(~is_floor, return_indices=True)
    rough = gaussian_filter(rng.standard_normal(floor_m.shape), 3.0)
    start = floor_m[tuple(nearest)]
    z = start + cell_m * away * (0.12 + 0.25 * rough)
    z[is_floor] = floor_m[is_floor]
    for turn in range(36):
        z = _raise_from_floors(z, is_floor, cell_m)
        if turn % 3 == 2:
            soft = gaussian_filter(z, 1.1)
            z = np.where(is_floor, floor_m, np.maximum(soft, start + 0.02 * away))
    soft = gaussian_filter(z, 1.5)
    edge = np.clip(away / 3.0, 0.0, 1.0)
    return np.asarray(z + edge * (soft - z))


@numba.njit(cache=True, nogil=True)
def _raise_from_floors(z, is_floor, cell_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """One turn: find the ways, gather the areas, sum the slopes up from the floors."""
    rows, columns = z.shape
    n = rows * columns
    flat, fixed = z.ravel(), is_floor.ravel()
    to = np.arange(n)
    run = np.full(n, cell_m)
    for i in range(rows):
        for j in range(columns):
            k = i * columns + j
            if fixed[k]:
                continue
            best = 0.0
            for di in range(-1, 2):
                for dj in range(-1, 2):
                    a, b = i + di, j + dj
                    if (di == 0 and dj == 0) or a < 0 or b < 0 or a >= rows or b >= columns:
                        continue
                    length = cell_m * np.sqrt(float(di * di + dj * dj))
                    fall = (flat[k] - flat[a * columns + b]) / length
                    if fall > best:
                        best, to[k], run[k] = fall, a * columns + b, length
    order = np.argsort(flat)
    area = np.full(n, cell_m * cell_m)
    for k in order[::-1]:
        if to[k] != k:
            area[to[k]] += area[k]
    out = flat.copy()
    for k in order:
        if to[k] != k:
            slope = STEEPEST * (max(area[k], FIRST_AREA_M2) / FIRST_AREA_M2) ** -CONCAVITY
            out[k] = out[to[k]] + slope * run[k]
    return out.reshape(rows, columns)
