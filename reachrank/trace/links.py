"""Stream links on a grid: cells in a row from a head or a confluence to the next confluence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyflwdir
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from shapely import LineString

from reachrank.trace.directions import open_border

Ints = NDArray[np.int64]

OPEN_CELLS = 5
"""A catchment counts as cut where water may come in from outside through this many cells; fewer
are the roughness of a divide that happens to follow the border."""


@dataclass(frozen=True)
class Water:
    """What drains where on a grid.

    Attributes
    ----------
    below
        int64, shape (cells,): the next cell down, the cell itself where water leaves the grid, -1
        without data.
    down_to_up
        int64: the cells with data, each after the one below it.
    cells_above
        float64, shape (cells,): number of cells that drain through each, itself included.
    open_above
        float64, shape (cells,): of these, how many let water in from outside.
    order
        int64, shape (cells,): Strahler order of stream cells, 0 elsewhere.
    """

    below: Ints
    down_to_up: Ints
    cells_above: NDArray[np.float64]
    open_above: NDArray[np.float64]
    order: Ints


def accumulate(
    code: NDArray[np.uint8], elevation_m: NDArray[np.float32], least_cells: float
) -> Water:
    """Add up what drains where; streams begin where ``least_cells`` cells drain through."""
    grid = pyflwdir.from_array(code, ftype="d8", check_ftype=False)
    area = np.asarray(grid.upstream_area(), np.float64).ravel()
    is_open = open_border(elevation_m, code).astype(np.float64)
    open_above = np.asarray(grid.accuflux(is_open, nodata=-9999.0), np.float64).ravel()
    is_stream = (area >= max(least_cells, 1.0)).reshape(code.shape)
    order = np.zeros(code.size, np.int64)
    if is_stream.any():
        order = np.asarray(grid.stream_order(mask=is_stream), np.int64).ravel()
        order[~is_stream.ravel()] = 0
    below = np.asarray(grid.idxs_ds, np.int64).copy()
    below[code.ravel() == 247] = -1
    return Water(below, np.asarray(grid.idxs_seq, np.int64), area, open_above, order)


def stream_links(water: Water) -> list[Ints]:
    """Cut the streams at heads and confluences.

    Returns
    -------
    list
        For each link its cells going down. The last cell is that of the confluence it flows into,
        or the one where water leaves the grid. Links come by their first cell.
    """
    is_stream = water.order > 0
    cells = np.flatnonzero(is_stream)
    below = water.below[cells]
    goes_on = below != cells
    arriving = np.bincount(below[goes_on], minlength=len(is_stream))
    heads = cells[arriving[cells] != 1]
    links = []
    for head in heads.tolist():
        path = [head]
        cell = head
        while True:
            following = int(water.below[cell])
            if following == cell:
                break
            path.append(following)
            cell = following
            if arriving[cell] != 1:
                break
        if len(path) > 1:
            links.append(np.array(path, np.int64))
    return links


def smooth_line(xy: NDArray[np.float64], cell_m: float, spread_cells: float) -> NDArray[np.float64]:
    """Take the stairs off a line that steps from cell to cell; its ends stay where they are.

    A Gaussian along the line: where the line bends with radius R it moves inwards by
    spread² / 2R, a third of a cell at the tightest bend a grid can show (R = 3 cells, spread 1.5).

    Parameters
    ----------
    xy
        float64, shape (n, 2).
    cell_m
        Cell size in metres.
    spread_cells
        Standard deviation of the Gaussian in cells; 0 leaves the line as it is.
    """
    step = 0.5 * cell_m
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    count = max(round(float(along[-1]) / step), 2)
    even = np.linspace(0.0, along[-1], count + 1)
    points = np.column_stack([np.interp(even, along, xy[:, 0]), np.interp(even, along, xy[:, 1])])
    if spread_cells <= 0:
        return xy.copy()
    # reflected through the end point at either end, so that the ends do not move
    reach = min(count, int(np.ceil(4 * spread_cells * cell_m / step)))
    before = 2 * points[0] - points[reach:0:-1]
    after = 2 * points[-1] - points[-2 : -reach - 2 : -1]
    longer = np.concatenate([before, points, after])
    smooth = gaussian_filter1d(longer, spread_cells * cell_m / step, axis=0, mode="nearest")
    smooth = smooth[reach : reach + len(points)]
    smooth[0], smooth[-1] = xy[0], xy[-1]
    thinned = LineString(smooth).simplify(0.05 * cell_m)
    return np.asarray(thinned.coords, np.float64)
