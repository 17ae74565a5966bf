"""The whole DEM averaged down, for flow routing: never in memory at full resolution."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager

import numba
import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window

from reachrank.progress import Progress, silent
from reachrank.read.blocks import PieceReader
from reachrank.read.mosaic import Grid, Piece
from reachrank.running.turns import in_threads

Part = tuple[int, int, int, int]
"""First cell, number of cells, first coarse cell, number of coarse cells."""
Run = tuple[int, list[Part]]
"""Number of a piece, and which of its rows are read while it is open."""
Average = tuple[int, int, NDArray[np.float32]]
"""First coarse row and column, and the averages from there on."""

Keep = Callable[[int, NDArray[np.float32]], None]
"""Given the number of a piece and all of its cells."""

_BAND_CELLS = 16_000_000  # full-resolution cells behind one read, when there are no overviews


def read_coarse(
    grid: Grid,
    pieces: Sequence[Piece],
    open_piece: Callable[[int], AbstractContextManager[PieceReader]],
    factor: int,
    progress: Progress = silent,
    jobs: int = 1,
    keep: Keep | None = None,
) -> NDArray[np.float32]:
    """Return the grid averaged over squares of ``factor`` cells, NaN where there is no data.

    Overviews in the files are used where they have any. A square that lies in two files takes
    the average of the part in the first, whichever of ``jobs`` threads is done first.

    ``keep`` is given the cells of files that are read in full anyway, so that nobody needs to read
    those again; it is called by the threads.
    """
    out = np.full((-(-grid.rows // factor), -(-grid.columns // factor)), np.nan, np.float32)
    runs: list[Run] = []
    for number, piece in enumerate(pieces):
        bands = _parts(piece.row, piece.rows, factor, piece.columns)
        # a file is opened once, or for each of its bands where files are too few for the threads
        is_cut = len(pieces) < jobs and not _is_small(piece)
        runs += [(number, [band]) for band in bands] if is_cut else [(number, bands)]

    def read(run: Run) -> list[Average]:
        number, row_parts = run
        piece = pieces[number]
        column_parts = _parts(piece.column, piece.columns, factor, 0)
        found = []
        with open_piece(number) as reader:
            cells = None
            if _is_small(piece) and (factor == 1 or not reader.has_overviews):
                cells = reader.read(Window(0, 0, piece.columns, piece.rows))
                if keep is not None:
                    keep(number, cells)
            for (r, height, coarse_r, n_r), (c, width, coarse_c, n_c) in itertools.product(
                row_parts, column_parts
            ):
                window = Window(c - piece.column, r - piece.row, width, height)
                if cells is None:
                    part = reader.read(window, (n_r, n_c) if factor > 1 else None)
                else:
                    part = cells[window.toslices()]
                    part = _averaged(part, n_r, n_c) if factor > 1 else part
                found.append((coarse_r, coarse_c, part))
        return found

    for count, found in enumerate(in_threads(read, runs, jobs), 1):
        for row, column, part in found:
            height, width = part.shape
            target = out[row : row + height, column : column + width]
            np.copyto(target, part, where=np.isnan(target))
        progress(count / len(runs), "coarse copy of the DEM")
    return out


def _is_small(piece: Piece) -> bool:
    """Tell whether all cells of a piece may be in memory at once, for each thread."""
    return piece.rows * piece.columns <= _BAND_CELLS


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _averaged(cells, rows, columns):  # type: ignore[no-untyped-def]
    # means of so many rows and columns of equal rectangles, NaN left out
    down, across = cells.shape[0] // rows, cells.shape[1] // columns
    out = np.empty((rows, columns), np.float32)
    for row in range(rows):
        for column in range(columns):
            total, count = 0.0, 0
            for i in range(row * down, (row + 1) * down):
                for j in range(column * across, (column + 1) * across):
                    if not np.isnan(cells[i, j]):
                        total += cells[i, j]
                        count += 1
            out[row, column] = total / count  # NaN of none
    return out


def _parts(first: int, size: int, factor: int, across: int) -> list[Part]:
    """Cut a span of cells into parts that come out even on the coarse grid.

    The partial coarse cell at either end, and the whole ones between, in bands where ``across``
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
