"""Several DEM files as one: alike in CRS, cell and rotation, on one common grid."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

import numpy as np
import rasterio.crs
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import Transformer

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.crs import WorkingCrs
from reachrank.read.rasters import RasterFile
from reachrank.read.trust import is_address

GREATEST_CELL_RATIO = 1.5
"""Cells longer than this times their width are refused: one cell size would mean nothing."""
_WARP_BLOCK = (512, 512)
_SHIFT = 0.02  # part of a cell by which a tile may lie off the common grid unresampled


@dataclass(frozen=True)
class Grid:
    """The common grid: ``transform`` maps column and row to working coordinates in metres."""

    transform: Affine
    rows: int
    columns: int

    @property
    def cell_m(self) -> float:
        """Side of a cell; the geometric mean where cells are not square."""
        return math.sqrt(abs(self.transform.determinant))


@dataclass(frozen=True)
class Warp:
    """How a file is resampled: to this CRS, transform and size."""

    source_crs_wkt: str
    crs_wkt: str
    transform: Affine


@dataclass(frozen=True)
class Piece:
    """One raster on the common grid: its first cell's row and column there, and its size.

    ``path`` may be the text of a mosaic. ``nodata`` are raw values that mean no data, ``scale``
    and ``offset`` give metres.
    """

    path: str
    row: int
    column: int
    rows: int
    columns: int
    block: tuple[int, int]
    nodata: tuple[float, ...]
    has_mask: bool
    scale: float
    offset: float
    warp: Warp | None = None

    @property
    def corners(self) -> list[tuple[int, int]]:
        """Column and row of the four corners on the common grid."""
        bottom, right = self.row + self.rows, self.column + self.columns
        return [
            (self.column, self.row),
            (right, self.row),
            (right, bottom),
            (self.column, bottom),
        ]


def check_alike(files: Sequence[RasterFile]) -> None:
    """Raise `InputError` where files differ in CRS, cell size or rotation, or cells are long."""
    first = files[0]
    same = {first.crs.to_wkt()}
    for file in files[1:]:
        wkt = "" if file.crs is first.crs else file.crs.to_wkt()
        if wkt and wkt not in same:
            if not file.crs.equals(first.crs, ignore_axis_order=True):
                raise InputError(
                    "The DEM's files are in different coordinate reference systems: "
                    f"{first.crs.name} in {first.shown}, {file.crs.name} in {file.shown}.",
                    hint="Reproject them to one.",
                )
            same.add(wkt)
        a = np.array(first.transform[:2] + first.transform[3:5])
        b = np.array(file.transform[:2] + file.transform[3:5])
        drift = np.abs(a - b).max() * max(file.rows, file.columns)
        if drift > 0.05 * min(first.cell):
            what = "cell size" if not np.allclose(first.cell, file.cell, rtol=1e-6) else "rotation"
            raise InputError(
                f"The DEM's files differ in {what}: {_cell(first)} in {first.shown}, "
                f"{_cell(file)} in {file.shown}.",
                hint="Resample them to one grid.",
            )
    ratio = max(first.cell) / min(first.cell)
    if first.crs.is_projected and ratio > GREATEST_CELL_RATIO:
        raise InputError(
            f"The DEM's cells are {_cell(first)}: too far from square.",
            hint="Resample it to square cells.",
            where=first.shown,
        )


def lay_out(
    files: Sequence[RasterFile], crs: WorkingCrs, z_to_m: float, findings: Findings
) -> tuple[Grid, list[Piece]]:
    """Place every file on one common grid in working coordinates.

    Files in a CRS that is kept lie on the first file's grid as they are; one that is off it by
    more than 2 % of a cell is resampled bilinearly. Where the CRS changes, all files together are
    resampled as one, so that there are no seams.
    """
    if crs.is_warped:
        return _warped(files, crs, z_to_m)
    base = files[0].transform
    places = []
    for file in files:
        column, row = ~base @ (file.transform.c, file.transform.f)
        places.append((row, column))
    top = round(min(row for row, _ in places))
    left = round(min(column for _, column in places))
    pieces = []
    for file, (row, column) in zip(files, places, strict=True):
        is_off = max(abs(row - round(row)), abs(column - round(column))) > _SHIFT
        # cells of the common grid that lie wholly in the file
        first_row = math.ceil(row) if is_off else round(row)
        first_column = math.ceil(column) if is_off else round(column)
        wkt = rasterio.crs.CRS.from_wkt(crs.source.to_wkt()).to_wkt()
        place = base @ Affine.translation(first_column, first_row)
        if is_off:
            findings.add(
                "info",
                "tile_resampled",
                "This DEM file lies off the grid of the others by part of a cell; it is "
                "resampled bilinearly.",
                source_layer="dem",
                source_id=file.shown,
            )
        piece = Piece(
            file.path,
            first_row - top,
            first_column - left,
            file.rows,
            file.columns,
            file.block,
            file.nodata,
            file.has_mask,
            file.scale * z_to_m,
            file.offset * z_to_m,
        )
        if is_off:
            text = mosaic_text([file], file.transform, file.rows, file.columns)
            piece = replace(
                piece, path=text, rows=file.rows - 1, columns=file.columns - 1,
                block=_WARP_BLOCK, nodata=(math.nan,), has_mask=False, scale=z_to_m, offset=0.0,
                warp=Warp(wkt, wkt, place),
            )  # fmt: skip
        pieces.append(piece)
    grid = Grid(
        Affine.scale(crs.unit_m) @ base @ Affine.translation(left, top),
        max(piece.row + piece.rows for piece in pieces),
        max(piece.column + piece.columns for piece in pieces),
    )
    return grid, pieces


def _warped(
    files: Sequence[RasterFile], crs: WorkingCrs, z_to_m: float
) -> tuple[Grid, list[Piece]]:
    whole, rows, columns = _union(files)
    if not whole.is_rectilinear:
        raise InputError(
            "The DEM is rotated and its coordinate reference system has to be changed.",
            hint="Resample it to a north-up grid in a projected CRS.",
            where=files[0].shown,
        )
    cover = warped_footprint(files, crs)
    cells = sum(file.rows * file.columns for file in files)
    # as many cells as before on the same ground
    cell = math.sqrt(sum(_area(file, crs) for file in files) / cells)
    west, south, east, north = cover.bounds
    if not (np.isfinite(cover.bounds).all() and 0.0 < cell < math.inf):
        raise InputError(
            "The DEM lies where its coordinate reference system cannot be turned into metres.",
            hint="Is it in the right place, in the right coordinate reference system?",
            where=files[0].shown,
        )
    left, top = math.floor(west / cell) * cell, math.ceil(north / cell) * cell
    grid = Grid(
        Affine(cell, 0.0, left, 0.0, -cell, top),
        math.ceil((top - south) / cell),
        math.ceil((east - left) / cell),
    )
    text = mosaic_text(files, whole, rows, columns)
    source, target = (
        rasterio.crs.CRS.from_wkt(part.to_wkt()).to_wkt() for part in (crs.source, crs.working)
    )
    warp = Warp(source, target, grid.transform)
    piece = Piece(
        text, 0, 0, grid.rows, grid.columns, _WARP_BLOCK, (math.nan,), False, z_to_m, 0.0, warp
    )
    return grid, [piece]


def warped_footprint(files: Sequence[RasterFile], crs: WorkingCrs) -> shapely.Geometry:
    """Return the ground that resampled files cover, in working coordinates."""
    to_working = Transformer.from_crs(crs.source, crs.working, always_xy=True)

    def project(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(to_working.transform(xy[:, 0], xy[:, 1]))

    boxes = shapely.union_all([shapely.Polygon(file.corners) for file in files])
    west, south, east, north = boxes.bounds
    dense = shapely.segmentize(boxes, max(east - west, north - south) / 50.0)
    return shapely.transform(dense, project)


def _area(file: RasterFile, crs: WorkingCrs) -> float:
    return float(warped_footprint([file], crs).area)


def _union(files: Sequence[RasterFile]) -> tuple[Affine, int, int]:
    base = files[0].transform
    places = [~base @ (file.transform.c, file.transform.f) for file in files]
    left, top = min(column for column, _ in places), min(row for _, row in places)
    right = max(c + file.columns for (c, _), file in zip(places, files, strict=True))
    bottom = max(r + file.rows for (_, r), file in zip(places, files, strict=True))
    return base @ Affine.translation(left, top), round(bottom - top), round(right - left)


def mosaic_text(files: Sequence[RasterFile], whole: Affine, rows: int, columns: int) -> str:
    """Return a virtual mosaic of checked files, NaN where there is no data.

    The last source wins in such a mosaic, so that files are named in reverse order.
    """
    crs = escape(files[0].crs.to_wkt())
    sources = []
    for file in reversed(files):
        column, row = ~whole @ (file.transform.c, file.transform.f)
        nodata = f"<NODATA>{file.nodata[0]!r}</NODATA>" if file.nodata else ""
        mask = "<UseMaskBand>true</UseMaskBand>" if file.has_mask else ""
        size = f'xSize="{file.columns}" ySize="{file.rows}"'
        sources.append(
            f'<ComplexSource><SourceFilename relativeToVRT="0">{escape(_for_gdal(file.path))}'
            f"</SourceFilename><SourceBand>1</SourceBand>"
            f'<SourceProperties RasterXSize="{file.columns}" RasterYSize="{file.rows}" '
            f'DataType="{_VRT_TYPES[file.dtype]}" BlockXSize="{file.block[1]}" '
            f'BlockYSize="{file.block[0]}"/>'
            f'<SrcRect xOff="0" yOff="0" {size}/>'
            f'<DstRect xOff="{column!r}" yOff="{row!r}" {size}/>'
            f"<ScaleOffset>{file.offset!r}</ScaleOffset><ScaleRatio>{file.scale!r}</ScaleRatio>"
            f"{mask}{nodata}</ComplexSource>"
        )
    transform = ", ".join(repr(value) for value in whole.to_gdal())
    return (
        f'<VRTDataset rasterXSize="{columns}" rasterYSize="{rows}"><SRS>{crs}</SRS>'
        f"<GeoTransform>{transform}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>nan</NoDataValue>'
        f"{''.join(sources)}</VRTRasterBand></VRTDataset>"
    )


def _for_gdal(path: str) -> str:
    if re.match(r"https?://", path):
        return f"/vsicurl/{path}"
    return path if is_address(path) else os.path.abspath(path)


_VRT_TYPES = {
    "uint8": "Byte", "int8": "Int8", "uint16": "UInt16", "int16": "Int16", "uint32": "UInt32",
    "int32": "Int32", "uint64": "UInt64", "int64": "Int64", "float32": "Float32",
    "float64": "Float64",
}  # fmt: skip


def _cell(file: RasterFile) -> str:
    unit = file.crs.axis_info[0].unit_name if file.crs.axis_info else ""
    return f"{file.cell[0]:.8g} x {file.cell[1]:.8g} {unit}"
