"""Small rasters and layers for the tests of reading; a smooth surface whose height is known."""

from __future__ import annotations

import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from shapely.geometry import LineString

from reachrank.context import Inputs
from reachrank.read import open_inputs
from reachrank.settings import Settings

METRIC = "EPSG:26973"  # NAD83 / Indiana East, metres
FEET = "EPSG:2965"  # the same in U.S. survey feet
WEST, NORTH = 100000.0, 500000.0
CELL = 2.0
SURVEY_FOOT = 1200.0 / 3937.0


def ground(x, y):
    """Return the height in metres of an uneven surface at metric coordinates."""
    u, v = (x - WEST) / 37.0, (y - NORTH) / 23.0
    return 200.0 + 3.0 * np.sin(u) + 2.0 * np.cos(v) + 0.5 * np.sin(u * v / 10.0)


def cells(rows=300, columns=400, top=0, left=0):
    """Cell heights of a window of the grid, float32."""
    x = WEST + (left + np.arange(columns) + 0.5) * CELL
    y = NORTH - (top + np.arange(rows) + 0.5) * CELL
    return ground(*np.meshgrid(x, y)).astype(np.float32)


def write_raster(path, array, *, top=0, left=0, crs=METRIC, transform=None, unit="metre", **more):
    """Write one band; ``scale`` and ``offset`` of the band may be given too."""
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    if transform is None:
        transform = Affine(CELL, 0.0, WEST + left * CELL, 0.0, -CELL, NORTH - top * CELL)
    scale, offset = more.pop("scale", None), more.pop("offset", None)
    profile = {
        "driver": "GTiff", "height": array.shape[0], "width": array.shape[1], "count": 1,
        "dtype": array.dtype, "crs": crs, "transform": transform, **more,
    }  # fmt: skip
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", category=rasterio.errors.NotGeoreferencedWarning)
        with rasterio.open(path, "w", **profile) as raster:
            raster.write(array, 1)
            if unit:
                raster.units = (unit,)
            if scale is not None:
                raster.scales, raster.offsets = (scale,), (offset,)
    return str(path)


def write_layer(path, geometry, *, crs=METRIC, layer=None, **columns):
    """Write features to a GeoPackage, or to what the path's ending says."""
    table = gpd.GeoDataFrame(columns, geometry=list(geometry), crs=crs)
    named = {"layer": layer} if layer else {}
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*crs.*was not provided")
        table.to_file(path, engine="pyogrio", **named)
    return str(path)


def a_line():
    """Return a bent line across the default raster."""
    return LineString(
        [(WEST + 40, NORTH - 60), (WEST + 300, NORTH - 250), (WEST + 420, NORTH - 230),
         (WEST + 700, NORTH - 520)]
    )  # fmt: skip


def points_on(line, count=500):
    """Coordinates along a line."""
    at = np.linspace(0.0, line.length, count)
    return np.array([line.interpolate(d).coords[0] for d in at])


def read(streams, *dem, settings=None, **more):
    """Run the read stage."""
    return open_inputs(
        Inputs(streams=str(streams), dem=tuple(str(d) for d in dem), **more), settings or Settings()
    )
