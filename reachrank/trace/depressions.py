"""Let water out of depressions by cutting the cheapest way through what dams them.

In a lidar surface most depressions along a stream are made by road fills: the culvert is not in
the surface. Filling such a pond would spread the flow over a flat; cutting leads it on along the
bottom of the channel. For each pit the way out of least total cut is found (least-cost breaching
after Lindsay and Dhun 2015, Int. J. Geogr. Inf. Sci. 29(7):1243-1257).
"""

from __future__ import annotations

import heapq

import numba
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], np.int64)
COLUMN_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], np.int64)
"""The eight neighbours, clockwise from the next column (east when row 0 is north)."""


def close_holes(elevation_m: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give enclosed areas without data the lowest elevation around them.

    Lidar has no returns from open water, so a pond is a hole in the data; water must find its way
    through it. Areas without data that touch the border of the grid stay empty.
    """
    label, count = ndimage.label(np.isnan(elevation_m), structure=np.ones((3, 3)))
    if count == 0:
        return elevation_m.copy()
    rim = np.unique(np.concatenate([label[0], label[-1], label[:, 0], label[:, -1]]))
    is_inner = np.ones(count + 1, bool)
    is_inner[rim] = False
    is_inner[0] = False
    out = elevation_m.copy()
    for number, box in enumerate(ndimage.find_objects(label), start=1):
        if not is_inner[number]:
            continue
        rows, columns = box
        around = (
            slice(max(rows.start - 1, 0), rows.stop + 1),
            slice(max(columns.start - 1, 0), columns.stop + 1),
        )
        hole = label[around] == number
        edge = ndimage.binary_dilation(hole, np.ones((3, 3))) & ~hole
        out[around][hole] = np.nanmin(elevation_m[around][edge])
    return out


@numba.njit(cache=True, nogil=True)
def breach(  # type: ignore[no-untyped-def]  # pragma: no cover
    elevation_m, cell_x_m, cell_y_m, most_cells
):
    """Cut every pit's cheapest way out, in place, lowest pits first.

    Parameters
    ----------
    elevation_m
        float32, shape (rows, columns), NaN where there is no data; changed.
    cell_x_m, cell_y_m
        Sides of a cell in metres.
    most_cells
        A way out is looked for among at most this many cells around a pit.

    Returns
    -------
    int
        Number of pits left without a way out.
    """
    rows, columns = elevation_m.shape
    z = elevation_m.ravel()
    pits = _pits(elevation_m)
    pits = pits[np.argsort(z[pits], kind="mergesort")]
    cost = np.zeros(z.size, np.float32)
    back = np.zeros(z.size, np.int8)
    seen_in = np.zeros(z.size, np.int32)
    step_m = np.empty(8)
    for k in range(8):
        step_m[k] = np.hypot(ROW_STEP[k] * cell_y_m, COLUMN_STEP[k] * cell_x_m)
    left = 0
    for number in range(pits.size):
        pit = pits[number]
        if _has_way_down(elevation_m, pit // columns, pit % columns):
            continue
        stamp = np.int32(number + 1)
        pit_z = z[pit]
        heap = [(np.float32(0.0), pit)]
        cost[pit] = 0.0
        seen_in[pit] = stamp
        taken = 0
        end = np.int64(-1)
        while len(heap) > 0 and taken < most_cells:
            c, cell = heapq.heappop(heap)
            if c > cost[cell]:
                continue
            taken += 1
            row, column = cell // columns, cell % columns
            is_out = cell != pit and z[cell] <= pit_z and _is_rim(elevation_m, row, column)
            if z[cell] < pit_z or is_out:
                end = cell
                break
            for k in range(8):
                i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if i < 0 or j < 0 or i >= rows or j >= columns:
                    continue
                other = i * columns + j
                if not np.isfinite(z[other]):
                    continue
                # the cut, and a millimetre a metre so that the shorter of two free ways is taken
                more = (max(z[other] - pit_z, 0.0) + 0.001) * step_m[k]
                total = np.float32(c + more)
                if seen_in[other] != stamp or total < cost[other]:
                    seen_in[other] = stamp
                    cost[other] = total
                    back[other] = k
                    heapq.heappush(heap, (total, other))
        if end < 0:
            left += 1
            continue
        _cut(z, back, columns, pit, end)
    return left


@numba.njit(cache=True, nogil=True)
def _cut(z, back, columns, pit, end):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Lower the cells between to an even fall from the pit to the end."""
    steps = 0
    cell = end
    while cell != pit:
        k = back[cell]
        cell -= ROW_STEP[k] * columns + COLUMN_STEP[k]
        steps += 1
    fall = z[end] - z[pit]
    cell = end
    number = steps
    while cell != pit:
        level = np.float32(z[pit] + fall * number / steps)
        z[cell] = min(z[cell], level)
        k = back[cell]
        cell -= ROW_STEP[k] * columns + COLUMN_STEP[k]
        number -= 1


@numba.njit(cache=True, nogil=True)
def _is_rim(elevation_m, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Tell whether a cell lies at the border of the grid or beside a cell without data."""
    rows, columns = elevation_m.shape
    if row == 0 or column == 0 or row == rows - 1 or column == columns - 1:
        return True
    for k in range(8):
        if not np.isfinite(elevation_m[row + ROW_STEP[k], column + COLUMN_STEP[k]]):
            return True
    return False


@numba.njit(cache=True, nogil=True)
def _has_way_down(elevation_m, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    rows, columns = elevation_m.shape
    for k in range(8):
        i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if 0 <= i < rows and 0 <= j < columns and elevation_m[i, j] < elevation_m[row, column]:
            return True
    return False


@numba.njit(cache=True, nogil=True)
def _pits(elevation_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """One cell, by index, of each pit inside the data: level ground with no way down from it."""
    rows, columns = elevation_m.shape
    is_seen = np.zeros((rows, columns), np.bool_)
    found = [np.int64(0) for _ in range(0)]
    level = [np.int64(0) for _ in range(0)]
    for row in range(rows):
        for column in range(columns):
            if is_seen[row, column] or not np.isfinite(elevation_m[row, column]):
                continue
            if _has_way_down(elevation_m, row, column):
                continue
            is_seen[row, column] = True
            is_pit = True
            level.append(np.int64(row * columns + column))
            while len(level) > 0:
                cell = level.pop()
                r, c = cell // columns, cell % columns
                if _is_rim(elevation_m, r, c) or _has_way_down(elevation_m, r, c):
                    is_pit = False
                for k in range(8):
                    i, j = r + ROW_STEP[k], c + COLUMN_STEP[k]
                    if i < 0 or j < 0 or i >= rows or j >= columns or is_seen[i, j]:
                        continue
                    if elevation_m[i, j] == elevation_m[r, c]:
                        is_seen[i, j] = True
                        level.append(np.int64(i * columns + j))
            if is_pit:
                found.append(np.int64(row * columns + column))
    return np.array(found, dtype=np.int64)
