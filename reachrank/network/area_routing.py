"""Drainage area of edges by flow routing, where no attribute or raster gives it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
import pyflwdir
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import rasterize

from reachrank.network.flow import Flow, is_diversion
from reachrank.network.graph import Ints
from reachrank.network.lines import XY
from reachrank.trace.directions import NO_DATA, flow_directions, open_border
from reachrank.trace.links import OPEN_CELLS

Floats = NDArray[np.float64]

BORDER_CELLS = 2
"""A stream that begins this near the border of the data comes from outside."""


@dataclass(frozen=True)
class RoutedArea:
    """Area at the lower end of each edge, NaN outside the data, and whether the data cut it off."""

    area_km2: Floats
    is_cut: NDArray[np.bool_]


def routed_area(
    lines: Sequence[XY],
    flow: Flow,
    main_out: Ints,
    elevation_m: NDArray[np.float32],
    *,
    transform: Affine,
    burn_m: float,
) -> RoutedArea:
    """Route water over a grid to the edges, and on along the network.

    Each cell drains down the grid until it meets an edge and belongs to that edge; from there the
    areas are added up along the network itself, not along the cells, so that neighbouring
    channels cannot swap their water at a junction.

    Parameters
    ----------
    lines
        Coordinates of each edge, downstream, in the metres of ``transform``.
    flow, main_out
        The directed network and its main ways out.
    elevation_m
        float32, shape (rows, columns), NaN for no data; not changed.
    transform
        From column and row to metres.
    burn_m
        How far the cells under the lines are sunk first.
    """
    count = len(lines)
    if count == 0:
        return RoutedArea(np.empty(0), np.empty(0, bool))
    # edges further down are drawn later, so that a junction's cell is the lower edge's
    depth = np.empty(len(flow.into), np.int64)
    depth[flow.nodes_down] = np.arange(len(flow.nodes_down))
    drawing = np.argsort(depth[flow.upper], kind="stable")
    edge_at = (
        rasterize(
            [(shapely.linestrings(lines[edge]), int(edge) + 1) for edge in drawing.tolist()],
            out_shape=elevation_m.shape,
            transform=transform,
            fill=0,
            all_touched=True,
            dtype="int32",
        ).astype(np.int64)
        - 1
    )
    has_data = np.isfinite(elevation_m)
    edge_at[~has_data] = -1
    if not (edge_at >= 0).any():
        return RoutedArea(np.full(count, np.nan), np.zeros(count, bool))
    sunk = np.where(edge_at >= 0, elevation_m - np.float32(burn_m), elevation_m)
    cell_x = float(np.hypot(transform.a, transform.d))  # also on a turned grid
    cell_y = float(np.hypot(transform.b, transform.e))
    code = flow_directions(sunk, cell_x, cell_y)
    grid = pyflwdir.from_array(code, ftype="d8", check_ftype=False)
    label = edge_at.ravel().copy()
    label_upwards(label, np.asarray(grid.idxs_ds, np.int64))
    label[code.ravel() == NO_DATA] = -1
    is_labelled = label >= 0
    own_cells = np.bincount(label[is_labelled], minlength=count).astype(np.float64)
    own_km2 = own_cells * (cell_x * cell_y / 1e6)
    is_open = open_border(sunk, code).ravel() & is_labelled
    open_cells = np.bincount(label[is_open], minlength=count)
    comes_in = _begins_at_border(lines, flow, has_data, transform)
    area = accumulate_area(flow, main_out, own_km2)
    is_cut = _carried(flow, comes_in, open_cells)
    touched = np.bincount(edge_at[edge_at >= 0], minlength=count) > 0
    return RoutedArea(np.where(touched & (area > 0), area, np.nan), is_cut)


@numba.njit(cache=True, nogil=True)
def label_upwards(label, below):  # type: ignore[no-untyped-def]
    """Give each cell without a label (-1) that of the first cell below it that has one.

    ``below`` is the next cell down, a cell itself where water leaves the grid, below 0 without
    data. From each cell the way down is followed to where the label is known, and then given to all
    of the way, so that no cell is passed twice.
    """
    none = -2  # passed, and no label found below
    for start in range(label.size):
        cell = start
        while label[cell] == -1:
            label[cell] = none
            if below[cell] < 0:
                break
            cell = below[cell]
        found, end = label[cell], cell
        cell = start
        while found >= 0 and cell != end:
            label[cell] = found
            cell = below[cell]
    for cell in range(label.size):
        if label[cell] == none:
            label[cell] = -1


def accumulate_area(flow: Flow, main_out: Ints, own_km2: Floats) -> Floats:
    """Add areas up along the network.

    The main way out of a node carries on all that drains to the node. A diversion is given the
    whole area too, but does not hand it on: where it comes back only what joined it on its own
    way counts. The area never falls on the way down.
    """
    diverted = is_diversion(flow, main_out)
    counting, total = own_km2.copy(), own_km2.copy()
    for node in flow.nodes_down:
        arriving = flow.into[node]
        if not arriving:
            continue
        gathered = float(np.sum(np.sort(counting[arriving])))
        here = max(gathered, float(np.max(total[arriving])))
        for edge in flow.out_of[node]:
            total[edge] = here + own_km2[edge]
            if not diverted[edge]:
                counting[edge] = gathered + own_km2[edge]
    return total


def _carried(flow: Flow, comes_in: NDArray[np.bool_], open_cells: Ints) -> NDArray[np.bool_]:
    """Tell which edges lie below a place where water may come in from outside the data."""
    opened = open_cells.astype(np.int64)
    is_cut = comes_in.copy()
    for node in flow.nodes_down:
        arriving = flow.into[node]
        if not arriving:
            continue
        above = int(opened[arriving].sum())
        for edge in flow.out_of[node]:
            opened[edge] += above
            is_cut[edge] |= bool(is_cut[arriving].any())
    result: NDArray[np.bool_] = is_cut | (opened >= OPEN_CELLS)
    return result


def _begins_at_border(
    lines: Sequence[XY], flow: Flow, has_data: NDArray[np.bool_], transform: Affine
) -> NDArray[np.bool_]:
    """Tell which edges have no edge above them and begin at or beyond the border of the data."""
    tops = np.array([xy[0] for xy in lines])
    back = ~transform
    column = back.a * tops[:, 0] + back.b * tops[:, 1] + back.c
    row = back.d * tops[:, 0] + back.e * tops[:, 1] + back.f
    found = np.zeros(len(lines), bool)
    rows, columns = has_data.shape
    for edge, (i, j) in enumerate(zip(np.floor(row), np.floor(column), strict=True)):
        if flow.into[flow.upper[edge]]:
            continue
        low_i, low_j = int(i) - BORDER_CELLS, int(j) - BORDER_CELLS
        high_i, high_j = int(i) + BORDER_CELLS + 1, int(j) + BORDER_CELLS + 1
        is_inside = low_i >= 0 and low_j >= 0 and high_i <= rows and high_j <= columns
        found[edge] = not (is_inside and has_data[low_i:high_i, low_j:high_j].all())
    return found
