"""Which tiles of a grid lie near lines."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray

from reachrank.surface import TILE


def tiles_near(
    lines: NDArray[Any],
    half_width_m: NDArray[np.float64],
    transform: Affine,
    rows: int,
    columns: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return rows and columns of the tiles that come within a distance of lines.

    Parameters
    ----------
    lines
        Geometries with vertices, in working coordinates; shape (n,).
    half_width_m
        Distance for each, shape (n,); two cells are added, for sampling between cells.
    transform
        Column and row to working coordinates.
    rows, columns
        Size of the grid in cells.

    Returns
    -------
    tile_rows, tile_columns
        Sorted by row, then column. A tile whose corner lies just beyond the distance may be
        among them; none within it is missing.
    """
    tile_rows, tile_columns = -(-rows // TILE), -(-columns // TILE)
    xy, part = shapely.get_coordinates(lines, return_index=True)
    if not len(xy) or not tile_rows or not tile_columns:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    back = ~transform
    column = back.a * xy[:, 0] + back.b * xy[:, 1] + back.c
    row = back.d * xy[:, 0] + back.e * xy[:, 1] + back.f
    # cells per metre along the axis that has most of them: never too few
    per_m = max(np.hypot(back.a, back.b), np.hypot(back.d, back.e))
    reach = half_width_m[part] * per_m + 2.0
    low_row = int(max(0, np.floor((row - reach).min() / TILE)))
    high_row = int(min(tile_rows - 1, np.floor((row + reach).max() / TILE)))
    low_column = int(max(0, np.floor((column - reach).min() / TILE)))
    high_column = int(min(tile_columns - 1, np.floor((column + reach).max() / TILE)))
    if high_row < low_row or high_column < low_column:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    near = np.zeros((high_row - low_row + 1, high_column - low_column + 1), np.bool_)
    mark_tiles(row, column, part, reach, low_row, low_column, near)
    at_row, at_column = np.nonzero(near)
    return at_row.astype(np.int64) + low_row, at_column.astype(np.int64) + low_column


@numba.njit(cache=True, nogil=True)
def mark_tiles(row, column, part, reach, low_row, low_column, near):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Mark tiles whose middle is within ``reach`` plus half a diagonal of a segment (cells)."""
    half_diagonal = TILE * np.sqrt(0.5)
    for k in range(row.size):
        last = k + 1 if k + 1 < row.size and part[k + 1] == part[k] else k
        r0, c0, r1, c1 = row[k], column[k], row[last], column[last]
        far = reach[k]
        dr, dc = r1 - r0, c1 - c0
        square = dr * dr + dc * dc
        first_i = max(0, int(np.floor((min(r0, r1) - far) / TILE)) - low_row)
        last_i = min(near.shape[0] - 1, int(np.floor((max(r0, r1) + far) / TILE)) - low_row)
        first_j = max(0, int(np.floor((min(c0, c1) - far) / TILE)) - low_column)
        last_j = min(near.shape[1] - 1, int(np.floor((max(c0, c1) + far) / TILE)) - low_column)
        limit = (far + half_diagonal) ** 2
        for i in range(first_i, last_i + 1):
            middle_r = (i + low_row + 0.5) * TILE
            for j in range(first_j, last_j + 1):
                if near[i, j]:
                    continue
                middle_c = (j + low_column + 0.5) * TILE
                t = 0.0
                if square > 0.0:
                    t = ((middle_r - r0) * dr + (middle_c - c0) * dc) / square
                    t = min(1.0, max(0.0, t))
                away_r, away_c = middle_r - r0 - t * dr, middle_c - c0 - t * dc
                if away_r * away_r + away_c * away_c <= limit:
                    near[i, j] = True


@numba.njit(cache=True, nogil=True)
def fill_tiles(tiles, has_begun, index, index_row, index_column, chunk, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Copy a chunk's cells into the tiles that are there, only where a tile has nothing yet.

    ``row``, ``column`` is the chunk's first cell on the grid; ``index_row``, ``index_column`` the
    first tile of ``index``. A tile that has not ``has_begun`` may hold anything before.
    """
    rows, columns = chunk.shape
    for tile_row in range(row // TILE, (row + rows - 1) // TILE + 1):
        i = tile_row - index_row
        if i < 0 or i >= index.shape[0]:
            continue
        for tile_column in range(column // TILE, (column + columns - 1) // TILE + 1):
            j = tile_column - index_column
            if j < 0 or j >= index.shape[1] or index[i, j] < 0:
                continue
            number = index[i, j]
            tile = tiles[number]
            top, left = tile_row * TILE, tile_column * TILE
            first_r, end_r = max(row, top), min(row + rows, top + TILE)
            first_c, end_c = max(column, left), min(column + columns, left + TILE)
            is_new = not has_begun[number]
            has_begun[number] = True
            if is_new and (end_r - first_r < TILE or end_c - first_c < TILE):
                tile[:] = np.nan
            for r in range(first_r, end_r):
                here = tile[r - top, first_c - left : end_c - left]
                there = chunk[r - row, first_c - column : end_c - column]
                for c in range(here.size):
                    if is_new or np.isnan(here[c]):
                        here[c] = there[c]
