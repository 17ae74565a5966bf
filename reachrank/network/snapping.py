"""Bring together ends that were meant to meet: end to end, and end to the side of a line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from reachrank.apart import distance_to_line_m
from reachrank.network.lines import XY, Line, canonical, cut, in_order, length, without_repeats
from reachrank.network.noding import ends

ROUNDS = 4
"""Joining an end to a side can leave a stub shorter than the tolerance; a few rounds clear them."""

SAME_PLACE_M = 1e-6
"""A cut this close to a vertex is made at the vertex."""


@dataclass(frozen=True)
class Snapped:
    """The lines after snapping, and what was done: ends moved, and stubs too short to keep."""

    lines: list[Line]
    moved: list[tuple[Line, XY]]
    collapsed: list[Line]


def snap(lines: Sequence[Line], tolerance_m: float) -> Snapped:
    """Join ends within the tolerance of another end, or else of the side of another line.

    Parameters
    ----------
    lines
        Lines in canonical direction that already share their exact end coordinates where they meet.
    tolerance_m
        Greatest distance that an end is moved by one joining, in metres.

    Returns
    -------
    Snapped
        Lines cut where an end was joined to their side. Two ends are brought together only if one
        of them is loose, or if a line shorter than the tolerance joins them: junctions that are
        already connected are left where they are.
    """
    current, moved, collapsed = list(lines), [], []
    if tolerance_m <= 0:
        return Snapped(in_order(current), [], [])
    for _ in range(ROUNDS):
        current, moved_ends, gone = _join_ends(current, tolerance_m)
        moved += moved_ends
        collapsed += gone
        current, moved_sides, is_changed = _join_sides(current, tolerance_m)
        moved += moved_sides
        if not is_changed and not gone and not moved_ends:
            break
    return Snapped(in_order(current), moved, collapsed)


@dataclass(frozen=True)
class _Nodes:
    """Places where lines end, sorted by x then y; how many ends meet; the nodes of each line."""

    xy: XY
    degree: NDArray[np.intp]
    of_line: NDArray[np.intp]


def _nodes(lines: Sequence[Line]) -> _Nodes:
    places = np.array([end for line in lines for end in ends(line)], float).reshape(-1, 2)
    unique, which, degree = np.unique(places, axis=0, return_inverse=True, return_counts=True)
    return _Nodes(unique, degree, which.reshape(-1, 2))


def _join_ends(
    lines: list[Line], tolerance_m: float
) -> tuple[list[Line], list[tuple[Line, XY]], list[Line]]:
    if not lines:
        return [], [], []
    nodes = _nodes(lines)
    lengths = np.array([line.length_m for line in lines])
    is_stub = lengths < tolerance_m
    pairs = _pairs_to_join(nodes, nodes.of_line[is_stub], tolerance_m)
    place = _cluster_places(nodes, pairs)
    current, moved, collapsed = [], [], []
    for number, line in enumerate(lines):
        start, stop = nodes.of_line[number]
        new_start, new_stop = place[start], place[stop]
        if is_stub[number] and np.array_equal(new_start, new_stop):
            collapsed.append(line)
            continue
        changed = line
        for end, old, new in ((0, nodes.xy[start], new_start), (-1, nodes.xy[stop], new_stop)):
            if not np.array_equal(old, new):
                changed = _with_end(changed, end, new, tolerance_m)
                moved.append((line, np.stack([old, new])))
        if len(changed.xy) < 2:
            collapsed.append(line)
        else:
            current.append(canonical(changed))
    return in_order(current), moved, collapsed


def _pairs_to_join(nodes: _Nodes, stubs: NDArray[np.intp], tolerance_m: float) -> NDArray[np.intp]:
    """Pairs of nodes: loose with loose, loose with its nearest junction, and both ends of stubs."""
    pairs = cKDTree(nodes.xy).query_pairs(tolerance_m, output_type="ndarray").astype(np.intp)
    is_loose = nodes.degree[pairs] == 1
    both_loose = pairs[is_loose.all(axis=1)]
    mixed = is_loose.sum(axis=1) == 1
    loose = np.where(is_loose[mixed, 0], pairs[mixed, 0], pairs[mixed, 1])
    firm = np.where(is_loose[mixed, 0], pairs[mixed, 1], pairs[mixed, 0])
    order = np.lexsort((firm, np.hypot(*(nodes.xy[loose] - nodes.xy[firm]).T), loose))
    _, nearest = np.unique(loose[order], return_index=True)
    to_firm = np.column_stack([loose, firm])[order][nearest]
    return np.concatenate([both_loose, to_firm, stubs[stubs[:, 0] != stubs[:, 1]]])


def _cluster_places(nodes: _Nodes, pairs: NDArray[np.intp]) -> XY:
    """One place for each group of nodes: the mean of those where most lines meet."""
    count = len(nodes.xy)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, group = connected_components(graph, directed=False)
    place = nodes.xy.copy()
    members: dict[int, list[int]] = defaultdict(list)
    for node in np.unique(pairs).tolist():
        members[int(group[node])].append(node)
    for found in members.values():
        degree = nodes.degree[found]
        chosen = [node for node, d in zip(found, degree, strict=True) if d == degree.max()]
        place[found] = nodes.xy[chosen[0]] if len(chosen) == 1 else nodes.xy[chosen].mean(axis=0)
    return place


def _with_end(line: Line, end: int, new: XY, tolerance_m: float) -> Line:
    """Move one end; vertices within the tolerance of its new place go, so that no hook is left."""
    xy = line.xy if end == 0 else line.xy[::-1]
    near = np.hypot(*(xy - new).T) <= tolerance_m
    near[0] = True
    keep_from = int(np.argmin(near)) if not near.all() else len(xy) - 1
    xy = without_repeats(np.vstack([new, xy[keep_from:]]))
    if len(xy) < 2:
        return Line(xy, line.runs)
    return line.with_xy(xy if end == 0 else np.ascontiguousarray(xy[::-1]))


def _join_sides(
    lines: list[Line], tolerance_m: float
) -> tuple[list[Line], list[tuple[Line, XY]], bool]:
    """Lead loose ends to the nearest place on the side of another line, and cut it there."""
    if not lines:
        return [], [], False
    nodes = _nodes(lines)
    owner, end = np.nonzero(nodes.degree[nodes.of_line] == 1)
    loose = nodes.xy[nodes.of_line[owner, end]]
    shapes = shapely.linestrings(
        np.concatenate([line.xy for line in lines]),
        indices=np.repeat(np.arange(len(lines)), [len(line.xy) for line in lines]),
    )
    points = shapely.points(loose)
    which, host = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=tolerance_m)
    is_other = host != owner[which]
    which, host = which[is_other], host[is_other]
    apart = shapely.distance(points[which], shapes[host])
    nearest = np.lexsort((host, apart, which))
    which, host = which[nearest], host[nearest]
    is_first = (
        np.concatenate([[True], which[1:] != which[:-1]]) if len(which) else np.zeros(0, bool)
    )
    which, host = which[is_first], host[is_first]
    cuts: dict[int, list[float]] = defaultdict(list)
    new_end: dict[tuple[int, int], XY] = {}
    along = shapely.line_locate_point(shapes[host], points[which])
    for point, line, distance in zip(which.tolist(), host.tolist(), along.tolist(), strict=True):
        if not 0.0 < distance < lines[line].length_m:
            continue
        cuts[line].append(distance)
        new_end[int(owner[point]), int(end[point])] = _place_along(lines[line].xy, distance)
    current, moved = [], []
    for number, line in enumerate(lines):
        changed = line
        for which_end, index in ((0, 0), (1, -1)):
            new = new_end.get((number, which_end))
            if new is not None:
                moved.append((line, np.stack([line.xy[index], new])))
        if number in cuts:
            parts = cut_at_distances(changed, sorted(set(cuts[number])))
        else:
            parts = [changed]
        if (number, 0) in new_end:
            parts[0] = _with_end(parts[0], 0, new_end[number, 0], tolerance_m)
        if (number, 1) in new_end:
            parts[-1] = _with_end(parts[-1], -1, new_end[number, 1], tolerance_m)
        current += [canonical(part) for part in parts if len(part.xy) > 1]
    return in_order(current), moved, bool(cuts)


def _place_along(xy: XY, distance_m: float) -> XY:
    steps = np.hypot(*np.diff(xy, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = min(max(int(np.searchsorted(along, distance_m, side="right")) - 1, 0), len(steps) - 1)
    for vertex in (at, at + 1):
        if abs(distance_m - along[vertex]) < SAME_PLACE_M:
            same: XY = xy[vertex].copy()
            return same
    part = (distance_m - along[at]) / steps[at]
    place: XY = xy[at] + part * (xy[at + 1] - xy[at])
    return place


def cut_at_distances(line: Line, distances_m: list[float]) -> list[Line]:
    """Cut at distances along the line, adding a vertex at each."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    places = np.array([_place_along(line.xy, distance) for distance in distances_m])
    at = np.searchsorted(along, distances_m, side="right")
    xy = np.insert(line.xy, at, places, axis=0)
    keep = np.concatenate([[True], np.any(xy[1:] != xy[:-1], axis=1)])
    xy = xy[keep]
    vertices = []
    for place in places:
        same = np.flatnonzero(np.all(xy == place, axis=1))
        same = same[(same > 0) & (same < len(xy) - 1)]
        if len(same):
            vertices.append(int(same[0]))
    return cut(Line(xy, line.runs), np.array(sorted(set(vertices)), np.intp))


def without_near_copies(lines: Sequence[Line], tolerance_m: float) -> tuple[list[Line], list[Line]]:
    """Leave out lines that run beside another between the same two ends, within the tolerance."""
    by_ends: dict[tuple[object, object], list[Line]] = defaultdict(list)
    for line in in_order(lines):
        first, last = sorted(ends(line))
        by_ends[first, last].append(line)
    kept, copies = [], []
    for same in by_ends.values():
        chosen: list[Line] = []
        for line in sorted(same, key=lambda one: (length(one.xy), one.xy.tobytes())):
            if any(_is_beside(line.xy, other.xy, tolerance_m) for other in chosen):
                copies.append(line)
            else:
                chosen.append(line)
        kept += chosen
    return in_order(kept), copies


_PIECES = 10
"""A long segment is looked at in so many places."""


def _is_beside(one: XY, other: XY, tolerance_m: float) -> bool:
    """Tell whether every place of each line lies within the tolerance of the other one."""
    return all(_lies_along(*pair, tolerance_m) for pair in ((one, other), (other, one)))


def _lies_along(xy: XY, other: XY, tolerance_m: float) -> bool:
    way = np.diff(xy, axis=0)
    pieces = np.ceil(np.hypot(*way.T) / tolerance_m).clip(1, _PIECES).astype(np.intp)
    segment = np.repeat(np.arange(len(way)), pieces)
    share = (np.arange(len(segment)) - (np.cumsum(pieces) - pieces)[segment]) / pieces[segment]
    places = np.vstack([xy[segment] + share[:, None] * way[segment], xy[-1:]])
    return bool((distance_to_line_m(places, other) <= tolerance_m).all())
