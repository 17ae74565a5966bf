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

_SAME_M2 = 1e-6
"""Points nearer than a millimetre are one point."""


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


@numba.njit(cache=True, nogil=True, error_model="numpy", fastmath=True)
def _sharpest(ox, oy, x, y, normal_x, normal_y, right, left):  # type: ignore[no-untyped-def]
    # half the curvatures of the sharpest circles that touch at a point and pass through others:
    # negative to the right, positive to the left, beginning with those found before
    for k in range(ox.size):
        dx = ox[k] - x
        dy = oy[k] - y
        square = dx * dx + dy * dy
        square = square if square > _SAME_M2 else 1e12
        bend = (dx * normal_x + dy * normal_y) / square
        right = bend if bend < right else right
        left = bend if bend > left else left
    return right, left


@numba.njit(cache=True, nogil=True, error_model="numpy")
def touching_radius(  # type: ignore[no-untyped-def]
    x, y, normal_x, normal_y, ox, oy, starts, row_m, y0, most, left, right
):
    """Fill ``left[i]`` and ``right[i]`` with the touching circles' radii, at most ``most``.

    The circle through p with its middle at p + r n passes through q when
    1 / r = 2 (q - p).n / |q - p|^2: a point farther than twice the radii found so far changes
    neither. Other points are given in rows of equal height, each ordered by x; rows are gone
    through outwards, and of a row the points that may still matter.
    """
    rows = starts.size - 1
    for i in range(x.size):
        half_left = 0.5 / most
        half_right = -half_left
        own = int((y[i] - y0) / row_m)
        for turn in range(2 * rows):
            # the own row, then those above and below in turn
            r = own + (turn + 1) // 2 if turn % 2 else own - turn // 2
            reach = 1.0 / min(half_left, -half_right)
            gap = 0.0
            if r > own:
                gap = y0 + r * row_m - y[i]
            elif r < own:
                gap = y[i] - (y0 + (r + 1) * row_m)
            if gap > reach:
                if turn % 2 == 0:
                    break
                continue
            if not 0 <= r < rows or starts[r] == starts[r + 1]:
                continue
            first = _place_of(ox, starts[r], starts[r + 1], x[i] - reach)
            last = _place_of(ox, first, starts[r + 1], x[i] + reach)
            half_right, half_left = _sharpest(
                ox[first:last], oy[first:last], x[i], y[i], normal_x[i], normal_y[i],
                half_right, half_left,
            )  # fmt: skip
        left[i] = 0.5 / half_left
        right[i] = -0.5 / half_right


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
    row_m = max(most_m, 1.0)
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
