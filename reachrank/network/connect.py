"""From cleaned input lines to lines that run from junction to junction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from reachrank.network.lines import XY, Line, Run, canonical, in_order, length, without_repeats
from reachrank.network.noding import (
    cut_at_shared_vertices,
    join_through,
    without_exact_copies,
)
from reachrank.network.snapping import snap, without_near_copies

IDLE_M = 1e-6
"""A vertex this close to the straight line is idle; coordinates are rounded to a nanometre."""


@dataclass(frozen=True)
class Connected:
    """Lines from junction to junction in canonical direction, by place; and what was done.

    ``snapped`` holds (row, from, to) of ends that were moved, ``copied_m`` and ``collapsed_m`` the
    length of each input row left out as a copy or as too short, ``crossings`` pairs of rows
    that cross without meeting and where. A line may still end where it starts.
    """

    lines: list[Line]
    snapped: list[tuple[int, XY]]
    copied_m: dict[int, float]
    collapsed_m: dict[int, float]
    crossings: list[tuple[int, int, XY]]


def connect(coordinates: Sequence[XY], tolerance_m: float) -> Connected:
    """Cut, snap and join lines so that each runs from junction to junction.

    Parameters
    ----------
    coordinates
        One array of shape (n, 2) for each input row, metres, at least two different vertices.
    tolerance_m
        Ends within this distance of another end or of a line's side are joined to it.

    Returns
    -------
    Connected
        The same, but for row numbers, for any order of the rows, any direction of drawing, and
        for lines handed over in pieces.
    """
    lines = []
    for row, raw in enumerate(coordinates):
        xy = without_repeats(np.asarray(raw, np.float64)[:, :2])
        if len(xy) > 1:
            lines.append(canonical(Line(xy, (Run(row, True, length(xy)),))))
    copied: dict[int, float] = defaultdict(float)
    collapsed: dict[int, float] = defaultdict(float)

    pieces, copies = without_exact_copies(cut_at_shared_vertices(in_order(lines)))
    _add_lengths(copied, copies)
    result = snap(_without_idle_vertices(join_through(pieces)), tolerance_m)
    _add_lengths(collapsed, result.collapsed)
    pieces, copies = without_exact_copies(result.lines)
    _add_lengths(copied, copies)
    pieces, copies = without_near_copies(pieces, tolerance_m)
    _add_lengths(copied, copies)
    pieces = join_through(pieces)
    snapped = sorted(
        {(_row_at(line, ends[0]), tuple(ends[0]), tuple(ends[1])) for line, ends in result.moved}
    )
    return Connected(
        pieces,
        [(row, np.array([old, new])) for row, old, new in snapped],
        dict(copied),
        dict(collapsed),
        _crossings(pieces),
    )


def _without_idle_vertices(lines: Sequence[Line]) -> list[Line]:
    """Drop vertices that lie on the straight line between their neighbours.

    Without this the place where a line was once cut would still tell in what snapping does to it.
    """
    shapes = [shapely.linestrings(line.xy) for line in lines]
    simple = shapely.simplify(shapes, IDLE_M, preserve_topology=False)
    return in_order(
        line.with_xy(shapely.get_coordinates(shape))
        for line, shape in zip(lines, simple, strict=True)
    )


def _add_lengths(total: dict[int, float], lines: Sequence[Line]) -> None:
    for line in lines:
        for run in line.runs:
            total[run.row] += run.length_m


def _row_at(line: Line, place: XY) -> int:
    """Return the input row at that end of the line."""
    to_first, to_last = np.hypot(*(line.xy[0] - place)), np.hypot(*(line.xy[-1] - place))
    return line.runs[0].row if to_first <= to_last else line.runs[-1].row


def _crossings(lines: Sequence[Line]) -> list[tuple[int, int, XY]]:
    """Find pairs of lines that cross without a shared vertex, and one place where they do."""
    if not lines:
        return []
    shapes: NDArray[np.object_] = np.array([shapely.linestrings(line.xy) for line in lines])
    first, second = shapely.STRtree(shapes).query(shapes, predicate="crosses")
    once = first < second
    first, second = first[once], second[once]
    places = shapely.get_coordinates(
        shapely.point_on_surface(shapely.intersection(shapes[first], shapes[second]))
    )
    return [
        (lines[a].runs[0].row, lines[b].runs[0].row, place)
        for a, b, place in zip(first.tolist(), second.tolist(), places, strict=True)
    ]
