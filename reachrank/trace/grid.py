"""Stream lines from one grid of elevation."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from reachrank.progress import Progress, silent
from reachrank.trace.directions import flow_directions
from reachrank.trace.links import OPEN_CELLS, accumulate, smooth_line, stream_links


def trace_grid(
    elevation_m: NDArray[np.float32],
    transform: Affine,
    crs: CRS | None,
    min_area_km2: float,
    *,
    smooth_cells: float = 1.5,
    progress: Progress = silent,
) -> gpd.GeoDataFrame:
    """Draw stream lines where at least ``min_area_km2`` drains through.

    Parameters
    ----------
    elevation_m
        float32, shape (rows, columns), metres, NaN for no data.
    transform
        From column and row to coordinates in metres; not rotated.
    crs
        CRS of those coordinates.
    min_area_km2
        Streams begin where this much drains together.
    smooth_cells
        How strongly the stairs of the grid are smoothed, in cells.
    progress
        Told the share done.

    Returns
    -------
    geopandas.GeoDataFrame
        One line for each link between heads and confluences, drawn downstream, by falling area:
        stream_order, drainage_area_km2 (at the lower end), is_area_cut (the catchment leaves the
        grid, so the area is a lower bound).

    Examples
    --------
    A valley of 1 km² that falls to the south; its floor is the only stream.

    >>> import numpy as np
    >>> from affine import Affine
    >>> row, column = np.mgrid[0:100, 0:101]
    >>> z = (0.02 * (99 - row) * 10 + 0.1 * np.abs(column - 50) * 10).astype("float32")
    >>> lines = trace_grid(z, Affine(10, 0, 0, 0, -10, 1000), None, 0.3)
    >>> len(lines)  # the floor, from where 0.3 km² has gathered to the edge
    1
    """
    cell_x = float(np.hypot(transform.a, transform.d))  # also on a turned grid
    cell_y = float(np.hypot(transform.b, transform.e))
    cell_km2 = cell_x * cell_y / 1e6
    progress(0.0, "flow directions")
    code = flow_directions(elevation_m, cell_x, cell_y)
    progress(0.7, "flow accumulation")
    water = accumulate(code, elevation_m, min_area_km2 / cell_km2)
    progress(0.9, "stream lines")
    columns = elevation_m.shape[1]
    rows_of: list[dict[str, object]] = []
    for cells in stream_links(water):
        row, column = np.divmod(cells, columns)
        x = transform.a * (column + 0.5) + transform.b * (row + 0.5) + transform.c
        y = transform.d * (column + 0.5) + transform.e * (row + 0.5) + transform.f
        xy = smooth_line(np.column_stack([x, y]), float(np.sqrt(cell_x * cell_y)), smooth_cells)
        last = cells[-1] if water.below[cells[-1]] == cells[-1] else cells[-2]
        rows_of.append(
            {
                "stream_order": int(water.order[cells[0]]),
                "drainage_area_km2": float(water.cells_above[last] * cell_km2),
                "is_area_cut": bool(water.open_above[last] >= OPEN_CELLS),
                "geometry": shapely.linestrings(xy),
            }
        )
    rows_of.sort(key=lambda r: (-r["drainage_area_km2"], r["geometry"].wkb))  # type: ignore[operator, attr-defined]
    progress(1.0, "stream lines")
    names = ["stream_order", "drainage_area_km2", "is_area_cut", "geometry"]
    columns_of = {name: [row[name] for row in rows_of] for name in names}
    return gpd.GeoDataFrame(columns_of, geometry="geometry", crs=crs)
