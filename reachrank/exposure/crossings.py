"""Roads and other long things where they cross the channel.

A bridge is not in the way of a bank that moves sideways as a house is: it spans the channel, its
abutments and fill are built for it, and its owner inspects it. Left in, every crossing would be at
distance 0 from four banks and come to the top of the list. So long things are left out around each
crossing, wherever they are cut into pieces, and each crossing is a finding that says so. Farther
along, the same road is judged like any other.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Crossings:
    """Where long things cross the channel.

    Attributes
    ----------
    points
        A point on the channel line for each structure and reach that cross; shape (k,).
    radius_m
        How far around it long things are left out; shape (k,).
    structure, reach
        Row numbers of the two; shape (k,).
    """

    points: Shapes
    radius_m: NDArray[np.float64]
    structure: NDArray[np.intp]
    reach: NDArray[np.intp]


def find_crossings(
    shapes: Shapes,
    is_long: NDArray[np.bool_],
    reaches: gpd.GeoDataFrame,
    widths: float,
    least_m: float,
) -> Crossings:
    """Return the crossings of long things with the reaches' channel lines.

    ``widths`` is the radius in top widths (toe widths where there is no top width), ``least_m``
    its least value.
    """
    long_rows = np.flatnonzero(is_long)
    lines = reaches.geometry.to_numpy()
    tree = shapely.STRtree(lines)
    in_long, reach = tree.query(shapes[long_rows], predicate="intersects")
    structure = long_rows[in_long]
    order = np.lexsort((reach, structure))
    structure, reach = structure[order], reach[order]
    common = shapely.intersection(shapes[structure], lines[reach])
    points = shapely.centroid(common)
    top = reaches["top_width_m"].fillna(reaches["toe_width_m"]).to_numpy(np.float64, na_value=0.0)
    half = shapely.length(common) / 2.0
    radius = np.maximum(widths * top[reach], least_m) + half
    return Crossings(points, radius, structure, reach)


def pieces(
    shapes: Shapes,
    is_long: NDArray[np.bool_],
    reaches: gpd.GeoDataFrame,
    crossings: Crossings | None,
) -> tuple[Shapes, NDArray[np.intp]]:
    """Return the structures in single pieces, and the row of the structure each belongs to.

    Long things are cut where they cross the channel, so that each piece lies on one side of it:
    with ``crossings``, what lies around them is left out; without, they are cut at the channel
    line alone. None and empty shapes have no pieces.
    """
    cut = shapes.copy()
    if crossings is None:
        cutters = reaches.geometry.to_numpy()
    else:
        cutters = shapely.buffer(crossings.points, crossings.radius_m, quad_segs=16)
    long_rows = np.flatnonzero(is_long)
    in_long, cutter = shapely.STRtree(cutters).query(shapes[long_rows], predicate="intersects")
    order = np.lexsort((cutter, in_long))
    rows, starts = np.unique(in_long[order], return_index=True)
    cutter = cutter[order]
    for row, start, stop in zip(rows, starts, np.append(starts, cutter.size)[1:], strict=True):
        structure, around = long_rows[row], cutter[start:stop]
        cut[structure] = shapely.difference(cut[structure], shapely.union_all(cutters[around]))
    parts, owner = shapely.get_parts(cut, return_index=True)
    keep = ~shapely.is_empty(parts)
    return parts[keep], owner[keep]
