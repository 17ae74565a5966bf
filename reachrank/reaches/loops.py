"""Loops of a line that is drawn through the tops of sections, cut out at their crossing.

On the inside of a bend that is tighter than the tops are far off, the line through the tops runs
past the place where the two banks meet, turns back, and crosses itself. What lies beyond the
crossing is no bank.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reachrank.reaches.stretches import stretches

Floats = NDArray[np.float64]


def without_loops(points: Floats, ahead: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the points with every loop pulled onto its crossing, and which points to keep.

    Parameters
    ----------
    points
        x and y in order, shape (n, 2).
    ahead
        Unit vectors of the direction in which the line ought to run at each, shape (n, 2).

    Returns
    -------
    points, keep
        A loop's points all lie on the crossing; its middle one is kept. Stretches that run
        backwards without crossing themselves are left alone.

    Notes
    -----
    Only near steps that run backwards is a crossing looked for: as many steps before and after
    as three times their number and ten more. Of several crossings the one that takes out most
    counts.
    """
    points, keep = points.copy(), np.ones(len(points), dtype=np.bool_)
    steps = np.diff(points, axis=0)
    direction = ahead[:-1] + ahead[1:]
    backward = (steps * direction).sum(axis=1) <= 0.0
    done = 0
    for first, stop in stretches(backward):
        if first < done:
            continue
        window = 3 * (stop - first) + 10
        low, high = max(done, first - window), min(len(steps), stop + window)
        crossing = _widest_crossing(points, np.arange(low, first + 1), np.arange(stop - 1, high))
        if crossing is None:
            continue
        i, j, place = crossing
        points[i + 1 : j + 1] = place
        keep[i + 1 : j + 1] = False
        keep[(i + 1 + j) // 2] = True
        done = j
    return points, keep


def _widest_crossing(
    points: Floats, before: NDArray[np.intp], after: NDArray[np.intp]
) -> tuple[int, int, Floats] | None:
    """Return the pair of steps, one of each set, that cross with most steps between, and where."""
    p, q = points[before][:, None], points[after][None, :]
    r, s = points[before + 1][:, None] - p, points[after + 1][None, :] - q
    apart = after[None, :] - before[:, None]
    area = r[..., 0] * s[..., 1] - r[..., 1] * s[..., 0]
    gap = q - p
    with np.errstate(divide="ignore", invalid="ignore"):
        along_r = (gap[..., 0] * s[..., 1] - gap[..., 1] * s[..., 0]) / area
        along_s = (gap[..., 0] * r[..., 1] - gap[..., 1] * r[..., 0]) / area
        crosses = (along_r >= 0) & (along_r <= 1) & (along_s >= 0) & (along_s <= 1) & (apart > 1)
    if not crosses.any():
        return None
    a, b = np.unravel_index(np.argmax(np.where(crosses, apart, -1)), apart.shape)
    place: Floats = points[before[a]] + along_r[a, b] * r[a, 0]
    return int(before[a]), int(after[b]), place
