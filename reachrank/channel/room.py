"""How far one may look sideways from a line before meeting another part of it.

At each point and side: the radius of the largest circle that touches the line there and holds no
other point of it. Inside a bend that is the bend's own radius, at a neck half the distance to the
other limb; a cross-section no longer than that never crosses another one.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

ROWS_TO_MOST = 4.0
"""Rows of points to the farthest radius: a line's points are a metre or so apart."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _place_of(values, first, last, value):  # type: ignore[no-untyped-def]
    # where a value belongs among the ordered ones from first up to last
    while first < last:
        middle = (first + last) // 2
        if values[middle] < value:
            first = middle + 1
        else:
            last = middle
    return first


@numba.njit(cache=True, nogil=True, error_model="numpy")
def touching_radius(  # type: ignore[no-untyped-def]
    x, y, normal_x, normal_y, ox, oy, starts, row_m, y0, most, left, right
):
    """Fill ``left[i]`` and ``right[i]`` with the touching circles' radii, at most ``most``.

    The circle through p with its middle at p + r n passes through q when
    r = |q - p|^2 / (2 (q - p).n): a point farther than twice the radii found so far changes
    neither. Other points are given in rows of equal height, each ordered by x; rows are gone
    through outwards, and in a row the points away from p, as far as they may still matter.
    """
    rows = starts.size - 1
    for i in range(x.size):
        least_left = most
        least_right = most
        own = int((y[i] - y0) / row_m)
        for turn in range(2 * rows):
            # the own row, then those above and below in turn
            r = own + (turn + 1) // 2 if turn % 2 else own - turn // 2
            reach = 2.0 * max(least_left, least_right)
            gap = 0.0
            if r > own:
                gap = y0 + r * row_m - y[i]
            elif r < own:
                gap = y[i] - (y0 + (r + 1) * row_m)
            if gap > reach:
                if turn % 2 == 0:
                    break
                continue
            if not 0 <= r < rows:
                continue
            middle = _place_of(ox, starts[r], starts[r + 1], x[i])
            for way in (1, -1):
                k = middle if way > 0 else middle - 1
                while starts[r] <= k < starts[r + 1]:
                    dx = ox[k] - x[i]
                    dy = oy[k] - y[i]
                    k += way
                    if abs(dx) > reach:
                        break
                    square = dx * dx + dy * dy
                    if square < 1e-6:
                        continue
                    twice_ahead = 2.0 * (dx * normal_x[i] + dy * normal_y[i])
                    if twice_ahead > 2e-9:
                        if square < least_left * twice_ahead:
                            least_left = square / twice_ahead
                            reach = 2.0 * max(least_left, least_right)
                    elif twice_ahead < -2e-9 and square < -least_right * twice_ahead:
                        least_right = -square / twice_ahead
                        reach = 2.0 * max(least_left, least_right)
        left[i] = least_left
        right[i] = least_right


def side_room_m(
    xy: Float, normal: Float, most_m: float, others: Float | None = None
) -> tuple[Float, Float]:
    """Return how far one may look to the left and to the right of each point.

    Parameters
    ----------
    xy
        Shape (n, 2), evenly spaced, smoothed at the scale of a channel width.
    normal
        Shape (n, 2), unit vectors to the left.
    most_m
        Upper limit of the answer.
    others
        Shape (m, 2), points of other lines that must not be met either.

    Returns
    -------
    left, right
        Shape (n,), metres.
    """
    obstacles = xy if others is None or not len(others) else np.vstack([xy, others])
    row_m = max(most_m / ROWS_TO_MOST, 1.0)
    y0 = obstacles[:, 1].min()
    row = ((obstacles[:, 1] - y0) / row_m).astype(np.int64)
    members = np.lexsort((obstacles[:, 0], row))
    starts = np.searchsorted(row[members], np.arange(row.max() + 2))
    left, right = np.empty(len(xy)), np.empty(len(xy))
    touching_radius(
        xy[:, 0].copy(), xy[:, 1].copy(), normal[:, 0].copy(), normal[:, 1].copy(),
        obstacles[members, 0], obstacles[members, 1], starts, row_m, y0, most_m, left, right,
    )  # fmt: skip
    return left, right
