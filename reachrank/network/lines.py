"""A line on its way from the input layer to an edge, and what it is made of.

Every line is kept in a canonical direction, set by its coordinates alone, so that no later sum
depends on the way it was drawn or on the order of the rows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

XY = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Run:
    """A length of one input line: its row, whether it was drawn along the line, its length."""

    row: int
    is_along: bool
    length_m: float


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Coordinates, shape (n, 2) in metres, and the runs of input lines that it covers."""

    xy: XY
    runs: tuple[Run, ...]

    @property
    def length_m(self) -> float:
        """Length in metres."""
        return length(self.xy)

    def turned(self) -> Line:
        """Return the same line drawn the other way."""
        runs = tuple(Run(r.row, not r.is_along, r.length_m) for r in reversed(self.runs))
        return Line(np.ascontiguousarray(self.xy[::-1]), runs)

    def with_xy(self, xy: XY) -> Line:
        """Return the line with other coordinates, the runs' lengths scaled to them."""
        old = sum(run.length_m for run in self.runs)
        scale = length(xy) / old if old > 0 else 1.0
        runs = tuple(Run(r.row, r.is_along, r.length_m * scale) for r in self.runs)
        return Line(xy, runs)


def length(xy: XY) -> float:
    """Length of a line in metres, exactly the same for both directions."""
    return float(np.sum(np.sort(np.hypot(*np.diff(xy, axis=0).T))))


def without_repeats(xy: XY) -> XY:
    """Drop vertices that repeat the one before."""
    keep = np.concatenate([[True], np.any(xy[1:] != xy[:-1], axis=1)])
    return np.ascontiguousarray(xy[keep])


def runs_forward(xy: XY) -> bool:
    """Tell whether the coordinates come in canonical order.

    The first end has the smaller x, then y. Where the ends agree the next vertices from both
    ends decide.
    """
    first, last = xy[0].tolist(), xy[-1].tolist()
    if first != last:
        return bool(first < last)
    differs = np.flatnonzero(np.any(xy != xy[::-1], axis=1))
    if len(differs) == 0:
        return True
    return bool(xy[differs[0]].tolist() < xy[-1 - differs[0]].tolist())


def canonical(line: Line) -> Line:
    """Return the line in its canonical direction."""
    return line if runs_forward(line.xy) else line.turned()


def in_order(lines: Iterable[Line]) -> list[Line]:
    """Sort lines by place: first and last vertex, then number of vertices, then every vertex."""

    def place(line: Line) -> tuple[float | bytes, ...]:
        return (*line.xy[0].tolist(), *line.xy[-1].tolist(), len(line.xy), line.xy.tobytes())

    return sorted(lines, key=place)


def join(first: Line, second: Line) -> Line:
    """Join two lines where the first ends and the second starts."""
    return Line(np.concatenate([first.xy, second.xy[1:]]), first.runs + second.runs)


def cut(line: Line, at_vertices: NDArray[np.intp]) -> list[Line]:
    """Cut a line at inner vertices, given by index in rising order.

    The runs are handed out by length, so each part knows which input lines it covers.
    """
    bounds = [0, *at_vertices.tolist(), len(line.xy) - 1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
    total = sum(run.length_m for run in line.runs)
    scale = along[-1] / total if total > 0 else 1.0
    run_ends = np.cumsum([run.length_m for run in line.runs]) * scale
    parts = []
    for start, stop in pairwise(bounds):
        low, high = along[start], along[stop]
        runs = []
        for run, end in zip(line.runs, run_ends, strict=True):
            begin = end - run.length_m * scale
            shared = min(end, high) - max(begin, low)
            if shared > 1e-9 * max(along[-1], 1.0):
                runs.append(Run(run.row, run.is_along, float(shared)))
        parts.append(
            Line(np.ascontiguousarray(line.xy[start : stop + 1]), tuple(runs) or line.runs)
        )
    return parts
