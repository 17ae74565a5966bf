"""Stream lines from DEM files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import geopandas as gpd
import numpy as np

from reachrank.errors import InputError, UsageError
from reachrank.findings import Findings
from reachrank.progress import Progress, part, silent
from reachrank.read.crs import Box, choose, degrees_box
from reachrank.read.dem import Dem
from reachrank.read.rasters import RasterFile, describe_rasters, find_rasters
from reachrank.read.vertical import elevation_unit
from reachrank.trace.grid import trace_grid

MOST_CELLS = 20_000_000
"""A larger DEM is averaged down to this many cells: flow routing holds the whole grid in memory."""


def trace(
    dem: Sequence[str],
    min_area_km2: float,
    *,
    dem_units: Literal["m", "ft", "us-ft"] | None = None,
    most_cells: int = MOST_CELLS,
    smooth_cells: float = 1.5,
    findings: Findings | None = None,
    progress: Progress = silent,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Draw stream lines by flow routing where no line layer exists.

    A traced line is a start, not a survey: it follows the lowest cells, begins where enough ground
    drains together and not where a stream has formed, and knows neither culverts nor storm
    sewers (road fills are cut at the cheapest place). A river that enters the DEM from outside is
    only drawn from where enough ground within the DEM drains to it.

    Parameters
    ----------
    dem
        Raster files or folders of tiles.
    min_area_km2
        Streams begin where this much ground drains together.
    dem_units
        Unit of the elevations where the DEM does not declare it.
    most_cells
        A DEM with more cells is averaged down first.
    smooth_cells
        How strongly the stairs of the grid are smoothed, in cells.
    findings
        Where doubts are told.
    progress
        Told the share done and the step; the first message says at which cell size.
    allow_remote
        Whether addresses may be opened.

    Returns
    -------
    geopandas.GeoDataFrame
        In the DEM's CRS (UTM for a DEM in degrees): stream_order, drainage_area_km2 (at the lower
        end), is_area_cut (the catchment leaves the DEM: the area is a lower bound). ``attrs``
        holds ``cell_m``, the cell size that was used, and ``coarsened``, whether it is larger
        than the DEM's.

    Raises
    ------
    UsageError
        If ``min_area_km2`` is not above 0.
    InputError
        If the DEM cannot be used, or nothing in it drains as much ground.
    """
    if not min_area_km2 > 0:
        raise UsageError(
            f"The least area {min_area_km2} km² is not above 0.",
            hint="Small perennial streams of humid regions often begin between 0.1 and 1 km².",
        )
    findings = findings if findings is not None else Findings()
    paths = find_rasters(dem, allow_remote=allow_remote)
    files = describe_rasters(paths, allow_remote=allow_remote)
    working = choose(files[0].crs, degrees_box(files[0].crs, _box(files)))
    vertical = elevation_unit(files, working, dem_units, findings)
    with Dem(files, working, vertical, findings, allow_remote=allow_remote) as opened:
        cells = opened.grid.rows * opened.grid.columns
        is_coarse = cells > most_cells
        elevation_m, transform = opened.coarse(most_cells, part(progress, 0.0, 0.3))
        cell_m = float(np.sqrt(abs(transform.determinant)))
        size = f"cells averaged to {cell_m:.3g} m" if is_coarse else f"the full {cell_m:.3g} m grid"
        progress(0.3, f"tracing on {size}")
        lines = trace_grid(
            elevation_m,
            transform,
            opened.crs,
            min_area_km2,
            smooth_cells=smooth_cells,
            progress=part(progress, 0.3, 1.0),
        )
    if lines.empty:
        raise InputError(
            f"Nowhere in the DEM does {min_area_km2} km² drain together.",
            hint="Give a smaller --min-area-km2.",
            where=paths[0],
        )
    lines = lines.to_crs(working.output)
    lines.attrs.update(cell_m=cell_m, coarsened=is_coarse)
    return lines


def _box(files: Sequence[RasterFile]) -> Box:
    west, south, east, north = zip(*(file.box for file in files), strict=True)
    return min(west), min(south), max(east), max(north)
