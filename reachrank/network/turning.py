"""Cut lines that fall from both ends to the middle, or from the middle to both ends.

Joining through every place where two lines meet also joins two streams that meet at the edge of
the data, where what they flow into was left out, and two ditches that part on a divide. The
ground tells; see `reachrank.network.fall.turning_place`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reachrank.network.lines import XY, Line, canonical, cut

Floats = NDArray[np.float64]

REACH_STATIONS = 2.0
"""The end of an input line this many station steps from the turn is where it is cut."""


def cut_at_turns(
    lines: Sequence[Line],
    turn_share: Floats,
    station_counts: NDArray[np.int64],
    names: Sequence[str | None],
) -> tuple[list[Line], XY, list[int]]:
    """Cut lines where they turn.

    Parameters
    ----------
    lines
        Lines in canonical direction.
    turn_share
        Where each turns, as a share of its length; NaN for most.
    station_counts
        Stations at which each was measured, which is how exactly the place is known.
    names
        Name of each input row.

    Returns
    -------
    lines
        All lines in canonical direction, cut ones as their two parts, not in order.
    places
        float64, shape (cuts, 2): where they were cut. An end of an input line nearby, at which the
        name or the direction of drawing changes, is preferred to the nearest vertex.
    rows
        An input row for each cut.
    """
    done: list[Line] = []
    places: list[XY] = []
    rows: list[int] = []
    for line, share, count in zip(lines, turn_share.tolist(), station_counts.tolist(), strict=True):
        if not np.isfinite(share) or len(line.xy) < 3:
            done.append(line)
            continue
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
        at_m = share * along[-1]
        near_m = REACH_STATIONS * along[-1] / count
        ends_m = [end for end in _telling_ends_m(line, names) if abs(end - at_m) <= near_m]
        if ends_m:
            at_m = min(ends_m, key=lambda end: abs(end - at_m))
        vertex = 1 + int(np.argmin(np.abs(along[1:-1] - at_m)))
        done += [canonical(part) for part in cut(line, np.array([vertex], np.intp))]
        places.append(line.xy[vertex])
        rows.append(line.runs[0].row)
    return done, np.array(places).reshape(-1, 2), rows


def _telling_ends_m(line: Line, names: Sequence[str | None]) -> list[float]:
    """Distances along the line at which the name or the direction of drawing changes."""
    found = []
    along_m = 0.0
    for run, following in pairwise(line.runs):
        along_m += run.length_m
        if names[run.row] != names[following.row] or run.is_along != following.is_along:
            found.append(along_m)
    return found
