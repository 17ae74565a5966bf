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


@numba.njit(cache=True, nogil=True, error_model="numpy")
def touching_radius(  # type: ignore[no-untyped-def]
    x, y, normal_x, normal_y, ox, oy, starts, members, cell, x0, y0, nx, ny, most, left, right
):
    """Fill ``left[i]`` and ``right[i]`` with the touching circles' radii, at most ``most``.

    The circle through p with its middle at p + r n passes through q when
    r = |q - p|^2 / (2 (q - p).n). Other points come from a grid of square bins.
    """
    bins = int(np.ceil(2.0 * most / cell))
    for i in range(x.size):
        least_left = most
        least_right = most
        column = int((x[i] - x0) / cell)
        row = int((y[i] - y0) / cell)
        for r in range(max(0, row - bins), min(ny, row + bins + 1)):
            for c in range(max(0, column - bins), min(nx, column + bins + 1)):
                b = r * nx + c
                for m in range(starts[b], starts[b + 1]):
                    k = members[m]
                    dx = ox[k] - x[i]
                    dy = oy[k] - y[i]
                    square = dx * dx + dy * dy
                    if square < 1e-6:
                        continue
                    twice_ahead = 2.0 * (dx * normal_x[i] + dy * normal_y[i])
                    if twice_ahead > 2e-9:
                        if square < least_left * twice_ahead:
                            least_left = square / twice_ahead
                    elif twice_ahead < -2e-9 and square < -least_right * twice_ahead:
                        least_right = -square / twice_ahead
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
    cell = max(most_m / 2.0, 1.0)
    x0, y0 = obstacles.min(axis=0)
    nx = int((obstacles[:, 0].max() - x0) / cell) + 1
    ny = int((obstacles[:, 1].max() - y0) / cell) + 1
    bin_of = ((obstacles[:, 1] - y0) / cell).astype(np.int64) * nx + (
        (obstacles[:, 0] - x0) / cell
    ).astype(np.int64)
    members = np.argsort(bin_of, kind="stable")
    starts = np.searchsorted(bin_of[members], np.arange(nx * ny + 1))
    left, right = np.empty(len(xy)), np.empty(len(xy))
    touching_radius(
        xy[:, 0].copy(), xy[:, 1].copy(), normal[:, 0].copy(), normal[:, 1].copy(),
        obstacles[:, 0].copy(), obstacles[:, 1].copy(), starts, members,
        cell, x0, y0, nx, ny, most_m, left, right,
    )  # fmt: skip
    return left, right
