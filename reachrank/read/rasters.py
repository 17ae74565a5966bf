"""Raster files: find them, open them safely, describe them without reading their cells."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import rasterio.errors
from affine import Affine
from pyproj import CRS
from pyproj.exceptions import CRSError
from rasterio.io import DatasetReader
from rasterio.windows import Window

from reachrank.errors import InputError
from reachrank.progress import Progress, silent
from reachrank.read import ascii_grid
from reachrank.read.gdal import quiet, reading
from reachrank.read.trust import check_database, check_path, is_address, is_xml
from reachrank.read.trust_mosaic import check_companions, check_mosaic

_DRIVERS = [
    "GTiff", "COG", "AAIGrid", "GRASSASCIIGrid", "AIG", "HFA", "EHdr", "ENVI", "SRTMHGT",
    "USGSDEM", "BT", "GPKG",
]  # fmt: skip
_ENDINGS = (".tif", ".tiff", ".img", ".asc", ".bil", ".flt", ".dem", ".hgt", ".bt", ".vrt")
FORMATS = "GeoTIFF, .img, .asc, .bil, .flt, .hgt, Arc/Info grid, or a plain .vrt mosaic of those"

LOWEST_M, HIGHEST_M = -1000.0, 9000.0
"""No dry ground lies outside (the Dead Sea's shore is at -430 m, the highest summit at 8849 m):
values beyond are an undeclared sign for no data."""


@dataclass(frozen=True)
class RasterFile:
    """One raster file, described.

    ``nodata`` holds every raw value that means no data, declared or found in a corner cell;
    ``scale`` and ``offset`` turn raw values into those of ``unit_word``.
    """

    path: str
    shown: str
    crs: CRS
    transform: Affine
    rows: int
    columns: int
    block: tuple[int, int]
    dtype: str
    declared_nodata: float | None
    nodata: tuple[float, ...]
    has_mask: bool
    scale: float
    offset: float
    unit_word: str

    @property
    def corners(self) -> list[tuple[float, float]]:
        """The four corners, in the file's CRS."""
        h, w = self.rows, self.columns
        return [self.transform @ at for at in ((0, 0), (w, 0), (w, h), (0, h))]

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north, in the file's CRS."""
        x, y = zip(*self.corners, strict=True)
        return min(x), min(y), max(x), max(y)

    @property
    def cell(self) -> tuple[float, float]:
        """Lengths of a cell's sides in the file's CRS, along a row and down a column."""
        t = self.transform
        return math.hypot(t.a, t.d), math.hypot(t.b, t.e)


def find_rasters(specs: Sequence[str], *, allow_remote: bool = False) -> list[str]:
    """Return the raster files that the user means: files as given, folders by what lies in them.

    In a folder of tiles a ``.vrt`` beside them is left out, because it is usually the mosaic of
    those same tiles. The result is sorted by path and holds no file twice.
    """
    found: list[str] = []
    for spec in specs:
        check_path(spec, allow_remote=allow_remote)
        folder = Path(spec)
        if is_address(spec) or not folder.is_dir() or (folder / "hdr.adf").exists():
            found.append(spec)
            continue
        inside = [p for p in folder.iterdir() if p.suffix.lower() in _ENDINGS and p.is_file()]
        tiles = [p for p in inside if p.suffix.lower() != ".vrt"] or inside
        tiles += [p for p in folder.iterdir() if (p / "hdr.adf").exists()]
        if not tiles:
            raise InputError(
                "The folder holds no rasters.", hint=f"Read are: {FORMATS}.", where=spec
            )
        found.extend(str(p) for p in tiles)
    if not found:
        raise InputError("No DEM was given.")
    return sorted(set(found))


@contextmanager
def open_raster(path: str, *, allow_remote: bool = False) -> Iterator[Any]:
    """Open a raster that `describe_raster` has let through; only inside `reading`."""
    drivers: list[str] | None
    if path.startswith("<"):  # our own mosaic of checked files
        drivers = ["VRT"]
    elif is_address(path):
        drivers = None
    else:
        drivers = None if allow_remote else (["VRT"] if is_xml(path) else _DRIVERS)
        path = os.path.abspath(path)
    with DatasetReader(path, driver=drivers) as raster:
        yield raster


def describe_rasters(
    paths: Sequence[str],
    *,
    allow_remote: bool = False,
    jobs: int = 1,
    progress: Progress = silent,
) -> list[RasterFile]:
    """Describe raster files, several at a time; the first bad one raises as `describe_raster`."""
    files = []
    with quiet(), ThreadPoolExecutor(jobs) as pool:
        for file in pool.map(partial(_describe, allow_remote=allow_remote), paths):
            files.append(file)
            progress(len(files) / len(paths), "opening the DEM")
    return files


def describe_raster(path: str, *, allow_remote: bool = False) -> RasterFile:
    """Describe a raster file.

    Raises
    ------
    InputError
        For a file that is not there, not trusted, not a raster, without a CRS or a place, or
        without a band of real numbers.
    """
    with quiet():
        return _describe(path, allow_remote=allow_remote)


def _describe(path: str, *, allow_remote: bool) -> RasterFile:
    check_path(path, allow_remote=allow_remote)
    if not is_address(path):
        if is_xml(path):
            check_mosaic(path, allow_remote=allow_remote)
        check_database(path, allow_remote=allow_remote)
        check_companions(path, allow_remote=allow_remote)
    try:
        with (
            reading(path, allow_remote=allow_remote),
            open_raster(path, allow_remote=allow_remote) as raster,
        ):
            if raster.driver in ascii_grid.DRIVERS:
                ascii_grid.check_whole(path, raster.height * raster.width)
            return _described(raster, path)
    except InputError as error:
        if isinstance(error.__cause__, rasterio.errors.RasterioIOError):
            raise InputError(
                f"This is not a raster that is read ({_cause(error)}).",
                hint=f"Read are: {FORMATS}.",
                where=path,
            ) from error.__cause__
        raise


def _cause(error: InputError) -> str:
    return error.message.removeprefix("It cannot be read: ").rstrip(".")


def _described(raster: Any, path: str) -> RasterFile:
    if raster.count < 1:
        raise InputError("The raster has no bands.", where=path)
    dtype = str(raster.dtypes[0])
    if np.dtype(dtype).kind not in "iuf":
        raise InputError(f"The raster holds {dtype} values, not real numbers.", where=path)
    if raster.crs is None:
        raise InputError(
            "The raster does not say which coordinate reference system it is in.",
            hint="Assign the right one in a GIS.",
            where=path,
        )
    if raster.transform.is_identity or raster.transform.is_degenerate:
        raise InputError("The raster does not say where on Earth it lies.", where=path)
    try:
        crs = _crs(raster.crs.to_wkt(version="WKT2_2019"))
    except CRSError as error:
        raise InputError(
            f"The raster's coordinate reference system is not understood: {error}.", where=path
        ) from error
    declared = None if raster.nodata is None else float(raster.nodata)
    flags = {flag.name for flag in raster.mask_flag_enums[0]}
    return RasterFile(
        path=path,
        shown=path,
        crs=crs,
        transform=raster.transform,
        rows=raster.height,
        columns=raster.width,
        block=tuple(raster.block_shapes[0]),
        dtype=dtype,
        declared_nodata=declared,
        nodata=_nodata(raster, declared),
        has_mask=bool(flags & {"per_dataset", "alpha"}),
        scale=float(raster.scales[0]),
        offset=float(raster.offsets[0]),
        unit_word=raster.units[0] or "",
    )


@lru_cache(maxsize=64)
def _crs(wkt: str) -> CRS:
    """Return a CRS, for the tiles of one DEM the same one: each takes 50 kB and a millisecond."""
    return CRS.from_wkt(wkt)


def _nodata(raster: Any, declared: float | None) -> tuple[float, ...]:
    """Return the declared value, or absurd ones that stand in the corners of a raster without."""
    if declared is not None:
        return (declared,)
    last_row, last_column = raster.height - 1, raster.width - 1
    values = set()
    for row, column in {(0, 0), (0, last_column), (last_row, 0), (last_row, last_column)}:
        window = Window(column, row, 1, 1)
        value = float(raster.read(1, window=window)[0, 0])
        z = value * float(raster.scales[0]) + float(raster.offsets[0])
        # beyond the limits even if the unit, not known yet, is the foot
        if math.isfinite(value) and not LOWEST_M / 0.3048 <= z <= HIGHEST_M / 0.3048:
            values.add(value)
    return tuple(sorted(values))
