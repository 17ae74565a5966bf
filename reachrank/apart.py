"""How far points along one line are from another line that runs beside it."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

_TOGETHER = 32
"""Points, and segments, that are looked at together."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _to_segment(px, py, ax, ay, bx, by):  # type: ignore[no-untyped-def]
    # squared distance from a point to a segment
    dx = bx - ax
    dy = by - ay
    square = dx * dx + dy * dy
    t = 0.0
    if square > 0.0:
        t = min(1.0, max(0.0, ((px - ax) * dx + (py - ay) * dy) / square))
    ex = px - ax - t * dx
    ey = py - ay - t * dy
    return ex * ex + ey * ey


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _fill_distance(x, y, lx, ly, out):  # type: ignore[no-untyped-def]
    segments = lx.size - 1
    groups = -(-segments // _TOGETHER)
    box = np.empty((groups, 4))
    for g in range(groups):
        first = g * _TOGETHER
        last = min(segments, first + _TOGETHER)
        box[g, 0] = lx[first : last + 1].min()
        box[g, 1] = ly[first : last + 1].min()
        box[g, 2] = lx[first : last + 1].max()
        box[g, 3] = ly[first : last + 1].max()
    near = np.empty(segments, np.int64)
    for start in range(0, x.size, _TOGETHER):
        end = min(x.size, start + _TOGETHER)
        middle = (start + end) // 2
        reach = 0.0  # no point of these is farther from the middle one
        for i in range(start, end):
            reach = max(reach, np.hypot(x[i] - x[middle], y[i] - y[middle]))
        # the middle point's distance; what is farther by twice the reach is nearest to none of them
        least = np.inf
        for turn in range(2):
            count = 0
            limit = least if turn == 0 else np.sqrt(least) + 2.0 * reach + 1e-6
            for g in range(groups):
                ex = max(box[g, 0] - x[middle], 0.0, x[middle] - box[g, 2])
                ey = max(box[g, 1] - y[middle], 0.0, y[middle] - box[g, 3])
                away = ex * ex + ey * ey
                if away > (least if turn == 0 else limit * limit):
                    continue
                for k in range(g * _TOGETHER, min(segments, (g + 1) * _TOGETHER)):
                    square = _to_segment(x[middle], y[middle], lx[k], ly[k], lx[k + 1], ly[k + 1])
                    if turn == 0:
                        least = min(least, square)
                    elif square <= limit * limit:
                        near[count] = k
                        count += 1
        for i in range(start, end):
            best = np.inf
            for n in range(count):
                k = near[n]
                best = min(best, _to_segment(x[i], y[i], lx[k], ly[k], lx[k + 1], ly[k + 1]))
            out[i] = np.sqrt(best)


def distance_to_line_m(xy: Float, line_xy: Float) -> Float:
    """Return the distance from each point to a line, metres, shape (n,).

    Exact for any points and any line; fast where the points follow each other, for neighbours have
    nearly the same nearest segments.

    Parameters
    ----------
    xy
        Shape (n, 2), the points in order.
    line_xy
        Shape (m, 2), the vertices of the line, at least two.
    """
    out = np.empty(len(xy))
    _fill_distance(
        np.ascontiguousarray(xy[:, 0]), np.ascontiguousarray(xy[:, 1]),
        np.ascontiguousarray(line_xy[:, 0]), np.ascontiguousarray(line_xy[:, 1]), out,
    )  # fmt: skip
    return out
