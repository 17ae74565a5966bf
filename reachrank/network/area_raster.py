"""Drainage area of edges from a raster that the user hands over."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import CRS, Geod, Transformer
from rasterio.windows import Window

from reachrank.network.lines import XY
from reachrank.read.gdal import reading
from reachrank.read.rasters import describe_raster, open_raster

Floats = NDArray[np.float64]

KM2_PER_MI2 = 2.589988110336  # the square of 1.609344 km, exact


def area_from_raster(
    lines: Sequence[XY],
    crs: CRS,
    path: str,
    *,
    unit: str,
    search_cells: int,
    allow_remote: bool = False,
) -> Floats:
    """Take the largest value near the lower part of each edge.

    The place is a little above the lower end, out of reach of the stream that the edge flows
    into, or the middle of an edge too short for that.

    Parameters
    ----------
    lines
        Coordinates of each edge, downstream, in ``crs``.
    crs
        Working CRS.
    path
        Raster of drainage area in any CRS.
    unit
        ``km2``, ``mi2`` or ``cells``.
    search_cells
        Cells searched to each side.
    allow_remote
        Whether an address may be opened.

    Returns
    -------
    numpy.ndarray
        float64, shape (edges,), km²; NaN where the raster has none.

    Raises
    ------
    InputError
        If the raster cannot be read, is not trusted, or has no CRS.
    """
    area = np.full(len(lines), np.nan)
    raster_crs = describe_raster(path, allow_remote=allow_remote).crs
    with (
        reading(path, allow_remote=allow_remote),
        open_raster(path, allow_remote=allow_remote) as source,
    ):
        to_raster = Transformer.from_crs(crs, raster_crs, always_xy=True)
        cell_m = _cell_side_m(source, raster_crs, lines, to_raster)
        back_m = (search_cells + 1.5) * cell_m
        places = np.array([_place_above_end(xy, back_m) for xy in lines]).reshape(-1, 2)
        x, y = to_raster.transform(places[:, 0], places[:, 1])
        for number, (east, north) in enumerate(zip(x, y, strict=True)):
            if not (np.isfinite(east) and np.isfinite(north)):
                continue
            row, column = source.index(east, north)
            top, left = max(row - search_cells, 0), max(column - search_cells, 0)
            bottom = min(row + search_cells + 1, source.height)
            right = min(column + search_cells + 1, source.width)
            if top >= bottom or left >= right:
                continue
            values = source.read(
                1, window=Window(left, top, right - left, bottom - top), masked=True
            )
            found = values.astype(np.float64).filled(np.nan)
            found = found[found > 0]
            if len(found):
                area[number] = found.max() * _km2(unit, raster_crs, source.transform, north)
    return area


def _place_above_end(xy: XY, back_m: float) -> XY:
    """Point this far above the lower end, or half way on a shorter line."""
    steps = np.hypot(*np.diff(xy, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    distance = along[-1] - min(back_m, along[-1] / 2)
    return np.array([np.interp(distance, along, xy[:, 0]), np.interp(distance, along, xy[:, 1])])


def _cell_side_m(
    source: rasterio.DatasetReader, crs: CRS, lines: Sequence[XY], to_raster: Transformer
) -> float:
    if not lines:
        return 1.0
    _, north = to_raster.transform(*lines[0][-1])
    return float(np.sqrt(_cell_m2(crs, source.transform, float(north))))


def _cell_m2(crs: CRS, transform: rasterio.Affine, latitude: float) -> float:
    """Area of a cell in m²; on the ellipsoid for a raster in degrees."""
    if not crs.is_geographic:
        metres = float(crs.axis_info[0].unit_conversion_factor)
        return float(abs(transform.determinant)) * metres**2
    ellipsoid = crs.get_geod() or Geod(ellps="WGS84")
    width = float(np.hypot(transform.a, transform.d))
    height = float(np.hypot(transform.b, transform.e))
    low, high = latitude - height / 2, latitude + height / 2
    area, _ = ellipsoid.polygon_area_perimeter([0.0, width, width, 0.0], [low, low, high, high])
    return float(abs(area))


def _km2(unit: str, crs: CRS, transform: rasterio.Affine, latitude: float) -> float:
    if unit == "mi2":
        return KM2_PER_MI2
    return _cell_m2(crs, transform, latitude) / 1e6 if unit == "cells" else 1.0
