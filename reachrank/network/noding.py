"""Cut lines where they share a vertex, drop what is there twice, and join them again.

After this a line runs from one place where the network branches or ends to the next, however the
input was cut into pieces.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from reachrank.network.lines import Line, canonical, cut, in_order, join

Place = tuple[float, float]


def ends(line: Line) -> tuple[Place, Place]:
    """First and last place of a line."""
    (x0, y0), (x1, y1) = line.xy[0].tolist(), line.xy[-1].tolist()
    return (x0, y0), (x1, y1)


def cut_at_shared_vertices(lines: Sequence[Line]) -> list[Line]:
    """Cut every line at inner vertices that are also a vertex elsewhere.

    A shared vertex is how a line layer says that two lines meet; lines that merely cross on the
    map without one (a ditch led over a pipe) stay whole.
    """
    if not lines:
        return []
    counts = np.array([len(line.xy) for line in lines])
    every = np.ascontiguousarray(np.concatenate([line.xy for line in lines])) + 0.0
    as_one = every.view(np.complex128).ravel()
    _, which, times = np.unique(as_one, return_inverse=True, return_counts=True)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    is_end = np.zeros(len(every), bool)
    is_end[starts] = True
    is_end[starts + counts - 1] = True
    shared: NDArray[np.bool_] = (times[which] > 1) & ~is_end
    cuts = np.flatnonzero(shared)
    owner = np.searchsorted(starts, cuts, side="right") - 1
    pieces: list[Line] = []
    by_owner: dict[int, list[int]] = defaultdict(list)
    for at, line in zip((cuts - starts[owner]).tolist(), owner.tolist(), strict=True):
        by_owner[line].append(at)
    for number, line in enumerate(lines):
        at_vertices = np.array(by_owner.get(number, []), np.intp)
        pieces += [canonical(_unfolded(piece)) for piece in cut(line, at_vertices)]
    return pieces


def _unfolded(line: Line) -> Line:
    """Let a line that goes out to one vertex and straight back go out only."""
    if len(line.xy) == 3 and np.array_equal(line.xy[0], line.xy[2]):
        return line.with_xy(line.xy[:2])
    return line


def without_exact_copies(lines: Sequence[Line]) -> tuple[list[Line], list[Line]]:
    """Return the lines with different coordinates, and the copies left out."""
    kept: dict[bytes, Line] = {}
    copies = []
    for line in in_order(lines):
        key = line.xy.tobytes()
        if key in kept:
            copies.append(line)
        else:
            kept[key] = line
    return list(kept.values()), copies


def join_through(lines: Sequence[Line]) -> list[Line]:
    """Join lines at every place where exactly two ends meet.

    A ring that nothing else touches starts at its vertex of smallest x, then y.
    """
    at_place: dict[Place, list[tuple[int, int]]] = defaultdict(list)
    line_ends = [ends(line) for line in lines]
    for number, (first, last) in enumerate(line_ends):
        at_place[first].append((number, 0))
        at_place[last].append((number, 1))
    is_used = [False] * len(lines)

    def walk(number: int, end: int) -> list[tuple[int, int]]:
        """Go on from this end of this line; (line, end it was entered by) until a junction."""
        found: list[tuple[int, int]] = []
        while True:
            here = at_place[line_ends[number][end]]
            if len(here) != 2:
                return found
            number, entered = here[1] if here[0] == (number, end) else here[0]
            if is_used[number]:
                return found
            is_used[number] = True
            found.append((number, entered))
            end = 1 - entered

    joined = []
    for number in range(len(lines)):
        if is_used[number]:
            continue
        is_used[number] = True
        after = walk(number, 1)
        before = walk(number, 0)
        chain = [_leaving(lines[n], entered) for n, entered in before]
        parts = [part.turned() for part in reversed(chain)]
        parts.append(lines[number])
        parts += [_leaving(lines[n], entered) for n, entered in after]
        joined.append(_joined(parts, at_place))
    return in_order(joined)


def _leaving(line: Line, entered: int) -> Line:
    return line if entered == 0 else line.turned()


def _joined(parts: list[Line], at_place: dict[Place, list[tuple[int, int]]]) -> Line:
    whole = parts[0]
    if len(parts) > 1:
        whole = Line(
            np.concatenate([parts[0].xy, *(part.xy[1:] for part in parts[1:])]),
            tuple(run for part in parts for run in part.runs),
        )
    first, last = ends(whole)
    if first == last and len(at_place[first]) == 2:
        whole = _ring_from_lowest(whole)
    return canonical(whole)


def _ring_from_lowest(ring: Line) -> Line:
    """Start a ring at its vertex of smallest x, then y."""
    inner = ring.xy[:-1]
    start = int(np.lexsort((inner[:, 1], inner[:, 0]))[0])
    if start == 0:
        return ring
    before, after = cut(ring, np.array([start], np.intp))
    return join(after, before)
