"""Mend shapes that cross themselves, unless they are so tangled that it would take for ever."""

from __future__ import annotations

import inspect
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

FEW_POINTS = 100
"""Shapes up to this size are mended by their line work, which keeps every part; it takes about a
second at this size when all their sides cross, and grows with the square of the crossings."""
MOST_CROSSINGS = 50_000
"""A shape with more takes seconds and is no building and no soil area."""
_SAMPLE = 40
_BY_STRUCTURE: dict[str, Any] = (
    {"method": "structure", "keep_collapsed": True}
    if "method" in inspect.signature(shapely.make_valid).parameters  # shapely 2.1 and later
    else {}
)


def mended(geometry: shapely.Geometry) -> shapely.Geometry | None:
    """Return a valid geometry that covers the same ground; None for one too tangled.

    One with a coordinate that is no number covers no ground: it comes back empty.

    Examples
    --------
    >>> bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    >>> mended(bow).area  # two triangles of area 1
    2.0
    """
    if not np.isfinite(shapely.get_coordinates(geometry)).all():
        return shapely.GeometryCollection()
    if shapely.get_num_coordinates(geometry) <= FEW_POINTS:
        return shapely.make_valid(geometry)
    most = MOST_CROSSINGS if _BY_STRUCTURE else FEW_POINTS**2 / 4
    if crossings(geometry) > most:
        return None
    return shapely.make_valid(geometry, **_BY_STRUCTURE)


def crossings(geometry: shapely.Geometry) -> float:
    """Return about how often a shape's sides cross each other, from a sample of them."""
    sides = [_sides(shapely.get_coordinates(ring)) for ring in _rings(geometry)]
    every = np.concatenate(sides) if sides else np.empty((0, 2, 2))
    if not len(every):
        return 0.0
    segments = shapely.linestrings(every)
    picked = segments[np.unique(np.linspace(0, len(every) - 1, _SAMPLE).astype(np.int64))]
    hits = shapely.STRtree(segments).query(picked, predicate="crosses").shape[1]
    return float(0.5 * hits / len(picked) * len(every))


def _rings(geometry: shapely.Geometry) -> NDArray[Any]:
    parts = shapely.get_parts(shapely.get_parts(geometry))
    kind = shapely.get_type_id(parts)
    return np.concatenate([shapely.get_rings(parts[kind == 3]), parts[kind == 1]])


def _sides(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.stack([xy[:-1], xy[1:]], axis=1)
