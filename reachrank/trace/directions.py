"""Direction of flow from cell to cell, one of eight or out of the grid."""

from __future__ import annotations

import heapq

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.trace.depressions import COLUMN_STEP, ROW_STEP, breach, close_holes

D8_CODE = np.array([1, 2, 4, 8, 16, 32, 64, 128], np.uint8)
"""Codes of the neighbours in the order of ROW_STEP and COLUMN_STEP (Jenson and Domingue 1988)."""
OUT, NO_DATA = 0, 247


def flow_directions(
    elevation_m: NDArray[np.float32], cell_x_m: float, cell_y_m: float, most_cells: int = 20_000
) -> NDArray[np.uint8]:
    """Direction in which each cell drains.

    Water goes down the steepest of eight ways (O'Callaghan and Mark 1984). Depressions are cut
    open first; what that leaves, and flats, drain to the place where a flood from the border
    reached them (priority flood, Barnes, Lehman and Mulla 2014). Outside the data the ground is
    taken to go on as it slopes inside, so that water leaves the grid where it would in the field
    instead of running along its border.

    Parameters
    ----------
    elevation_m
        float32, shape (rows, columns), metres, NaN for no data.
    cell_x_m, cell_y_m
        Sides of a cell in metres.
    most_cells
        Cells searched around a pit for a way out.

    Returns
    -------
    numpy.ndarray
        uint8, shape (rows, columns): 1 E, 2 SE, 4 S, 8 SW, 16 W, 32 NW, 64 N, 128 NE when row 0
        is the north end; 0 where water leaves the grid; 247 for no data.
    """
    surface = close_holes(np.asarray(elevation_m, np.float32))
    breach(surface, cell_x_m, cell_y_m, most_cells)
    back = flood(surface)
    code: NDArray[np.uint8] = steepest(surface, back, cell_x_m, cell_y_m)
    return code


@numba.njit(cache=True, nogil=True)
def flood(elevation_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Flood from the border over the lowest ground first, cutting pits open along the way back.

    Ground that rises from where the flood is needs no order: it is climbed at once (after Zhou,
    Sun and Fu 2016, Computers and Geosciences 90:87-96). Only what does not rise waits for its
    turn, lowest first, and of the climbed cells those over which water may spill into a hollow.

    Returns
    -------
    back
        int8, shape (rows, columns): the neighbour from which each cell was reached, -1 where the
        flood began, -2 without data. ``elevation_m`` is lowered along the ways back out of pits.
    """
    rows, columns = elevation_m.shape
    back = np.full((rows, columns), -2, np.int8)
    z = elevation_m
    count = np.int64(0)
    heap = [(np.float32(0.0), count, np.int64(0)) for _ in range(0)]
    for row in range(rows):
        for column in range(columns):
            if np.isfinite(z[row, column]) and _open_side(z, row, column):
                back[row, column] = -1
                heap.append((z[row, column], count, np.int64(row * columns + column)))
                count += 1
    heapq.heapify(heap)
    climbing = np.empty(1024, np.int64)  # a ring of cells to climb on from, first in, first out
    first = 0
    waiting = 0
    while len(heap) > 0:
        _, _, cell = heapq.heappop(heap)
        is_climb = False
        while True:
            row, column = cell // columns, cell % columns
            is_pit = not is_climb
            may_spill = False
            for k in range(8):
                i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if i < 0 or j < 0 or i >= rows or j >= columns or not np.isfinite(z[i, j]):
                    continue
                if z[i, j] < z[row, column]:
                    is_pit = False
                if back[i, j] != -2:
                    continue
                if z[i, j] > z[row, column]:
                    back[i, j] = _lowest_reached(z, back, i, j)
                    if waiting == climbing.size:
                        climbing = np.concatenate((climbing[first:], climbing[:first], climbing))
                        first = 0
                    climbing[(first + waiting) % climbing.size] = i * columns + j
                    waiting += 1
                elif not is_climb:
                    back[i, j] = (k + 4) % 8
                    heapq.heappush(heap, (z[i, j], count, np.int64(i * columns + j)))
                    count += 1
                elif not may_spill:
                    # a lower cell that was reached beside it will climb to it; this one was reached
                    beside = _lowest_reached(z, back, i, j)
                    may_spill = z[i + ROW_STEP[beside], j + COLUMN_STEP[beside]] >= z[i, j]
            if may_spill:
                heapq.heappush(heap, (z[row, column], count, cell))
                count += 1
            if is_pit:
                _cut_back(z, back, row, column)
            if not waiting:
                break
            cell = climbing[first]
            first = (first + 1) % climbing.size
            waiting -= 1
            is_climb = True
    return back


@numba.njit(cache=True, nogil=True)
def _lowest_reached(z, back, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the way to the lowest neighbour that the flood has reached, -1 for none."""
    rows, columns = z.shape
    lowest = -1
    least = np.float32(np.inf)
    for k in range(8):
        i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if i < 0 or j < 0 or i >= rows or j >= columns:
            continue
        if back[i, j] != -2 and z[i, j] < least:
            lowest = k
            least = z[i, j]
    return lowest


@numba.njit(cache=True, nogil=True)
def _cut_back(z, back, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Lower the way back out of a pit to the pit, as far as it is higher."""
    i, j = row, column
    while back[i, j] >= 0:
        k = back[i, j]
        i, j = i + ROW_STEP[k], j + COLUMN_STEP[k]
        if z[i, j] <= z[row, column]:
            break
        z[i, j] = z[row, column]


@numba.njit(cache=True, nogil=True)
def _open_side(z, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    rows, columns = z.shape
    for k in range(8):
        i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if i < 0 or j < 0 or i >= rows or j >= columns or not np.isfinite(z[i, j]):
            return True
    return False


@numba.njit(cache=True, nogil=True)
def steepest(  # type: ignore[no-untyped-def]  # pragma: no cover
    elevation_m, back, cell_x_m, cell_y_m
):
    """Code of the steepest way down, the way back of the flood where none goes down."""
    rows, columns = elevation_m.shape
    z = elevation_m
    step_m = np.empty(8)
    for k in range(8):
        step_m[k] = np.hypot(ROW_STEP[k] * cell_y_m, COLUMN_STEP[k] * cell_x_m)
    code = np.full((rows, columns), NO_DATA, np.uint8)
    for row in range(rows):
        for column in range(columns):
            if not np.isfinite(z[row, column]):
                continue
            best, best_k, best_out = 0.0, -1, 0.0
            for k in range(8):
                i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
                if 0 <= i < rows and 0 <= j < columns and np.isfinite(z[i, j]):
                    slope = (z[row, column] - z[i, j]) / step_m[k]
                    if slope > best:
                        best, best_k = slope, k
                elif k % 2 == 0:  # straight out; the diagonals would mistake a valley side
                    best_out = max(best_out, _slope_outward(z, row, column, k, step_m[k]))
            if best_out > best:
                code[row, column] = OUT
            elif best_k >= 0:
                code[row, column] = D8_CODE[best_k]
            elif back[row, column] >= 0:
                code[row, column] = D8_CODE[back[row, column]]
            else:
                code[row, column] = OUT
    return code


@numba.njit(cache=True, nogil=True)
def _slope_outward(z, row, column, k, step_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fall a metre towards a missing neighbour, as between this cell and the one opposite it."""
    rows, columns = z.shape
    i, j = row - ROW_STEP[k], column - COLUMN_STEP[k]
    if 0 <= i < rows and 0 <= j < columns and np.isfinite(z[i, j]):
        return (z[i, j] - z[row, column]) / step_m
    return 0.0


@numba.njit(cache=True, nogil=True)
def open_border(elevation_m, code):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells through which water from outside the grid may come in.

    They lie at the border of the data, drain inwards, and the ground rises towards the outside.
    """
    rows, columns = elevation_m.shape
    found = np.zeros((rows, columns), np.bool_)
    for row in range(rows):
        for column in range(columns):
            if code[row, column] == NO_DATA or code[row, column] == OUT:
                continue
            for k in range(0, 8, 2):
                i, j = row + ROW_STEP[k], column + COLUMN_STEP[k]
                is_inside = 0 <= i < rows and 0 <= j < columns and np.isfinite(elevation_m[i, j])
                if not is_inside and _slope_outward(elevation_m, row, column, k, 1.0) < 0.0:
                    found[row, column] = True
    return found
