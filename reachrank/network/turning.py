"""Cut lines that fall from both ends to the middle, or from the middle to both ends.

Joining through every place where two lines meet also joins two streams that meet at the edge of
the data, where what they flow into was left out, and two ditches that part on a divide. The
ground tells; see `reachrank.network.fall.turning_place`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reachrank.network.lines import XY, Line, canonical
from reachrank.network.snapping import cut_at_distances

Floats = NDArray[np.float64]

REACH_STATIONS = 2.0
"""The end of an input line this many station steps from the turn is where it is cut."""


@dataclass(frozen=True)
class Turns:
    """Lines after cutting, in canonical direction and no order; where, and an input row each.

    ``parts`` are those that were cut; ``whole`` tells which of the given lines were not.
    """

    parts: list[Line]
    whole: NDArray[np.bool_]
    places: XY
    rows: list[int]


def cut_at_turns(
    lines: Sequence[Line],
    turn_share: Floats,
    station_counts: NDArray[np.int64],
    names: Sequence[str | None],
) -> Turns:
    """Cut lines where they turn.

    An end of an input line nearby is preferred to the place measured, which is known no better
    than to a station step.

    Parameters
    ----------
    lines
        Lines in canonical direction.
    turn_share
        Where each turns, as a share of its length; NaN for most.
    station_counts
        Stations at which each was measured.
    names
        Name of each input row.
    """
    parts: list[Line] = []
    places: list[XY] = []
    rows: list[int] = []
    whole = ~np.isfinite(turn_share)
    for number in np.flatnonzero(~whole).tolist():
        line, length_m = lines[number], lines[number].length_m
        at_m = turn_share[number] * length_m
        near_m = REACH_STATIONS * length_m / station_counts[number]
        ends = [
            (telling, abs(end_m - at_m), end_m)
            for telling, end_m in _ends_of_rows(line, names)
            if abs(end_m - at_m) <= near_m
        ]
        if ends:
            at_m = min(ends)[-1]
        two = cut_at_distances(line, [at_m])
        parts += [canonical(part) for part in two]
        places.append(two[0].xy[-1])
        rows.append(line.runs[0].row)
    return Turns(parts, whole, np.array(places).reshape(-1, 2), rows)


def halve_loops(lines: Sequence[Line]) -> tuple[list[Line], list[Line]]:
    """Cut lines that end where they start half way round; return all lines, and the loops."""
    done: list[Line] = []
    loops: list[Line] = []
    for line in lines:
        if np.array_equal(line.xy[0], line.xy[-1]):
            loops.append(line)
            done += [canonical(half) for half in cut_at_distances(line, [line.length_m / 2])]
        else:
            done.append(line)
    return done, loops


def _ends_of_rows(line: Line, names: Sequence[str | None]) -> list[tuple[int, float]]:
    """Find the ends of input lines along the line: how telling, 0 most, and the distance.

    Two streams that meet most likely change the name there, and next likely the direction of
    drawing.
    """
    found = []
    along_m = 0.0
    for run, following in pairwise(line.runs):
        along_m += run.length_m
        if names[run.row] != names[following.row]:
            found.append((0, along_m))
        elif run.is_along != following.is_along:
            found.append((1, along_m))
        else:
            found.append((2, along_m))
    return found
