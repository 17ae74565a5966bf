"""The elevation along a corridor: only the tiles near the streams, sampled bilinearly.

A county's DEM does not fit into memory, but the strip along its streams does. A `Surface` is a
sparse raster: square tiles of elevation in metres, and an index from tile row and column to the
tile, -1 where there is none. Kernels sample it without knowing about files.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

SHIFT = 6
"""A tile's side is two to this power: shifts and masks in place of divisions."""
TILE = 1 << SHIFT
"""Cells along the side of one tile."""


@dataclass(frozen=True)
class Surface:
    """Elevation in tiles.

    Attributes
    ----------
    tiles
        float32, shape (n, TILE, TILE): elevation in metres, NaN where there is no data.
    index
        int32, shape (tile_rows, tile_columns): which tile lies there, -1 for none.
    inverse
        float64, shape (6,): a, b, c, d, e, f of the affine map from working coordinates in
        metres to fractional column and row, column = a x + b y + c, row = d x + e y + f; whole
        numbers are cell corners, so the middle of the first cell is at 0.5, 0.5.
    cell_m
        Side of one cell in metres (the geometric mean where cells are not square).
    """

    tiles: NDArray[np.float32]
    index: NDArray[np.int32]
    inverse: NDArray[np.float64]
    cell_m: float

    def sample(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return elevations in metres at points, bilinear between cell middles, NaN outside.

        A point next to a cell without data has no elevation: NaN is never averaged away.
        """
        x, y = np.broadcast_arrays(np.asarray(x, np.float64), np.asarray(y, np.float64))
        out = np.empty(x.size, np.float64)
        sample_points(self.tiles, self.index, self.inverse, x.ravel(), y.ravel(), out)
        return out.reshape(x.shape)

    @classmethod
    def from_array(
        cls, elevation_m: NDArray[np.floating], inverse: NDArray[np.float64], cell_m: float
    ) -> Surface:
        """Cut one array (row 0 on top, NaN for no data) into tiles; for small areas and tests."""
        rows, columns = elevation_m.shape
        tile_rows, tile_columns = -(-rows // TILE), -(-columns // TILE)
        padded = np.full((tile_rows * TILE, tile_columns * TILE), np.nan, np.float32)
        padded[:rows, :columns] = elevation_m
        tiles = padded.reshape(tile_rows, TILE, tile_columns, TILE).swapaxes(1, 2)
        index = np.arange(tile_rows * tile_columns, dtype=np.int32).reshape(tile_rows, tile_columns)
        return cls(
            np.ascontiguousarray(tiles.reshape(-1, TILE, TILE)),
            index,
            np.asarray(inverse, np.float64),
            float(cell_m),
        )


FAR_CELLS = 1e9
"""A place farther from the surface's corner has no cell number and no elevation."""
NOWHERE = -2
"""Row and column of a place that has none: outside of every surface."""
POINTS_AT_ONCE = 1024
"""Points that are sampled together: their numbers stay in the processor's nearest cache."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def place_of(inverse, x, y):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return column and row of a point, counted from the middle of the first cell, or `NOWHERE`."""
    column = inverse[0] * x + inverse[1] * y + inverse[2] - 0.5
    row = inverse[3] * x + inverse[4] * y + inverse[5] - 0.5
    if not (abs(column) < FAR_CELLS and abs(row) < FAR_CELLS):
        column = row = float(NOWHERE)
    return column, row


@numba.njit(cache=True, nogil=True, error_model="numpy")
def cell_at(tiles, index, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the elevation of one cell, NaN where there is none."""
    z = np.float32(np.nan)
    i, j = row // TILE, column // TILE
    if 0 <= i < index.shape[0] and 0 <= j < index.shape[1]:
        tile = index[i, j]
        if tile >= 0:
            z = tiles[tile, row - i * TILE, column - j * TILE]
    return z


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_corners(flat, index, row, column, count, four):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``four`` with the four cells of each place: here, right, below, below right.

    Nearly always they lie in the tile of the place before, so that one address serves all four;
    whole numbers without a sign spare a check for those that count from the end.

    Parameters
    ----------
    flat
        All tiles one behind the other, one axis.
    index
        As in `Surface`.
    row, column
        int32: the cell above and to the left of each place; the first ``count`` are looked at.
    four
        float32, shape (4, at least ``count``); NaN where there is no cell.
    """
    last = TILE - 1
    one, below, across = np.uint64(1), np.uint64(TILE), np.uint64(TILE + 1)
    top = left = np.int64(0)
    first = room = np.uint64(0)
    for n in range(count):
        r = np.uint64(row[n] - top)
        c = np.uint64(column[n] - left)
        if r < room and c < room:
            at = first + r * below + c
            four[0, n] = flat[at]
            four[1, n] = flat[at + one]
            four[2, n] = flat[at + below]
            four[3, n] = flat[at + across]
            continue
        room = np.uint64(0)
        for corner in range(4):
            i = np.int64(row[n]) + (corner >> 1)
            j = np.int64(column[n]) + (corner & 1)
            tile_i, tile_j = i >> SHIFT, j >> SHIFT  # rounds down, also below zero
            z = np.float32(np.nan)
            if 0 <= tile_i < index.shape[0] and 0 <= tile_j < index.shape[1]:
                tile = np.int64(index[tile_i, tile_j])
                if tile >= 0:
                    z = flat[np.uint64((tile * TILE + (i & last)) * TILE + (j & last))]
                    if corner == 0:
                        first = np.uint64(tile * TILE * TILE)
                        top, left = tile_i * TILE, tile_j * TILE
                        room = np.uint64(last)
            four[corner, n] = z


@numba.njit(cache=True, nogil=True, error_model="numpy")
def blend(four, right, down, count, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with the bilinear mean of four cells; ``right``, ``down`` are shares of a cell.

    NaN where any of the four is: it is never averaged away.
    """
    for n in range(count):
        x, y = right[n], down[n]
        upper = four[0, n] * (1.0 - x) + four[1, n] * x
        lower = four[2, n] * (1.0 - x) + four[3, n] * x
        out[n] = upper * (1.0 - y) + lower * y


@numba.njit(cache=True, nogil=True, error_model="numpy")
def sample_points(tiles, index, inverse, x, y, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with the bilinear elevation at each point, NaN where a cell has none."""
    flat = tiles.reshape(-1)
    most = min(POINTS_AT_ONCE, x.size)
    row, column = np.empty(most, np.int32), np.empty(most, np.int32)
    right, down = np.empty(most), np.empty(most)
    four = np.empty((4, most), np.float32)
    for start in range(0, x.size, POINTS_AT_ONCE):
        count = min(POINTS_AT_ONCE, x.size - start)
        for n in range(count):
            across, along = place_of(inverse, x[start + n], y[start + n])
            column[n], row[n] = np.int32(np.floor(across)), np.int32(np.floor(along))
            right[n], down[n] = across - column[n], along - row[n]
        fill_corners(flat, index, row, column, count, four)
        blend(four, right, down, count, out[start : start + count])
