"""How far along a line of many vertices points lie."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Float = NDArray[np.float64]
Shapes = NDArray[np.object_]

TOGETHER = 256
"""Segments that are looked at together; a line of no more is looked at as a whole."""


def locate_along_m(line: shapely.LineString, points: Shapes) -> Float:
    """Return how far along a line the nearest place to each point lies, shape (n,), line units.

    What `shapely.line_locate_point` tells, which looks at every segment for every point: a line of
    a million vertices that leaves the DEM a thousand times would take minutes.

    Parameters
    ----------
    points
        Shape (n,), shapely points. Where several places are as near, the first along the line
        counts.
    """
    xy = shapely.get_coordinates(line)
    segments = len(xy) - 1
    if segments <= TOGETHER or len(points) < 2:
        located: Any = shapely.line_locate_point(line, points)
        return np.asarray(located, np.float64)
    first = np.arange(0, segments, TOGETHER)
    size = np.minimum(TOGETHER, segments - first) + 1  # neighbours share a vertex
    which = np.repeat(np.arange(first.size), size)
    vertex = np.arange(which.size) - which  # a shared vertex is there twice
    parts = shapely.linestrings(xy[vertex], indices=which)
    before_m = np.concatenate([[0.0], np.cumsum(shapely.length(parts))[:-1]])
    point, part = shapely.STRtree(parts).query_nearest(points, all_matches=True)
    along = before_m[part] + shapely.line_locate_point(parts[part], points[point])
    out = np.full(len(points), np.inf)
    np.minimum.at(out, point, along)
    return out
