"""The cheapest way down a straightened strip: where in it the channel runs."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from reachrank.whole_numbers import nearest

Float = NDArray[np.float64]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def cheapest_path(cost, shift_cost, most_shift):  # type: ignore[no-untyped-def]
    """Return the column at each row of the path from first to last row of least total cost.

    Parameters
    ----------
    cost
        float64, shape (rows, columns); infinite where the path may not go.
    shift_cost
        Cost of moving sideways by one column from a row to the next; grows with the square.
    most_shift
        Most columns to move from one row to the next.

    Returns
    -------
    int64, shape (rows,). Rows where everything is infinite pass the path straight on.
    """
    rows, columns = cost.shape
    padded = np.full(columns + 2 * most_shift, np.inf)  # nothing beyond the edges
    total = padded[most_shift : most_shift + columns]
    fresh = np.empty(columns)
    move = np.empty(columns, np.int64)
    came = np.zeros((rows, columns), np.int16)
    total[:] = cost[0]
    if not np.isfinite(total).any():
        total[:] = 0.0
    for i in range(1, rows):
        any_open = False
        for j in range(columns):
            if np.isfinite(cost[i, j]):
                any_open = True
        fresh[:] = np.inf
        move[:] = 0
        for n in range(2 * most_shift + 1):  # all columns for one move: many at a time
            shift = n - most_shift
            extra = shift_cost * shift * shift
            for j in range(columns):
                value = padded[j + n] + extra
                is_less = value < fresh[j]
                fresh[j] = value if is_less else fresh[j]
                move[j] = shift if is_less else move[j]
        finite = False
        for j in range(columns):
            came[i, j] = move[j]
            fresh[j] += cost[i, j] if any_open else 0.0
            if np.isfinite(fresh[j]):
                finite = True
        if not finite:
            # nothing open can be reached: jump to the open cells, from the cheapest place before
            least = np.inf
            least_j = 0
            for j in range(columns):
                if total[j] < least:
                    least = total[j]
                    least_j = j
            for j in range(columns):
                fresh[j] = least + cost[i, j] + shift_cost * (j - least_j) ** 2
                came[i, j] = least_j - j
        total[:] = fresh
    path = np.empty(rows, np.int64)
    path[rows - 1] = np.argmin(total)
    for i in range(rows - 1, 0, -1):
        path[i - 1] = path[i] + came[i, path[i]]
    return path


LEAST_KNOWN = 0.2
"""Weight of what is known around a place, below which its average tells nothing."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_calm(strip, along, across, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with the strip averaged by two weights, missing values passed over.

    ``along`` are the weights of neighbouring rows, ``across`` those of neighbouring columns; at an
    edge the last value goes on. Infinite where the value is missing or little around it is known.
    """
    rows, columns = strip.shape
    value = np.zeros((rows, columns))
    weight = np.zeros((rows, columns))
    reach = across.size // 2
    padded = np.empty(columns + 2 * reach)
    known = np.empty(columns + 2 * reach)
    for i in range(rows):
        for j in range(columns + 2 * reach):
            z = strip[i, min(max(j - reach, 0), columns - 1)]
            padded[j] = 0.0 if np.isnan(z) else z
            known[j] = 0.0 if np.isnan(z) else 1.0
        for k in range(across.size):
            for j in range(columns):
                value[i, j] += across[k] * padded[j + k]
                weight[i, j] += across[k] * known[j + k]
    reach = along.size // 2
    total = np.empty(columns)
    share = np.empty(columns)
    for i in range(rows):
        total[:] = 0.0
        share[:] = 0.0
        for k in range(along.size):
            r = min(max(i + k - reach, 0), rows - 1)
            for j in range(columns):
                total[j] += along[k] * value[r, j]
                share[j] += along[k] * weight[r, j]
        for j in range(columns):
            is_known = not np.isnan(strip[i, j]) and share[j] > LEAST_KNOWN
            out[i, j] = total[j] / share[j] if is_known else np.inf


def gaussian_weights(sigma: float) -> Float:
    """Return Gaussian weights out to four standard deviations, their sum one."""
    reach = int(4.0 * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return np.asarray(weights / weights.sum())


def low_ground_path(
    strip: Float,
    offsets_m: Float,
    step_m: float,
    *,
    cap_m: float,
    shift_cost: float,
    home_cost: float,
    is_ours: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Return the column of the lowest continuous way down a strip.

    The cost of a place is its height above the low of its neighbourhood along the strip, capped,
    so that a road fill costs no more than a bank; a little is added for lying far from the middle.
    In a gap of the data the heights before and after it go on, so that the way does not lead
    around the gap over the banks.

    Parameters
    ----------
    strip
        Shape (stations, offsets), NaN where there is no elevation.
    cap_m
        Height above the low from which on everything costs the same.
    shift_cost
        Cost in metres of one column sideways per station.
    home_cost
        Cost in metres at the edge of the strip for being there.
    is_ours
        Which places may be gone through where they have no elevation, shape of the strip.
    """
    calm = np.empty_like(strip)
    fill_calm(strip, gaussian_weights(1.0), gaussian_weights(0.7), calm)
    low = calm.min(axis=1)
    # the low may not jump: on a road fill it is the low on both sides of the fill that counts
    span = max(3, nearest(12.0 / step_m) | 1)
    near = minimum_filter1d(np.where(np.isfinite(low), low, np.inf), span, mode="nearest")
    low = np.where(np.isfinite(low), np.maximum(near, low - cap_m), near)
    with np.errstate(invalid="ignore"):
        height = np.where(np.isfinite(calm), np.minimum(calm - low[:, None], cap_m), np.inf)
    _go_on_in_gaps(height, is_ours)
    home = home_cost * (offsets_m / np.abs(offsets_m).max()) ** 2
    return np.asarray(cheapest_path(height + home[None, :], shift_cost, 3))


def _go_on_in_gaps(height: Float, is_ours: NDArray[np.bool_]) -> None:
    """Fill unknown heights of our own ground, column by column, between the rows that are known."""
    is_gap = np.isinf(height) & is_ours
    rows = np.arange(len(height))
    for column in np.flatnonzero(is_gap.any(axis=0)):
        known = np.isfinite(height[:, column])
        if known.any():
            gap = is_gap[:, column]
            height[gap, column] = np.interp(rows[gap], rows[known], height[known, column])
