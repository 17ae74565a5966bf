"""Where along a channel the sections go."""

from __future__ import annotations

import numpy as np
import rtree
import shapely
from numpy.typing import NDArray

from reachrank.channel.line import same_both_ways
from reachrank.whole_numbers import nearest

Float = NDArray[np.float64]


def section_spacing_m(spacing_m: float, toe_width_m: float, cell_m: float) -> float:
    """Return the spacing: the wanted one, at most one toe width, at least two cells.

    The toe width counts in half cells, so that a hair of it does not move every section.
    """
    if not np.isfinite(toe_width_m):
        return max(spacing_m, 2.0 * cell_m)
    width = nearest(2.0 * toe_width_m / cell_m) * cell_m / 2.0
    return max(min(spacing_m, width), 2.0 * cell_m)


def section_points(length_m: float, count: int, spacing_m: float) -> NDArray[np.int64]:
    """Return the point numbers, of ``count`` even points along a line, that carry a section.

    Sections lie in the middle of equal pieces about ``spacing_m`` long, so that every part of the
    line is nearest to one section and reversing the line changes none.
    """
    pieces = max(1, nearest(length_m / spacing_m))
    return same_both_ways(2 * np.arange(pieces) + 1, 2 * pieces, count)


def _cross(one: Float, other: Float) -> NDArray[np.bool_]:
    """Return which pairs of straight lines cross, given their ends, shapes (n, 2, 2)."""

    def sides(line: Float, ends: Float) -> Float:
        # on which sides of a line the ends of the other lie
        way = line[:, 1] - line[:, 0]
        to = ends - line[:, :1]
        return np.asarray(way[:, :1] * to[..., 1] - way[:, 1:] * to[..., 0])

    return np.asarray((sides(one, other).prod(1) < 0) & (sides(other, one).prod(1) < 0))


def without_crossings(lines: NDArray[np.object_], quality: Float) -> NDArray[np.bool_]:
    """Return which sections of one stream to keep so that no two of them cross.

    Sections end within the room that their part of the stream has, so nearly none do; tops taken
    over from neighbours (a running median) can still reach a little too far in a tight bend.

    Parameters
    ----------
    lines
        Section lines, shape (n,), ordered along the stream.
    quality
        Of two that cross, the one of higher quality stays; of equals, the first.
    """
    keep = np.ones(len(lines), np.bool_)
    first, second = shapely.STRtree(lines).query(lines)
    first, second = first[first < second], second[first < second]
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    do = _cross(ends[first], ends[second])
    in_doubt = np.unique(np.concatenate([first[do], second[do]]))
    if not in_doubt.size:
        return keep
    # an index that grows: each section is held against those that have been kept so far
    kept = rtree.index.Index()
    for k in in_doubt[np.argsort(-quality[in_doubt], kind="stable")]:
        near = list(kept.intersection(lines[k].bounds))
        if near and shapely.crosses(lines[near], lines[k]).any():
            keep[k] = False
        else:
            kept.insert(int(k), lines[k].bounds)
    return keep
