"""Read raw windows of the DEM's files into metres, and keep what was read.

A file is read in *units*, groups of its natural blocks: a row of strips, or a block of a tiled
file. What is kept are *chunks* of at most about 512 cells a side, so that a strip across a whole
county does not have to be kept for the little of it that lies near a stream.
"""

from __future__ import annotations

import mmap
import os
import tempfile
import threading
import weakref
from collections import OrderedDict
from dataclasses import dataclass
from typing import IO, Any

import numpy as np
import rasterio.crs
from numpy.typing import NDArray
from rasterio.enums import Resampling
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window

from reachrank.read.mosaic import Piece
from reachrank.read.rasters import HIGHEST_M, LOWEST_M
from reachrank.running.mapped import map_of

_LEAST_SIDE = 256
_STRIP_ROWS = 64
_CHUNK_SIDE = 512
_OUTSIDE = -32768.0

ChunkKey = tuple[int, int, int]
"""Number of the piece, chunk row, chunk column."""


@dataclass(frozen=True)
class Layout:
    """How one piece is cut: natural blocks, units that are read, chunks that are kept."""

    rows: int
    columns: int
    block: tuple[int, int]
    unit: tuple[int, int]
    chunk: tuple[int, int]

    @classmethod
    def of(cls, piece: Piece) -> Layout:
        """Choose units and chunks for a piece: whole blocks in a unit, whole chunks in a unit."""
        height = min(piece.block[0], piece.rows)
        width = min(piece.block[1], piece.columns)
        is_strip = width >= piece.columns
        unit_rows = height * max(1, -(-(_STRIP_ROWS if is_strip else _LEAST_SIDE) // height))
        unit_columns = width * max(1, -(-_LEAST_SIDE // width))
        unit_rows, unit_columns = min(unit_rows, piece.rows), min(unit_columns, piece.columns)
        return cls(
            piece.rows,
            piece.columns,
            (height, width),
            (unit_rows, unit_columns),
            (_part(unit_rows, piece.rows), _part(unit_columns, piece.columns)),
        )

    def blocks_in(self, window: Window) -> int:
        """Return how many natural blocks a window that starts at a block touches."""
        rows = -(-int(window.height) // self.block[0])
        return int(rows * -(-int(window.width) // self.block[1]))

    def window(self, unit: tuple[int, int]) -> Window:
        """Return the window of a unit, cut at the piece's edge."""
        row, column = unit[0] * self.unit[0], unit[1] * self.unit[1]
        return Window(
            column,
            row,
            min(self.unit[1], self.columns - column),
            min(self.unit[0], self.rows - row),
        )


def _part(unit: int, whole: int) -> int:
    """Return a chunk's side: the unit's, or an even part of a unit that is long."""
    if unit <= _CHUNK_SIDE:
        return unit
    if unit == whole:
        return _LEAST_SIDE  # one unit: chunks need not come out even
    return next(unit // n for n in range(2, unit) if unit % n == 0 and unit // n <= _CHUNK_SIDE)


class PieceReader:
    """An open piece: windows of it in metres, NaN where there is no data. Not for two threads."""

    def __init__(self, piece: Piece, dataset: Any) -> None:
        self._piece = piece
        self._dataset = dataset
        self._warped: Any = None
        self.has_absurd = False
        if piece.warp is not None:
            self._warped = WarpedVRT(
                dataset,
                src_crs=rasterio.crs.CRS.from_wkt(piece.warp.source_crs_wkt),
                crs=rasterio.crs.CRS.from_wkt(piece.warp.crs_wkt),
                transform=piece.warp.transform,
                width=piece.columns,
                height=piece.rows,
                resampling=Resampling.bilinear,
                src_nodata=piece.nodata[0] if piece.nodata else None,
                nodata=_OUTSIDE,
                dtype="float32",
            )

    def close(self) -> None:
        """Close the warped view; the dataset belongs to the caller."""
        if self._warped is not None:
            self._warped.close()

    @property
    def has_overviews(self) -> bool:
        """Whether the file holds smaller copies of itself, from which averages are read fast."""
        return bool(self._dataset.overviews(1))

    def cell(self, row: int, column: int) -> float:
        """Return one cell in metres."""
        return float(self.read(Window(column, row, 1, 1))[0, 0])

    def read(self, window: Window, shape: tuple[int, int] | None = None) -> NDArray[np.float32]:
        """Return a window in metres; with ``shape``, averaged down to that many rows, columns."""
        source = self._dataset if self._warped is None else self._warped
        more = {} if shape is None else {"out_shape": shape, "resampling": Resampling.average}
        masked = self._piece.has_mask and self._warped is None
        raw = source.read(1, window=window, masked=masked, **more)
        if raw.dtype == np.float32 and not masked and self._is_plain:
            return self._plain(raw)
        nothing = np.ma.getmaskarray(raw) if masked else np.zeros(raw.shape, np.bool_)
        raw = np.ma.getdata(raw)
        nodata = (_OUTSIDE,) if self._warped is not None else self._piece.nodata
        for value in nodata:
            if not np.isnan(value):
                with np.errstate(over="ignore"):
                    nothing |= raw == _as(raw.dtype, value)
        z = raw.astype(np.float64)
        z *= self._piece.scale
        z += self._piece.offset
        with np.errstate(invalid="ignore"):
            absurd = ((z > HIGHEST_M) | (z < LOWEST_M)) & ~nothing
        if absurd.any():
            self.has_absurd = True
            nothing |= absurd
        z[nothing] = np.nan
        return z.astype(np.float32)

    @property
    def _is_plain(self) -> bool:
        # metres as they stand, in float32, as nearly all lidar DEMs are
        return self._warped is None and self._piece.scale == 1.0 and self._piece.offset == 0.0

    def _plain(self, z: NDArray[np.float32]) -> NDArray[np.float32]:
        """Do as `read` does to a window that needs no other numbers, in a third of the time."""
        for value in self._piece.nodata:
            if not np.isnan(value):
                with np.errstate(over="ignore"):
                    z[z == _as(z.dtype, value)] = np.nan
        low, high = z.min(), z.max()  # both NaN where any cell is: these two take no time
        if np.isnan(low):
            low, high = np.fmin.reduce(z, axis=None), np.fmax.reduce(z, axis=None)
        if low < LOWEST_M or high > HIGHEST_M:
            self.has_absurd = True
            z[(z > HIGHEST_M) | (z < LOWEST_M)] = np.nan
        return z


def _as(dtype: np.dtype[Any], value: float) -> Any:
    """Return a nodata value as the raster holds it, so that -3.4e38 is found in float32."""
    if dtype.kind == "f":
        return dtype.type(value)
    return value


class ChunkStore:
    """What was read, by piece and place: in memory up to a limit, then in a scratch file.

    The oldest go to the file first. Safe for several threads. What is in the file is mapped, so
    that of a chunk only what is looked at is ever fetched.
    """

    def __init__(self, memory_limit_bytes: int) -> None:
        self._limit = memory_limit_bytes
        self._in_memory: OrderedDict[ChunkKey, NDArray[np.float32]] = OrderedDict()
        self._in_file: dict[ChunkKey, tuple[int, tuple[int, int]]] = {}
        self._leaving: dict[ChunkKey, NDArray[np.float32]] = {}
        self._empty: set[ChunkKey] = set()
        self._bytes = 0
        self._scratch: IO[bytes] | None = None
        self._map: mmap.mmap | None = None
        self._end = 0
        self._lock = threading.Lock()
        self._finalizer: Any = None

    def __contains__(self, key: ChunkKey) -> bool:
        return any(
            key in place for place in (self._in_memory, self._in_file, self._leaving, self._empty)
        )

    @property
    def bytes_in_memory(self) -> int:
        """How much of the limit is used."""
        return self._bytes

    @property
    def bytes_in_file(self) -> int:
        """Size of the scratch file."""
        return self._end

    def expect(self, count: int) -> None:
        """Say how many bytes are to come.

        If they are more than may stay in memory, each chunk goes to the file at once, while the
        processor still has it at hand.
        """
        with self._lock:
            if self._bytes + count > self._limit:
                self._limit = 0

    def put(self, key: ChunkKey, chunk: NDArray[np.float32]) -> None:
        """Keep a chunk; one without any elevation takes no room."""
        is_empty = bool(np.isnan(chunk[0, 0]) and np.isnan(chunk).all())
        chunk = np.ascontiguousarray(chunk)
        places: list[tuple[ChunkKey, int]] = []
        with self._lock:
            if key in self:
                return
            if is_empty:
                self._empty.add(key)
                return
            self._in_memory[key] = chunk
            self._bytes += chunk.nbytes
            while self._bytes > self._limit:
                oldest, leaving = self._in_memory.popitem(last=False)
                places.append((oldest, self._end))
                self._leaving[oldest] = leaving
                self._end += leaving.nbytes
                self._bytes -= leaving.nbytes
            if places and self._scratch is None:
                self._open_scratch()
        for oldest, place in places:
            leaving = self._leaving[oldest]
            self._write(leaving, place)
            with self._lock:
                self._in_file[oldest] = (place, (leaving.shape[0], leaving.shape[1]))
                del self._leaving[oldest]

    def get(self, key: ChunkKey) -> NDArray[np.float32] | None:
        """Return a chunk that is kept, not to be written to; None for one without any elevation."""
        with self._lock:
            if key in self._empty:
                return None
            for kept in (self._in_memory, self._leaving):
                if key in kept:
                    cells = kept[key].view()
                    cells.flags.writeable = False
                    return cells
            place, (rows, columns) = self._in_file[key]
            if self._map is None or len(self._map) < place + 4 * rows * columns:
                # what was handed out of a shorter map stays valid as long as it is held
                self._map = map_of(self._file())
            cells = np.frombuffer(self._map, np.float32, rows * columns, place)
        return cells.reshape(rows, columns)

    def lay_down(self) -> int:
        """Write all to the scratch file, be it nothing; return its descriptor.

        What `pickle` then makes of this store is a copy for another process, which reads from the
        file that it is given by `take_up`.
        """
        with self._lock:
            leaving = dict(self._in_memory)
            if self._scratch is None:
                self._open_scratch()
        for key, chunk in leaving.items():
            with self._lock:
                place, self._end = self._end, self._end + chunk.nbytes
            self._write(chunk, place)
            with self._lock:
                self._in_file[key] = (place, (chunk.shape[0], chunk.shape[1]))
        return self._file().fileno()

    def take_up(self, descriptor: int) -> None:
        """Read from a scratch file that another process has laid down."""
        self._scratch = open(descriptor, "rb", buffering=0)  # noqa: SIM115
        self._finalizer = weakref.finalize(self, self._scratch.close)

    def __getstate__(self) -> dict[str, Any]:
        return {"in_file": self._in_file, "empty": self._empty, "end": self._end}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__init__(0)  # type: ignore[misc]
        self._in_file, self._empty, self._end = state["in_file"], state["empty"], state["end"]

    def close(self) -> None:
        """Forget everything and delete the scratch file."""
        with self._lock:
            self._in_memory.clear()
            self._in_file.clear()
            self._empty.clear()
            self._bytes = self._end = 0
            self._map = None  # unmapped when the last chunk of it has gone
            if self._finalizer is not None:
                self._finalizer()
            self._scratch = None

    def _open_scratch(self) -> None:
        self._scratch = tempfile.TemporaryFile(prefix="reachrank-", buffering=0)  # noqa: SIM115
        self._finalizer = weakref.finalize(self, self._scratch.close)

    def _write(self, chunk: NDArray[np.float32], place: int) -> None:
        file, rest = self._file(), chunk.data.cast("B")
        while len(rest):
            if hasattr(os, "pwrite"):
                done = os.pwrite(file.fileno(), rest, place)
            else:  # no writing at a place on Windows: one thread after the other
                with self._lock:
                    file.seek(place)
                    done = file.write(rest)
            rest, place = rest[done:], place + done

    def _file(self) -> IO[bytes]:
        if self._scratch is None:
            raise OSError("The scratch file is closed.")
        return self._scratch
