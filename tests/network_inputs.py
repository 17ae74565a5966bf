"""Stand-ins for what the stage before `network` hands on: stream lines and a DEM in memory."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from pyproj import CRS

from reachrank.context import Context, Inputs
from reachrank.settings import NetworkSettings, Settings
from reachrank.surface import Surface

UTM = CRS.from_epsg(26917)  # NAD83 / UTM zone 17N


class MemoryDem:
    """A DEM that is one array, with the methods of the real one that the network stage uses."""

    def __init__(self, elevation_m: np.ndarray, transform: Affine, cell_m: float) -> None:
        self.elevation_m = np.asarray(elevation_m, np.float32)
        self.transform = transform
        self.cell_m = cell_m

    def surface(self, lines: Sequence[object], half_width_m: float) -> Surface:
        back = ~self.transform
        inverse = np.array([back.a, back.b, back.c, back.d, back.e, back.f])
        return Surface.from_array(self.elevation_m, inverse, abs(self.transform.a))

    def coarse(self, max_cells: int) -> tuple[np.ndarray, Affine]:
        return self.elevation_m, self.transform


def dem_of(
    height_m: Callable[[np.ndarray, np.ndarray], np.ndarray],
    box: tuple[float, float, float, float] = (0.0, 0.0, 1000.0, 1000.0),
    cell_m: float = 5.0,
) -> MemoryDem:
    """Sample a function of x and y at cell middles within west, south, east, north."""
    west, south, east, north = box
    columns, rows = round((east - west) / cell_m), round((north - south) / cell_m)
    x = west + cell_m * (np.arange(columns) + 0.5)
    y = north - cell_m * (np.arange(rows) + 0.5)
    return MemoryDem(
        height_m(*np.meshgrid(x, y)), Affine(cell_m, 0, west, 0, -cell_m, north), cell_m
    )


NO_DEM = MemoryDem(np.full((4, 4), np.nan), Affine(1, 0, 0, 0, -1, 4), 1.0)


def streams_of(
    lines: Sequence[Sequence[Sequence[float]] | shapely.LineString],
    names: Sequence[str | None] | None = None,
    areas_km2: Sequence[float] | None = None,
) -> gpd.GeoDataFrame:
    """Make the layer `streams`; source ids are the row numbers."""
    count = len(lines)
    return gpd.GeoDataFrame(
        {
            "source_id": [str(row) for row in range(count)],
            "stream_name": list(names) if names is not None else [None] * count,
            "attribute_area_km2": areas_km2 if areas_km2 is not None else np.full(count, np.nan),
            "attribute_width_m": np.full(count, np.nan),
        },
        geometry=[shapely.LineString(line) for line in lines],
        crs=UTM,
    )


def context(dem: MemoryDem = NO_DEM, area_raster: str | None = None, **settings: object) -> Context:
    """Make a context with these settings of the stage."""
    network = replace(NetworkSettings(), **settings)
    inputs = Inputs(streams="", dem=(), area_raster=area_raster)
    return Context(
        inputs=inputs, settings=Settings(network=network), dem=dem, crs=UTM, output_crs=UTM
    )


def codes(ctx: Context) -> list[str]:
    """Return the codes of all findings."""
    return [str(row["code"]) for row in ctx.findings.rows]


def soque() -> gpd.GeoDataFrame:
    """Real flowlines: 317 lines of the U.S. National Hydrography Dataset Plus High Resolution.

    They come with the landlab package (MIT licence), with the published attributes: StreamOrde
    (Strahler order), ArbolateSu (km of streams upstream, itself included), LengthKM, and the
    smoothed elevations at either end in cm. All are drawn downstream (FlowDir 1).
    """
    found = importlib.util.find_spec("landlab")
    folder = Path(found.submodule_search_locations[0])
    return gpd.read_file(folder / "data/io/shapefile/soque/Soque_Links.shp")
