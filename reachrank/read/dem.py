"""The DEM as the stages see it: elevation in metres near lines, each block of the files read once.

A county's DEM is larger than memory; the strip along its streams is not. `Dem.surface` gives that
strip as tiles on one common grid. What was read stays with the `Dem`, in memory up to a limit and
in a scratch file beyond it, so that no later request reads a block again.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import closing, contextmanager
from types import TracebackType

import numpy as np
import shapely
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.progress import Progress, silent
from reachrank.read.blocks import ChunkKey, ChunkStore, Layout, PieceReader
from reachrank.read.coarse import read_coarse
from reachrank.read.corridor import fill_tiles, tiles_near
from reachrank.read.crs import Box, WorkingCrs
from reachrank.read.gdal import reading
from reachrank.read.mosaic import Grid, Piece, check_alike, lay_out, warped_footprint
from reachrank.read.rasters import RasterFile, open_raster
from reachrank.read.vertical import VerticalUnit
from reachrank.surface import TILE, Surface

MEMORY_LIMIT_MB = 512
"""Elevation kept in memory; the rest of what was read goes to a scratch file."""
KEEP_M = 400.0
"""In files stored in strips, what lies farther from every planned line is not kept."""

Unit = tuple[int, int]


class Dem:
    """The DEM of a run, read block by block.

    Parameters
    ----------
    files
        The described raster files; see `reachrank.read.rasters.describe_raster`.
    working
        How its coordinates become working coordinates.
    vertical
        The unit of its elevations.
    findings
        Where oddities met while reading are told.
    memory_limit_mb
        How much elevation is kept in memory.

    Attributes
    ----------
    crs
        The working CRS, in metres.
    grid
        The common grid of all files in working coordinates.
    cell_m
        Side of a cell in metres.
    paths
        The files.
    blocks_read
        Natural blocks read so far; a block that was read twice counts twice.
    """

    def __init__(
        self,
        files: Sequence[RasterFile],
        working: WorkingCrs,
        vertical: VerticalUnit,
        findings: Findings | None = None,
        *,
        memory_limit_mb: float = MEMORY_LIMIT_MB,
        jobs: int = 1,
        allow_remote: bool = False,
    ) -> None:
        check_alike(files)
        self.findings = findings if findings is not None else Findings()
        self.working = working
        self.vertical = vertical
        self.crs: CRS = working.working
        self.z_to_m = vertical.z_to_m
        self.paths = tuple(file.path for file in files)
        self.grid: Grid
        self.pieces: list[Piece]
        self.grid, self.pieces = lay_out(files, working, self.z_to_m, self.findings)
        self.cell_m = self.grid.cell_m
        self.jobs = max(1, jobs)
        self.blocks_read = 0
        self._files = tuple(files)
        self._layouts = [Layout.of(piece) for piece in self.pieces]
        self._store = ChunkStore(int(memory_limit_mb * 1e6))
        self._planned: set[tuple[int, int]] = set()
        self._absurd: dict[int, int] = {}
        self._allow_remote = allow_remote
        self._lock = threading.Lock()
        self._reading = threading.RLock()

    @property
    def bounds(self) -> Box:
        """West, south, east, north of the common grid in working coordinates."""
        t, h, w = self.grid.transform, self.grid.rows, self.grid.columns
        x, y = zip(*(t @ at for at in ((0, 0), (w, 0), (w, h), (0, h))), strict=True)
        return min(x), min(y), max(x), max(y)

    @property
    def footprint(self) -> shapely.Geometry:
        """The ground that the files cover, no-data cells and all, in working coordinates."""
        if self.working.is_warped:
            return warped_footprint(self._files, self.working)
        return shapely.union_all(
            [
                shapely.Polygon([self.grid.transform @ at for at in piece.corners])
                for piece in self.pieces
            ]
        )

    def plan(self, lines: ArrayLike, half_width_m: ArrayLike = KEEP_M) -> None:
        """Name lines that will be asked about, so that what is read near them is kept.

        Matters for files stored in strips alone; of tiled files every block that was read is kept.
        """
        self._planned.update(
            zip(*(a.tolist() for a in self._near(lines, half_width_m)), strict=True)
        )

    def load(self, lines: ArrayLike, half_width_m: ArrayLike, progress: Progress = silent) -> None:
        """Read all that is needed within a distance of lines, in the order of the files' blocks.

        Raises
        ------
        InputError
            Where not one cell along all of the lines has an elevation.
        """
        self.plan(lines, half_width_m)
        rows, columns = self._near(lines, half_width_m)
        self._read_missing(rows, columns, progress)
        if rows.size and not self._any_elevation(rows, columns):
            raise InputError(
                "The DEM holds no elevation along the streams: all its cells there are no data.",
                where=self._files[0].shown,
            )

    def surface(
        self, lines: ArrayLike, half_width_m: ArrayLike, progress: Progress = silent
    ) -> Surface:
        """Return the elevation within a distance of lines.

        Parameters
        ----------
        lines
            Geometries in working coordinates.
        half_width_m
            How far from them: one number, or one for each line.
        progress
            Called while blocks are read.

        Returns
        -------
        Surface
            Tiles of the common grid; its index covers only the box that holds them.
        """
        rows, columns = self._near(lines, half_width_m)
        self._read_missing(rows, columns, progress)
        if not rows.size:
            return Surface(
                np.empty((0, TILE, TILE), np.float32),
                np.full((1, 1), -1, np.int32),
                _six(~self.grid.transform),
                self.cell_m,
            )
        first_row, first_column = int(rows.min()), int(columns.min())
        shape = int(rows.max()) - first_row + 1, int(columns.max()) - first_column + 1
        index = np.full(shape, -1, np.int32)
        index[rows - first_row, columns - first_column] = np.arange(rows.size, dtype=np.int32)
        tiles = np.full((rows.size, TILE, TILE), np.nan, np.float32)
        for key in self._chunks_of(rows, columns):
            chunk = self._store.get(key)
            if chunk is not None:
                row, column = self._place(key)
                fill_tiles(tiles, index, first_row, first_column, chunk, row, column)
        inverse = Affine.translation(-first_column * TILE, -first_row * TILE) @ ~self.grid.transform
        return Surface(tiles, index, _six(inverse), self.cell_m)

    def probe(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the elevation of the cells under a few points, read one by one and not kept."""
        out = np.full(len(x), np.nan)
        columns, rows = ~self.grid.transform @ (np.asarray(x), np.asarray(y))
        for number, piece in enumerate(self.pieces):
            row = np.floor(rows).astype(int) - piece.row
            column = np.floor(columns).astype(int) - piece.column
            inside = (row >= 0) & (row < piece.rows) & (column >= 0) & (column < piece.columns)
            wanted = np.flatnonzero(inside & np.isnan(out))
            if wanted.size:
                with self._open(number) as reader:
                    for k in wanted:
                        out[k] = reader.cell(int(row[k]), int(column[k]))
        return out

    def coarse(
        self, max_cells: int = 20_000_000, progress: Progress = silent
    ) -> tuple[NDArray[np.float32], Affine]:
        """Return the whole DEM averaged down to at most so many cells.

        Returns
        -------
        elevation_m
            float32, NaN where there is no data.
        transform
            Column and row to working coordinates.
        """
        cells = self.grid.rows * self.grid.columns
        factor = max(1, math.ceil(math.sqrt(cells / max_cells)))
        while -(-self.grid.rows // factor) * -(-self.grid.columns // factor) > max_cells:
            factor += 1
        out = read_coarse(self.grid, self.pieces, self._open, factor, progress)
        return out, self.grid.transform @ Affine.scale(factor)

    def close(self) -> None:
        """Forget what was read and delete the scratch file."""
        self._store.close()

    def __enter__(self) -> Dem:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # ---- what is needed ----------------------------------------------------------------------

    def _near(
        self, lines: ArrayLike, half_width_m: ArrayLike
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        lines = np.asarray(lines, dtype=object).ravel()
        widths = np.broadcast_to(np.asarray(half_width_m, np.float64), lines.shape)
        return tiles_near(lines, widths, self.grid.transform, self.grid.rows, self.grid.columns)

    def _chunks_of(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> list[ChunkKey]:
        """Return the chunks under tiles, file by file, in the order of the file."""
        keys: list[ChunkKey] = []
        top, left = rows * TILE, columns * TILE
        for number, (piece, layout) in enumerate(zip(self.pieces, self._layouts, strict=True)):
            touch = (
                (top + TILE > piece.row)
                & (top < piece.row + piece.rows)
                & (left + TILE > piece.column)
                & (left < piece.column + piece.columns)
            )
            if not touch.any():
                continue
            spans = []
            for start, first, size, chunk in (
                (top[touch], piece.row, piece.rows, layout.chunk[0]),
                (left[touch], piece.column, piece.columns, layout.chunk[1]),
            ):
                low = np.maximum(start - first, 0) // chunk
                high = (np.minimum(start + TILE - first, size) - 1) // chunk
                spans.append((low, high))
            found: set[tuple[int, int]] = set()
            for r0, r1, c0, c1 in zip(*(a.tolist() for pair in spans for a in pair), strict=True):
                found.update((r, c) for r in range(r0, r1 + 1) for c in range(c0, c1 + 1))
            keys.extend((number, r, c) for r, c in sorted(found))
        return keys

    def _place(self, key: ChunkKey) -> tuple[int, int]:
        """Return a chunk's first row and column on the common grid."""
        number, r, c = key
        piece, layout = self.pieces[number], self._layouts[number]
        return piece.row + r * layout.chunk[0], piece.column + c * layout.chunk[1]

    def _is_planned(self, key: ChunkKey) -> bool:
        row, column = self._place(key)
        height, width = self._layouts[key[0]].chunk
        return any(
            (r, c) in self._planned
            for r in range(row // TILE, (row + height - 1) // TILE + 1)
            for c in range(column // TILE, (column + width - 1) // TILE + 1)
        )

    def _any_elevation(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> bool:
        return any(self._store.get(key) is not None for key in self._chunks_of(rows, columns))

    # ---- reading -----------------------------------------------------------------------------

    def _read_missing(
        self, rows: NDArray[np.int64], columns: NDArray[np.int64], progress: Progress
    ) -> None:
        with self._reading:
            missing = [key for key in self._chunks_of(rows, columns) if key not in self._store]
            if not missing:
                return
            wanted = set(missing)
            units: dict[int, set[Unit]] = {}
            for number, r, c in missing:
                layout = self._layouts[number]
                unit = (
                    r * layout.chunk[0] // layout.unit[0],
                    c * layout.chunk[1] // layout.unit[1],
                )
                units.setdefault(number, set()).add(unit)
            total = sum(len(of) for of in units.values())
            tasks = [
                (number, part)
                for number, of in sorted(units.items())
                for part in _parts(sorted(of), total, self.jobs)
            ]
            self._run(tasks, wanted, total, progress)
            self._tell_absurd()

    def _run(
        self,
        tasks: list[tuple[int, list[Unit]]],
        wanted: set[ChunkKey],
        total: int,
        progress: Progress,
    ) -> None:
        done = 0
        message = "reading the DEM"
        if self.jobs == 1 or len(tasks) == 1:
            for number, units in tasks:
                with self._open(number) as reader:
                    for unit in units:
                        self._read_unit(reader, number, unit, wanted)
                        done += 1
                        progress(done / total, message)
            return

        stop = threading.Event()

        def work(number: int, units: list[Unit]) -> int:
            with self._open(number) as reader:
                for unit in units:
                    if stop.is_set():
                        break
                    self._read_unit(reader, number, unit, wanted)
            return len(units)

        with ThreadPoolExecutor(self.jobs) as pool:
            waiting: set[Future[int]] = {pool.submit(work, *task) for task in tasks}
            try:
                while waiting:
                    ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                    done += sum(future.result() for future in ready)
                    progress(done / total, message)
            except BaseException:
                stop.set()
                for future in waiting:
                    future.cancel()
                raise

    @contextmanager
    def _open(self, number: int) -> Iterator[PieceReader]:
        """Open a piece for one thread."""
        piece, remote = self.pieces[number], self._allow_remote
        where = self.paths[0] if piece.path.startswith("<") else piece.path
        with (
            reading(where, allow_remote=remote),
            open_raster(piece.path, allow_remote=remote) as raster,
            closing(PieceReader(piece, raster)) as reader,
        ):
            yield reader
            if reader.absurd_cells:
                self._met_absurd(number, reader.absurd_cells)

    def _read_unit(
        self, reader: PieceReader, number: int, unit: Unit, wanted: set[ChunkKey]
    ) -> None:
        layout = self._layouts[number]
        window = layout.window(unit)
        cells = reader.read(window)
        with self._lock:
            self.blocks_read += layout.blocks_in(window)
        keeps_all = layout.unit == layout.chunk
        height, width = layout.chunk
        for r in range(0, cells.shape[0], height):
            for c in range(0, cells.shape[1], width):
                key = (
                    number,
                    (int(window.row_off) + r) // height,
                    (int(window.col_off) + c) // width,
                )
                if keeps_all or key in wanted or self._is_planned(key):
                    self._store.put(key, cells[r : r + height, c : c + width])

    def _met_absurd(self, number: int, cells: int) -> None:
        with self._lock:
            self._absurd[number] = self._absurd.get(number, 0) + cells

    def _tell_absurd(self) -> None:
        with self._lock:
            met, self._absurd = self._absurd, {}
        for number, cells in sorted(met.items()):
            path = self.pieces[number].path
            self.findings.add(
                "warning",
                "absurd_elevation",
                f"{cells} cells hold elevations below -1000 m or above 9000 m that are not declared as no data; "
                "they are taken as no data.",
                source_layer="dem",
                source_id="" if path.startswith("<") else path,
            )


def _parts(units: list[Unit], total: int, jobs: int) -> Iterable[list[Unit]]:
    """Cut a file's units into runs, so that each thread gets some and opens the file rarely."""
    size = max(16, math.ceil(total / (jobs * 4))) if jobs > 1 else len(units)
    for start in range(0, len(units), size):
        yield units[start : start + size]


def _six(inverse: Affine) -> NDArray[np.float64]:
    return np.array([inverse.a, inverse.b, inverse.c, inverse.d, inverse.e, inverse.f], np.float64)
