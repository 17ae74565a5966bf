"""The whole DEM averaged down, for flow routing: never in memory at full resolution."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager

import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window

from reachrank.progress import Progress, silent
from reachrank.read.blocks import PieceReader
from reachrank.read.mosaic import Grid, Piece

_BAND_CELLS = 16_000_000  # full-resolution cells behind one read, when there are no overviews


def read_coarse(
    grid: Grid,
    pieces: Sequence[Piece],
    open_piece: Callable[[int], AbstractContextManager[PieceReader]],
    factor: int,
    progress: Progress = silent,
) -> NDArray[np.float32]:
    """Return the grid averaged over squares of ``factor`` cells, NaN where there is no data.

    Overviews in the files are used where they have any. A square that lies in two files takes
    the average of the part in the first.
    """
    out = np.full((-(-grid.rows // factor), -(-grid.columns // factor)), np.nan, np.float32)
    for number, piece in enumerate(pieces):
        with open_piece(number) as reader:
            row_parts = _parts(piece.row, piece.rows, factor, piece.columns)
            column_parts = _parts(piece.column, piece.columns, factor, 0)
            for (r, height, coarse_r, n_r), (c, width, coarse_c, n_c) in itertools.product(
                row_parts, column_parts
            ):
                window = Window(c - piece.column, r - piece.row, width, height)
                part = reader.read(window, (n_r, n_c) if factor > 1 else None)
                target = out[coarse_r : coarse_r + n_r, coarse_c : coarse_c + n_c]
                np.copyto(target, part, where=np.isnan(target))
        progress((number + 1) / len(pieces), "coarse copy of the DEM")
    return out


def _parts(first: int, size: int, factor: int, across: int) -> list[tuple[int, int, int, int]]:
    """Cut a span of cells into parts that come out even on the coarse grid.

    Each part is first cell, number of cells, first coarse cell, number of coarse cells: the
    partial coarse cell at either end, and the whole ones between, in bands where ``across``
    (cells the other way) makes one read too large.
    """
    last = first + size
    start = min(-(-first // factor) * factor, last)
    stop = max(last // factor * factor, start)
    parts = []
    if start > first:
        parts.append((first, start - first, first // factor, 1))
    band = stop - start
    if across:
        band = max(factor, min(band, _BAND_CELLS // across // factor * factor))
    for at in range(start, stop, band or 1):
        count = min(band, stop - at)
        parts.append((at, count, at // factor, count // factor))
    if last > stop:
        parts.append((stop, last - stop, stop // factor, 1))
    return parts
