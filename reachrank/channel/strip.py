"""The straightened strip: elevation by station along a line and offset across it."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.channel.line import smooth_values
from reachrank.surface import NOWHERE, Surface, blend, fill_corners, place_of
from reachrank.whole_numbers import HAIR, at_most, nearest_each

Float = NDArray[np.float64]


ROWS_AT_ONCE = 16
"""Points of a line whose rows are sampled together: the processor does many at a time, and their
numbers stay in its nearest cache."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_strip(tiles, index, inverse, x, y, nx, ny, offsets, room_left, room_right, out):  # type: ignore[no-untyped-def]
    """Fill ``out[i, j]`` with the elevation at offset j (left is positive) of point i.

    Beyond the room on a side there is no elevation: another part of the line owns that ground.
    Cells are counted from that of the point, so that where a surface begins changes no last digit.
    """
    flat = tiles.reshape(-1)
    most = ROWS_AT_ONCE * offsets.size
    row, column = np.empty(most, np.int32), np.empty(most, np.int32)
    right, down, z = np.empty(most), np.empty(most), np.empty(most)
    four = np.empty((4, most), np.float32)
    # of each point: its cell, its place in the cell, cells for each metre of offset, its room
    own_row, own_column = np.empty(ROWS_AT_ONCE, np.int32), np.empty(ROWS_AT_ONCE, np.int32)
    in_row, in_column = np.empty(ROWS_AT_ONCE), np.empty(ROWS_AT_ONCE)
    by_row, by_column = np.empty(ROWS_AT_ONCE), np.empty(ROWS_AT_ONCE)
    first, end = np.empty(ROWS_AT_ONCE, np.int64), np.empty(ROWS_AT_ONCE, np.int64)
    for start in range(0, x.size, ROWS_AT_ONCE):
        rows = min(ROWS_AT_ONCE, x.size - start)
        least, greatest = offsets.size, 0
        for k in range(rows):
            i = start + k
            across, along = place_of(inverse, x[i], y[i])
            by_column[k] = inverse[0] * nx[i] + inverse[1] * ny[i]
            by_row[k] = inverse[3] * nx[i] + inverse[4] * ny[i]
            if not np.isfinite(by_column[k] + by_row[k]):
                across = along = float(NOWHERE)
                by_column[k] = by_row[k] = 0.0
            own_column[k], own_row[k] = np.int32(np.floor(across)), np.int32(np.floor(along))
            in_column[k], in_row[k] = across - own_column[k], along - own_row[k]
            first[k], end[k] = 0, offsets.size
            while first[k] < end[k] and -offsets[first[k]] > room_right[i] + HAIR:
                first[k] += 1
            while end[k] > first[k] and offsets[end[k] - 1] > room_left[i] + HAIR:
                end[k] -= 1
            least, greatest = min(least, first[k]), max(greatest, end[k])
        count = 0
        for j in range(least, greatest):
            offset = offsets[j]
            for k in range(rows):
                at = in_column[k] + offset * by_column[k]
                whole = np.floor(at)
                right[count + k] = at - whole
                column[count + k] = np.int32(whole) + own_column[k]
            for k in range(rows):
                at = in_row[k] + offset * by_row[k]
                whole = np.floor(at)
                down[count + k] = at - whole
                row[count + k] = np.int32(whole) + own_row[k]
            count += rows
        fill_corners(flat, index, row, column, count, four)
        blend(four, right, down, count, z)
        for k in range(rows):
            i = start + k
            for j in range(offsets.size):
                is_ours = first[k] <= j < end[k]
                out[i, j] = z[(j - least) * rows + k] if is_ours else np.nan


def cut_strip(
    surface: Surface,
    xy: Float,
    normal: Float,
    offsets_m: Float,
    room_left_m: Float,
    room_right_m: Float,
) -> Float:
    """Return elevations, shape (points, offsets), NaN outside of the data and of the room."""
    out = np.empty((len(xy), offsets_m.size))
    fill_strip(
        surface.tiles, surface.index, surface.inverse, xy[:, 0].copy(), xy[:, 1].copy(),
        normal[:, 0].copy(), normal[:, 1].copy(), offsets_m, room_left_m, room_right_m, out,
    )  # fmt: skip
    return out


@numba.njit(cache=True, nogil=True, error_model="numpy")
def smooth_rows(strip, sigma, at, out):  # type: ignore[no-untyped-def]
    """Gaussian average along the line (axis 0) at some rows, each with its own sigma in rows.

    Missing values are passed over; a value stays missing where it was missing.
    """
    rows, columns = strip.shape
    total = np.empty(columns)
    weight = np.empty(columns)
    for n in range(at.size):
        i = at[n]
        s = sigma[n]
        if s < 0.2:
            out[n] = strip[i]
            continue
        half = int(np.ceil(3.0 * s - HAIR))
        total[:] = 0.0
        weight[:] = 0.0
        for k in range(max(0, i - half), min(rows, i + half + 1)):
            w = np.exp(-0.5 * ((k - i) / s) ** 2)  # once for a whole row
            for j in range(columns):
                z = strip[k, j]
                if not np.isnan(z):
                    total[j] += w * z
                    weight[j] += w
        for j in range(columns):
            here = strip[i, j]
            out[n, j] = np.nan if np.isnan(here) else total[j] / weight[j]


def smooth_along(strip: Float, sigma_rows: Float, rows: NDArray[np.int64] | None = None) -> Float:
    """Gaussian average along the line; missing values stay missing and do not spread.

    ``rows`` are the numbers of the rows that are wanted, all by default; ``sigma_rows`` has one
    value for each of them.
    """
    at = np.arange(len(strip)) if rows is None else rows
    out = np.empty((at.size, strip.shape[1]))
    smooth_rows(strip, np.asarray(sigma_rows, np.float64), at, out)
    return out


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _enter(ordered, count, value):  # type: ignore[no-untyped-def]
    # put a value into an ordered window; missing ones are not kept
    if np.isnan(value):
        return count
    at = count
    while at > 0 and ordered[at - 1] > value:
        ordered[at] = ordered[at - 1]
        at -= 1
    ordered[at] = value
    return count + 1


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _leave(ordered, count, value):  # type: ignore[no-untyped-def]
    # take a value out of an ordered window: those above it move down, the uppermost first
    if np.isnan(value):
        return count
    at = count - 1
    above = ordered[at]
    while at > 0 and above != value:
        at -= 1
        above, ordered[at] = ordered[at], above
    return count - 1


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _middle_of(ordered, count):  # type: ignore[no-untyped-def]
    # the median of an ordered window, NaN of none
    if not count:
        return np.nan
    if count % 2:
        return ordered[count // 2]
    return 0.5 * (ordered[count // 2 - 1] + ordered[count // 2])


@numba.njit(cache=True, nogil=True, error_model="numpy")
def running_median(values, half, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with the median of each value's neighbours within ``half[i]``, NaN left out.

    The window stays in order while it moves: each value is found once on its way in and out.
    """
    n = values.size
    most = 0
    for i in range(n):
        most = max(most, half[i])
    ordered = np.empty(min(n, 2 * most + 1) + 1)
    count = 0
    first = 0  # the window holds the values from first up to last
    last = 0
    for i in range(n):
        new_first = max(0, i - half[i])
        new_last = min(n, i + half[i] + 1)
        if new_first >= last:
            count = 0
            first = new_first
            last = new_first
        while first < new_first:
            count = _leave(ordered, count, values[first])
            first += 1
        while last > new_last:
            last -= 1
            count = _leave(ordered, count, values[last])
        while first > new_first:
            first -= 1
            count = _enter(ordered, count, values[first])
        while last < new_last:
            count = _enter(ordered, count, values[last])
            last += 1
        out[i] = _middle_of(ordered, count)


def median_along(values: Float, half_rows: NDArray[np.int64]) -> Float:
    """Return a running median, its window differing from place to place; NaN where all are."""
    out = np.empty(values.size)
    running_median(np.asarray(values, np.float64), np.asarray(half_rows, np.int64), out)
    return out


USUAL_WIDTHS = 20.0
"""Length, in widths, over which a stream's usual width is taken."""


def usual_width_m(width_m: Float, step_m: float) -> Float:
    """Return the width that a place is part of: a running median over about twenty widths.

    Smoothing goes by it, so that one wide pool does not smooth a bend away, and the head of a long
    stream is not smoothed by the width of its mouth. Shape (n,); NaN only where all widths are.
    """
    known = np.isfinite(width_m)
    if not known.any():
        return width_m.copy()
    index = np.arange(width_m.size)
    filled = np.interp(index, index[known], width_m[known])
    # a width changes slowly: every other half width is enough to know its median by
    every = max(1, at_most(0.5 * float(np.median(filled)) / step_m))
    some = np.append(index[:-1:every], index[-1])
    part = filled[some]
    half = np.maximum(2, nearest_each(0.5 * USUAL_WIDTHS * part / (step_m * every)))
    usual = smooth_values(median_along(part, half), 0.5 * half)
    return np.asarray(np.interp(index, some, usual))


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_row_median(strip, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with the median of each row's values, NaN left out."""
    rows, columns = strip.shape
    window = np.empty(columns)
    for i in range(rows):
        count = 0
        for j in range(columns):
            count = _enter(window, count, strip[i, j])
        out[i] = _middle_of(window, count)


def row_median(strip: Float) -> Float:
    """Return the median of each row, missing values left out; NaN where all are missing."""
    out = np.empty(len(strip))
    fill_row_median(strip, out)
    return out


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fill_row_low(strip, offsets, reach, out):  # type: ignore[no-untyped-def]
    """Fill ``out`` with the lowest value of each row within ``reach`` of the line, NaN for none."""
    for i in range(out.size):
        low = np.nan
        for j in range(offsets.size):
            if abs(offsets[j]) <= reach[i] + HAIR:
                low = np.fmin(low, strip[i, j])
        out[i] = low
