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

TILE = 64
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


@numba.njit(cache=True, nogil=True, inline="always")
def _cell(tiles, index, row, column):  # type: ignore[no-untyped-def]  # pragma: no cover
    if row < 0 or column < 0:
        return np.nan
    tile_row, tile_column = row // TILE, column // TILE
    if tile_row >= index.shape[0] or tile_column >= index.shape[1]:
        return np.nan
    tile = index[tile_row, tile_column]
    if tile < 0:
        return np.nan
    return np.float64(tiles[tile, row - tile_row * TILE, column - tile_column * TILE])


@numba.njit(cache=True, nogil=True, error_model="numpy")
def sample_one(tiles, index, inverse, x, y):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Bilinear elevation at one point; NaN where any of the four cells has none."""
    column = inverse[0] * x + inverse[1] * y + inverse[2] - 0.5
    row = inverse[3] * x + inverse[4] * y + inverse[5] - 0.5
    if not (np.isfinite(column) and np.isfinite(row)):
        return np.nan
    column_0, row_0 = np.floor(column), np.floor(row)
    part_x, part_y = column - column_0, row - row_0
    i, j = np.int64(row_0), np.int64(column_0)
    if i >= 0 and j >= 0:
        in_i, in_j = i % TILE, j % TILE
        if in_i < TILE - 1 and in_j < TILE - 1:  # all four cells in one tile, nearly always
            tile_i, tile_j = i // TILE, j // TILE
            if tile_i >= index.shape[0] or tile_j >= index.shape[1]:
                return np.nan
            tile = index[tile_i, tile_j]
            if tile < 0:
                return np.nan
            top = tiles[tile, in_i, in_j] * (1.0 - part_x) + tiles[tile, in_i, in_j + 1] * part_x
            low = (
                tiles[tile, in_i + 1, in_j] * (1.0 - part_x)
                + tiles[tile, in_i + 1, in_j + 1] * part_x
            )
            return top * (1.0 - part_y) + low * part_y
    return (
        _cell(tiles, index, i, j) * (1.0 - part_x) * (1.0 - part_y)
        + _cell(tiles, index, i, j + 1) * part_x * (1.0 - part_y)
        + _cell(tiles, index, i + 1, j) * (1.0 - part_x) * part_y
        + _cell(tiles, index, i + 1, j + 1) * part_x * part_y
    )


@numba.njit(cache=True, nogil=True, error_model="numpy")
def sample_points(tiles, index, inverse, x, y, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with the bilinear elevation at each point."""
    for k in range(x.size):
        out[k] = sample_one(tiles, index, inverse, x[k], y[k])
