"""What was read of the DEM's files, and reading what is still missing, with several threads."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import closing, contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window

from reachrank.findings import Findings
from reachrank.progress import Progress
from reachrank.read.blocks import ChunkKey, ChunkStore, Layout, PieceReader
from reachrank.read.gdal import quiet, reading
from reachrank.read.mosaic import Piece
from reachrank.read.rasters import open_raster
from reachrank.running.turns import short_turns
from reachrank.surface import TILE

Unit = tuple[int, int]


class NotReadError(Exception):
    """A copy of a `BlockCache` was asked for what the process that it comes from has not read."""


class BlockCache:
    """The chunks of all pieces that were read so far.

    Parameters
    ----------
    pieces
        The files on the common grid.
    findings
        Where absurd elevations are told.
    memory_limit_mb
        How much elevation is kept in memory; the rest goes to a scratch file.
    jobs
        Threads that read.
    shown
        The file that a message names for a piece that is a mosaic of ours.
    """

    def __init__(
        self,
        pieces: Sequence[Piece],
        findings: Findings,
        *,
        memory_limit_mb: float,
        jobs: int,
        shown: str,
        allow_remote: bool,
    ) -> None:
        self.pieces = list(pieces)
        self.blocks_read = 0
        self.store = ChunkStore(int(memory_limit_mb * 1e6))
        self._findings = findings
        self._layouts = [Layout.of(piece) for piece in self.pieces]
        self._boxes = np.array(
            [(p.row, p.row + p.rows, p.column, p.column + p.columns) for p in self.pieces],
            np.int64,
        ).reshape(-1, 4)
        self._planned = np.empty(0, np.int64)
        """Tiles to keep, one sorted number each, see `_tile_number`."""
        self.absurd: set[int] = set()
        """Numbers of the pieces in which elevations were met that cannot be."""
        self.jobs = max(1, jobs)
        self._shown = shown
        self._allow_remote = allow_remote
        self._is_copy = False
        self._renew_locks()

    def _renew_locks(self) -> None:
        self._lock = threading.Lock()
        self._reading = threading.RLock()

    def __getstate__(self) -> dict[str, Any]:
        # a copy in another process: it has what was read so far, and reads no file
        return {k: v for k, v in vars(self).items() if k not in ("_lock", "_reading")}

    def __setstate__(self, state: dict[str, Any]) -> None:
        vars(self).update(state, _is_copy=True)
        self._renew_locks()

    def plan(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> None:
        """Keep what is read of these tiles, also where a later request asks for them."""
        self._planned = np.union1d(self._planned, _tile_number(rows, columns))

    def chunks_of(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> list[ChunkKey]:
        """Return the chunks under tiles, file by file, in the order of the file."""
        keys: list[ChunkKey] = []
        top, left = rows * TILE, columns * TILE
        if not rows.size:
            return keys
        first_row, end_row, first_column, end_column = self._boxes.T
        near = (
            (top.max() + TILE > first_row)
            & (top.min() < end_row)
            & (left.max() + TILE > first_column)
            & (left.min() < end_column)
        )
        for number in np.flatnonzero(near).tolist():
            piece, layout = self.pieces[number], self._layouts[number]
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
            (r0, r1), (c0, c1) = spans
            across = int(c1.max()) + 1
            found = [
                ((r0 + down) * across + c0 + right)[(r0 + down <= r1) & (c0 + right <= c1)]
                for down in range(int((r1 - r0).max()) + 1)
                for right in range(int((c1 - c0).max()) + 1)
            ]
            r, c = np.divmod(np.unique(np.concatenate(found)), across)
            keys.extend((number, *place) for place in zip(r.tolist(), c.tolist(), strict=True))
        return keys

    def place(self, key: ChunkKey) -> tuple[int, int]:
        """Return a chunk's first row and column on the common grid."""
        number, r, c = key
        piece, layout = self.pieces[number], self._layouts[number]
        return piece.row + r * layout.chunk[0], piece.column + c * layout.chunk[1]

    def _is_planned(self, key: ChunkKey) -> bool:
        row, column = self.place(key)
        height, width = self._layouts[key[0]].chunk
        rows = np.arange(row // TILE, (row + height - 1) // TILE + 1)
        first, last = column // TILE, (column + width - 1) // TILE
        before = np.searchsorted(self._planned, _tile_number(rows, first), "left")
        return bool(
            (np.searchsorted(self._planned, _tile_number(rows, last), "right") > before).any()
        )

    def require(
        self, rows: NDArray[np.int64], columns: NDArray[np.int64], progress: Progress
    ) -> list[ChunkKey]:
        """Read all chunks under tiles that are not kept yet; return all, see `chunks_of`.

        Raises
        ------
        NotReadError
            In a copy, which reads nothing itself.
        """
        keys = self.chunks_of(rows, columns)
        with self._reading:
            missing = [key for key in keys if key not in self.store]
            if not missing:
                return keys
            if self._is_copy:
                raise NotReadError
            wanted = set(missing)
            self.store.expect(sum(4 * math.prod(self._layouts[key[0]].chunk) for key in missing))
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
            with quiet():
                self._run(tasks, wanted, total, progress)
        return keys

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
                with self.open(number) as reader:
                    for unit in units:
                        self._read_unit(reader, number, unit, wanted)
                        done += 1
                        progress(done / total, message)
            return

        stop = threading.Event()

        def work(number: int, units: list[Unit]) -> int:
            with self.open(number) as reader:
                for unit in units:
                    if stop.is_set():
                        break
                    self._read_unit(reader, number, unit, wanted)
            return len(units)

        with short_turns(), ThreadPoolExecutor(self.jobs) as pool:
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
    def open(self, number: int) -> Iterator[PieceReader]:
        """Open a piece for one thread."""
        piece, remote = self.pieces[number], self._allow_remote
        where = self._shown if piece.path.startswith("<") else piece.path
        with (
            reading(where, allow_remote=remote),
            open_raster(piece.path, allow_remote=remote) as raster,
            closing(PieceReader(piece, raster)) as reader,
        ):
            yield reader
            if reader.has_absurd:
                with self._lock:
                    self.absurd.add(number)

    def _read_unit(
        self, reader: PieceReader, number: int, unit: Unit, wanted: set[ChunkKey]
    ) -> None:
        layout = self._layouts[number]
        window = layout.window(unit)
        cells = reader.read(window)
        keeps_all = layout.unit == layout.chunk
        self._keep(number, window, cells, lambda key: keeps_all or key in wanted)

    def _keep(
        self,
        number: int,
        window: Window,
        cells: NDArray[np.float32],
        is_wanted: Callable[[ChunkKey], bool],
    ) -> None:
        """Keep the chunks of a window that was read that are wanted, or planned."""
        layout = self._layouts[number]
        with self._lock:
            self.blocks_read += layout.blocks_in(window)
        height, width = layout.chunk
        for r in range(0, cells.shape[0], height):
            for c in range(0, cells.shape[1], width):
                key = (
                    number,
                    (int(window.row_off) + r) // height,
                    (int(window.col_off) + c) // width,
                )
                if is_wanted(key) or self._is_planned(key):
                    self.store.put(key, cells[r : r + height, c : c + width])

    def keep_planned(self, number: int, cells: NDArray[np.float32]) -> None:
        """Keep what is planned of a piece all of whose cells were read for another purpose."""
        piece = self.pieces[number]
        self._keep(number, Window(0, 0, piece.columns, piece.rows), cells, lambda _key: False)

    def tell(self) -> None:
        """Add a finding for each file in which elevations were met that cannot be."""
        met, self.absurd = sorted(self.absurd), set()
        for number in met:
            path = self.pieces[number].path
            self._findings.add(
                "warning",
                "absurd_elevation",
                "Cells hold elevations below -1000 m or above 9000 m that are not declared as no "
                "data; they are taken as no data.",
                source_layer="dem",
                source_id="" if path.startswith("<") else path,
            )


def _tile_number(rows: NDArray[np.int64], columns: NDArray[np.int64] | int) -> NDArray[np.int64]:
    """Return one number for each tile, growing by row and then by column."""
    return np.asarray(rows * (1 << 32) + columns, np.int64)


def _parts(units: list[Unit], total: int, jobs: int) -> Iterable[list[Unit]]:
    """Cut a file's units into runs, so that each thread gets some and opens the file rarely."""
    size = max(16, math.ceil(total / (jobs * 4))) if jobs > 1 else len(units)
    for start in range(0, len(units), size):
        yield units[start : start + size]
