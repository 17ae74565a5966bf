"""Share of tree and shrub cover in a strip of land behind the top of each bank."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from reachrank.hazard.side_frame import Floats
from reachrank.read.gdal import reading
from reachrank.read.rasters import describe_raster, open_raster

Woody = Callable[[NDArray[np.float64]], NDArray[np.bool_]]


def strips(banks: gpd.GeoDataFrame, width_m: float) -> gpd.GeoSeries:
    """Return a strip of that width on the land side of each bank line.

    Bank lines run downstream, so land lies to the left of a left bank and to the right of a right
    one.
    """
    distance = np.where(banks["bank"].to_numpy() == "left", width_m, -width_m)
    shapes = shapely.buffer(banks.geometry.to_numpy(), distance, single_sided=True)
    return gpd.GeoSeries(shapely.make_valid(shapes), index=banks.index, crs=banks.crs)


def at_least(height_m: float) -> Woody:
    """Return a test for canopy at least that high."""
    return lambda cells: cells >= height_m


def one_of(codes: tuple[int, ...]) -> Woody:
    """Return a test for the class codes that are woody."""
    return lambda cells: np.isin(cells, codes)


def cover_share(
    areas: gpd.GeoSeries, raster_path: str, is_woody: Woody, *, allow_remote: bool = False
) -> Floats:
    """Return the share of each area's known cells that are woody, each cell by the part inside.

    NaN where an area is empty or has no known cell. Cells of partial overlap count by their exact
    share (exactextract). Cost: one window of the raster per area.
    """
    from exactextract import exact_extract  # noqa: PLC0415  (only with a cover layer)

    describe_raster(raster_path, allow_remote=allow_remote)  # only what may be trusted is opened
    share = np.full(len(areas), np.nan)

    def woody_share(cells: np.ma.MaskedArray, part: NDArray[np.float64]) -> float:
        known = ~np.ma.getmaskarray(cells)
        values = np.ma.getdata(cells).astype(np.float64)
        known &= np.isfinite(values)
        total = float(part[known].sum())
        return float(part[known & is_woody(values)].sum()) / total if total > 0 else np.nan

    with (
        reading(raster_path, allow_remote=allow_remote),
        open_raster(raster_path, allow_remote=allow_remote) as raster,
    ):
        placed = areas.to_crs(raster.crs) if raster.crs is not None else areas
        shapes = placed.to_numpy()
        near = shapely.intersects(shapes, shapely.box(*raster.bounds))
        use = np.flatnonzero(near & ~shapely.is_empty(shapes))
        if use.size:
            frame = gpd.GeoDataFrame({"row": use}, geometry=shapes[use], crs=placed.crs)
            result = exact_extract(
                raster, frame, [woody_share], include_cols=["row"], output="pandas"
            )
            share[result["row"].to_numpy(np.int64)] = result["woody_share"].to_numpy(np.float64)
    return share
