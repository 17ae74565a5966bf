"""The DEM as the stages see it: elevation in metres near lines, each block of the files read once.

A county's DEM is larger than memory; the strip along its streams is not. `Dem.surface` gives that
strip as tiles on one common grid. What was read stays with the `Dem`, in memory up to a limit and
in a scratch file beyond it, so that no later request reads a block again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import TracebackType

import numpy as np
import shapely
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.progress import Progress, silent
from reachrank.read.cache import BlockCache
from reachrank.read.coarse import read_coarse
from reachrank.read.corridor import fill_tiles, tiles_near
from reachrank.read.crs import Box, WorkingCrs
from reachrank.read.gdal import quiet
from reachrank.read.mosaic import Grid, check_alike, lay_out, warped_footprint
from reachrank.read.rasters import RasterFile
from reachrank.read.vertical import VerticalUnit
from reachrank.running.mapped import let_go
from reachrank.surface import TILE, Surface

MEMORY_LIMIT_MB = 64
"""Elevation kept in memory; the rest of what was read goes to a scratch file."""
KEEP_M = 400.0
"""Of files stored in strips or read whole, what lies farther from planned lines is not kept."""


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
        self.grid, pieces = lay_out(files, working, self.z_to_m, self.findings)
        self.cell_m = self.grid.cell_m
        self._files = tuple(files)
        self._ahead: tuple[int, NDArray[np.float32]] | None = None
        self._cache = BlockCache(
            pieces,
            self.findings,
            memory_limit_mb=memory_limit_mb,
            jobs=jobs,
            shown=files[0].shown,
            allow_remote=allow_remote,
        )

    @property
    def blocks_read(self) -> int:
        """Natural blocks read so far; a block that was read twice counts twice."""
        return self._cache.blocks_read

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
                for piece in self._cache.pieces
            ]
        )

    def plan(self, lines: ArrayLike, half_width_m: ArrayLike = KEEP_M) -> None:
        """Name lines that will be asked about, so that what is read near them is kept.

        Matters for files stored in strips or read whole for `coarse` alone; of other files every
        block that was read is kept.
        """
        self._cache.plan(*self._near(lines, half_width_m))

    def load(self, lines: ArrayLike, half_width_m: ArrayLike, progress: Progress = silent) -> None:
        """Read all that is needed within a distance of lines, in the order of the files' blocks.

        Raises
        ------
        InputError
            Where not one cell along all of the lines has an elevation.
        """
        if not self.load_some(lines, half_width_m, progress):
            raise InputError(
                "The DEM holds no elevation along the streams: all its cells there are no data.",
                where=self._files[0].shown,
            )

    def load_some(
        self, lines: ArrayLike, half_width_m: ArrayLike, progress: Progress = silent
    ) -> bool:
        """Do as `load`, of lines that are not all; return whether any cell has an elevation."""
        rows, columns = self._near(lines, half_width_m)
        self._cache.plan(rows, columns)
        chunks = self._cache.require(rows, columns, progress)
        return not rows.size or any(self._cache.store.get(key) is not None for key in chunks)

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
        chunks = self._cache.require(rows, columns, progress)
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
        tiles = np.empty((rows.size, TILE, TILE), np.float32)
        has_begun = np.zeros(rows.size, np.bool_)
        for key in chunks:
            chunk = self._cache.store.get(key)
            if chunk is not None:
                row, column = self._cache.place(key)
                fill_tiles(tiles, has_begun, index, first_row, first_column, chunk, row, column)
        tiles[~has_begun] = np.nan
        let_go()
        inverse = Affine.translation(-first_column * TILE, -first_row * TILE) @ ~self.grid.transform
        return Surface(tiles, index, _six(inverse), self.cell_m)

    def probe(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the elevation of the cells under a few points, read one by one and not kept."""
        out = np.full(len(x), np.nan)
        columns, rows = ~self.grid.transform @ (np.asarray(x), np.asarray(y))
        for number, piece in enumerate(self._cache.pieces):
            row = np.floor(rows).astype(int) - piece.row
            column = np.floor(columns).astype(int) - piece.column
            inside = (row >= 0) & (row < piece.rows) & (column >= 0) & (column < piece.columns)
            wanted = np.flatnonzero(inside & np.isnan(out))
            if wanted.size:
                with quiet(), self._cache.open(number) as reader:
                    for k in wanted:
                        out[k] = reader.cell(int(row[k]), int(column[k]))
        return out

    def coarse(
        self, max_cells: int = 20_000_000, progress: Progress = silent
    ) -> tuple[NDArray[np.float32], Affine]:
        """Return the whole DEM averaged down to at most so many cells.

        What was planned to be asked for is kept of files that must be read in full for it.

        Returns
        -------
        elevation_m
            float32, NaN where there is no data.
        transform
            Column and row to working coordinates.
        """
        factor = self._coarse_factor(max_cells)
        if self._ahead is not None and self._ahead[0] == factor:
            return self._ahead[1], self.grid.transform @ Affine.scale(factor)
        with quiet():
            out = read_coarse(
                self.grid, self._cache.pieces, self._cache.open, factor, progress,
                self._cache.jobs, self._cache.keep_planned,
            )  # fmt: skip
        return out, self.grid.transform @ Affine.scale(factor)

    def read_ahead(self, max_cells: int, progress: Progress = silent) -> None:
        """Make the averaged copy that `coarse` will be asked for, and have it until `drop_ahead`.

        Before `load`, so that the blocks of files which must be read in full are read once for
        both.
        """
        elevation_m, _ = self.coarse(max_cells, progress)
        self._ahead = self._coarse_factor(max_cells), elevation_m

    def _coarse_factor(self, max_cells: int) -> int:
        cells = self.grid.rows * self.grid.columns
        factor = max(1, math.ceil(math.sqrt(cells / max_cells)))
        while -(-self.grid.rows // factor) * -(-self.grid.columns // factor) > max_cells:
            factor += 1
        return factor

    @property
    def absurd(self) -> set[int]:
        """Numbers of the files in which elevations were met that cannot be, and not yet told."""
        return self._cache.absurd

    def drop_ahead(self) -> None:
        """Forget the copy that was made ahead."""
        self._ahead = None

    def lay_down(self) -> int:
        """Lay what was read so far where another process can read it.

        A `pickle` made afterwards is a copy that has this much, by way of `take_up`, and raises
        `reachrank.read.cache.NotReadError` where it is asked for more.

        Returns
        -------
        int
            Descriptor of the file, an empty one where nothing was read yet.
        """
        return self._cache.store.lay_down()

    def take_up(self, descriptor: int) -> None:
        """Read, in a copy, from the file that the other process has laid down."""
        self._cache.store.take_up(descriptor)

    def forget(self) -> None:
        """Forget the elevations that were read, when none will be asked for any more."""
        self._cache.store.close()

    def close(self) -> None:
        """Forget what was read, delete the scratch file, and tell what was odd about the cells."""
        self._cache.tell()
        self.forget()

    def __enter__(self) -> Dem:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _near(
        self, lines: ArrayLike, half_width_m: ArrayLike
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        lines = np.asarray(lines, dtype=object).ravel()
        widths = np.broadcast_to(np.asarray(half_width_m, np.float64), lines.shape)
        return tiles_near(lines, widths, self.grid.transform, self.grid.rows, self.grid.columns)


def _six(inverse: Affine) -> NDArray[np.float64]:
    return np.array([inverse.a, inverse.b, inverse.c, inverse.d, inverse.e, inverse.f], np.float64)
