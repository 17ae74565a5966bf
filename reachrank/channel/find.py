"""Find the channel beside a drawn line: search, then centre between the toes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from reachrank.bank.averaged import SPREAD_CELLS_2
from reachrank.bank.fit import FIGURES
from reachrank.bank.measure import BankRules, Side, measure_side, side_of
from reachrank.channel.blur import blur_of, settled
from reachrank.channel.line import (
    arc_length,
    left_normals,
    resample,
    same_both_ways,
    smooth_line,
    smooth_values,
    tangents,
)
from reachrank.channel.path import low_ground_path
from reachrank.channel.room import side_room_m
from reachrank.channel.strip import (
    cut_strip,
    fill_row_low,
    median_along,
    row_median,
    smooth_along,
    usual_width_m,
)
from reachrank.settings.channel import ChannelSettings
from reachrank.surface import Surface
from reachrank.whole_numbers import at_least, nearest, nearest_each

Float = NDArray[np.float64]

STEP_WIDTHS = 0.25
"""Step of the centreline in toe widths, never under a cell: the bank fits are averaged over longer
stretches anyway."""
BLOCKED_RISE_M = 0.5
"""A bed this far above its neighbours does not tell where the channel's middle is."""
LEAST_RUN_CELLS = 1.0
"""The toe of a shorter face is moved as that of a face so long: shorter ones look alike."""
MOST_AWAY_CELLS = 0.5
"""The middle lies no farther from the mean of both toes: noise moves them no more than that, and
where more is missing the channel is wider or narrower here than usual."""
TOE_SD_CELLS = 0.15
"""How far the toe of a steep bank strays, in cells; that of a gentle one strays with the noise."""


@dataclass
class Found:
    """A found channel: points at an even step, ordered downstream.

    ``xy`` shape (n, 2); ``width_m`` between the toes, smoothed along the channel, and ``bed_m``,
    the elevation of the low part, shape (n,); ``step_m`` between points; ``is_cramped`` where the
    search was too narrow for the width that was found.
    """

    xy: Float
    width_m: Float
    bed_m: Float
    step_m: float
    is_cramped: bool


def _offsets(half_m: float, step_m: float) -> Float:
    count = at_least(half_m / step_m)
    return np.arange(-count, count + 1, dtype=np.float64) * step_m


def _moved(xy: Float, normal: Float, offset_m: Float) -> Float:
    return xy + np.nan_to_num(offset_m)[:, None] * normal


def _search(
    xy: Float, surface: Surface, half_m: float, smoothing_m: float, settings: ChannelSettings,
    home_cost: float,
) -> tuple[Float, Float, Float, Float]:  # fmt: skip
    """One search: return the moved line, its strip, the strip's offsets and the path's offset."""
    cell = surface.cell_m
    step = 2.0 * cell if half_m > 12.0 * cell else cell
    line = smooth_line(resample(xy, step), smoothing_m / step)
    normal = left_normals(tangents(line))
    left, right = side_room_m(smooth_line(line, 3.0 * cell / step), normal, half_m)
    # the drawn line is rough: never less than a few cells of room, or the channel is locked out
    left, right = np.maximum(left, 4.0 * cell), np.maximum(right, 4.0 * cell)
    offsets = _offsets(half_m, cell)
    strip = cut_strip(surface, line, normal, offsets, left, right)
    is_ours = (offsets <= left[:, None]) & (-offsets <= right[:, None])
    path = low_ground_path(
        strip, offsets, step, is_ours=is_ours,
        cap_m=settings.height_cap_m, shift_cost=0.02 * step / (2 * cell), home_cost=home_cost,
    )  # fmt: skip
    offset = smooth_values(offsets[path], 1.5 * cell / step)
    return _moved(line, normal, offset), strip, offsets, offset


def _first_width(strip: Float, offsets: Float, at: Float, rise_m: float, step_m: float) -> Float:
    """Width of the low ground around the path, by a rise above the bed; smoothed by medians."""
    cell = offsets[1] - offsets[0]
    calm = smooth_along(strip, np.full(len(strip), 3.0 * cell / step_m))
    columns = np.clip(nearest_each((at - offsets[0]) / cell), 0, offsets.size - 1)
    rows = np.arange(len(strip))
    low = np.full(len(strip), np.inf)
    for shift in (-1, 0, 1):
        value = calm[rows, np.clip(columns + shift, 0, offsets.size - 1)]
        low = np.fmin(low, value)
    above = ~(calm < (low + rise_m)[:, None])
    index = np.arange(offsets.size)[None, :]
    right_end = np.where(above & (index < columns[:, None]), index, -1).max(axis=1)
    left_end = np.where(above & (index > columns[:, None]), index, offsets.size).min(axis=1)
    width = (left_end - right_end - 1) * cell
    width = np.where(np.isfinite(low), width, np.nan)
    return median_along(width, np.full(width.size, max(2, nearest(15.0 / step_m)), np.int64))


ANCHOR_ROWS = 4
"""All pairs of knots are tried at every fourth station; the strip was smoothed over as many."""
RECUT_SHARE = 0.04
"""Share of the stations of a stream without a true top from which on the look is made longer."""


LEAST_ROOM_CELLS = 3.0
"""The line of a channel narrower than this wanders by a cell: how far one may look beside it goes
by what remains of its bends when it is smoothed as one of this width."""


def both_sides(
    surface: Surface, xy: Float, normal: Float, width_m: Float, step_m: float,
    settings: ChannelSettings, rules: BankRules, usual_m: Float, others: Float | None = None,
    samples_per_cell: int = 2, rows: NDArray[np.int64] | None = None, undo_averaging: bool = False,
    scale_m: Float | None = None,
) -> tuple[Side, Side, Float, Float]:  # fmt: skip
    """Cut the strip square to a line and fit both banks at every point of it.

    Where a look ends before the ground levels off, the strip is cut again twice as wide, as long as
    another part of the stream does not own the ground there.

    Parameters
    ----------
    usual_m
        The usual width at each point, see `usual_width_m`.
    rows
        Numbers of the points whose banks are wanted, all by default.
    undo_averaging
        Give the banks whose averages over cells fit the profiles, see `reachrank.bank.averaged`, in
        place of straight lines through the profiles.
    scale_m
        The width at each point that smoothing along the channel goes by, ``width_m`` by default.

    Returns
    -------
    left, right
        The banks as fitted, one by one.
    strip, offsets
        The raw strip (before smoothing along the channel) and its offsets.
    """
    cell = surface.cell_m
    at = np.arange(len(xy)) if rows is None else rows
    width_there = width_m[at]
    scale_there = width_there if scale_m is None else scale_m[at]
    widest = float(np.nanmax(width_m)) if np.isfinite(width_m).any() else 4.0 * cell
    look = np.clip(rules.look_widths * width_there, rules.look_m, rules.look_most_m)
    broad = smooth_line(xy, 0.5 * np.maximum(usual_m, LEAST_ROOM_CELLS * cell) / step_m)
    across = left_normals(tangents(broad))
    figures = [np.full((at.size, FIGURES), np.nan) for _ in range(2)]
    banks = [np.full((at.size if undo_averaging else 0, FIGURES), np.nan) for _ in range(2)]
    still_open = [np.ones(at.size, bool) for _ in range(2)]
    for _ in range(3):
        half = 0.5 * widest + float(look.max()) + cell
        offsets = _offsets(half, cell / samples_per_cell)
        room = side_room_m(broad, across, half, others)
        strip = cut_strip(surface, xy, normal, offsets, *room)
        calm = smooth_along(strip, settings.along_smoothing_widths * scale_there / step_m, at)
        for side, sign in ((0, 1.0), (1, -1.0)):
            measure_side(
                calm, offsets, sign, width_there, room[side][at], cell, look, rules,
                2 + samples_per_cell, ANCHOR_ROWS, still_open[side], figures[side],
                banks[side],
            )  # fmt: skip
        wide = np.maximum(width_there, usual_m[at])
        farther = np.minimum(2.0 * look, np.maximum(2.0 * rules.look_m, 4.0 * wide))
        farther = np.minimum(farther, rules.look_most_m)
        if max(o.mean() for o in still_open) < RECUT_SHARE or (farther <= look).all():
            break
        look = farther
    left, right = (side_of(found) for found in (banks if undo_averaging else figures))
    return left, right, strip, offsets


BED_POINTS = 9
"""Points across the bed that tell its level, whether it is there, and whether it is flat."""


def cut_bed(surface: Surface, xy: Float, normal: Float, width_m: Float) -> Float:
    """Return elevations across the inner bed, shape (n, 9), NaN where the DEM has none.

    Unlike the strip that banks are looked for in, this knows no room: a gap is a gap in the data,
    not ground that belongs to a neighbour.
    """
    cell = surface.cell_m
    half = np.maximum(0.5 * width_m - 0.5 * cell, 0.25 * cell)
    across = np.linspace(-1.0, 1.0, BED_POINTS)[None, :] * half[:, None]
    return surface.sample(xy[:, :1] + across * normal[:, :1], xy[:, 1:] + across * normal[:, 1:])


def bed_level_m(bed: Float) -> Float:
    """Return the median elevation across the bed, NaN where any of it is missing."""
    level = row_median(bed)
    level[np.isnan(bed).any(axis=1)] = np.nan
    return level


BLOCKED_CELLS = 1.5
"""A fill stands across the bed and so far beyond its toes, in cells."""


def blocked_rows(
    strip: Float, offsets_m: Float, width_m: Float, cell_m: float, step_m: float, rise_m: float
) -> NDArray[np.bool_]:
    """Tell where the ground stands above the beds up- and downstream of it: road fills, culverts.

    What counts is the lowest ground across the bed and a little beyond: beside a line that lies on
    the foot of a bank the bed is still there. One width is added at each end, where the fill's
    slope reaches into the channel.
    """
    low = np.empty(len(strip))
    fill_row_low(strip, offsets_m, 0.5 * width_m + BLOCKED_CELLS * cell_m, low)
    half = np.full(low.size, max(5, nearest(40.0 / step_m)), np.int64)
    usual = median_along(low, half)
    with np.errstate(invalid="ignore"):
        high = low - usual > rise_m
    widest = float(np.nanmax(width_m[high])) if high.any() else 0.0
    spread = max(1, nearest(widest / step_m))
    return np.asarray(maximum_filter1d(high.astype(np.uint8), 2 * spread + 1) > 0)


def median_half_rows(width_m: Float, widths: float, step_m: float) -> NDArray[np.int64]:
    """Return the half window, in rows, of a running median over a number of widths."""
    safe = np.where(np.isfinite(width_m), width_m, 0.0)
    return np.maximum(1, nearest_each(0.5 * widths * safe / step_m))


FIT_WIDTHS = 0.5
"""From one fit of the banks to the next, in toe widths: the strip is smoothed along the channel by
about as much, so that fits in between tell nothing new."""


def fit_rows(count: int, width_m: Float, step_m: float, cell_m: float) -> NDArray[np.int64]:
    """Return the points whose banks are fitted: both ends, evenly between, the same both ways."""
    every = max(1, nearest(FIT_WIDTHS * whole_cells(width_m, cell_m) * cell_m / step_m))
    pieces = max(1, nearest((count - 1) / every))
    return same_both_ways(np.arange(pieces + 1), pieces, count)


def _centreline_step_m(width_m: Float, cell_m: float) -> float:
    """Return the step of the centreline; the width counts in whole cells, see `whole_cells`."""
    return cell_m * max(1.0, STEP_WIDTHS * whole_cells(width_m, cell_m))


def whole_cells(width_m: Float, cell_m: float) -> int:
    """Return the width that most of a stream has at least, in whole cells.

    Whole ones, so that a hair of width (feet in place of metres) does not move every point.
    """
    if not (width_m > 0).any():
        return 1
    return max(1, nearest(float(np.quantile(width_m[np.isfinite(width_m)], 0.2)) / cell_m))


def _middle_m(
    sides: list[Side], toes_m: list[Float], window: NDArray[np.int64], cell_m: float, noise_m: float
) -> Float:
    """Return how far to the left the middle between the toes lies, NaN where it is not known.

    Elevation noise moves the toe of a gentle bank, as on the inside of a bend, several times as far
    as that of a steep one. So each toe tells the middle, half of the channel's usual width away
    from it, and counts by how well it is known. Averaging over cells makes a face longer about its
    middle: the toe seems to lie half of what is added too far in the channel.
    """
    toes, variances = [], []
    for side, toe in zip(sides, toes_m, strict=True):
        least = np.sqrt(LEAST_RUN_CELLS**2 + SPREAD_CELLS_2) * cell_m
        seen = np.fmax(median_along(side.top_m - side.toe_m, window), least)
        run = np.sqrt(seen**2 - SPREAD_CELLS_2 * cell_m**2)
        slope = median_along(side.rise_m, window) / run
        toes.append(toe + 0.5 * (seen - run))
        variances.append((noise_m / slope) ** 2 + (TOE_SD_CELLS * cell_m) ** 2)
    left, right = toes
    usual = median_along(left + right, 3 * window)
    usual = np.where(np.isfinite(usual), usual, left + right)
    usual = smooth_values(usual, window.astype(np.float64))
    of_left = variances[1] / (variances[0] + variances[1])
    of_left = np.where(np.isfinite(of_left), of_left, 0.5)
    mean = 0.5 * (left - right)
    away = of_left * (left - 0.5 * usual) + (1.0 - of_left) * (0.5 * usual - right) - mean
    most = MOST_AWAY_CELLS * cell_m
    return np.asarray(mean + np.clip(away, -most, most))


def _recentred(
    base: Float, width_m: Float, usual_m: Float, step_m: float, surface: Surface,
    settings: ChannelSettings, rules: BankRules, is_last: bool,
) -> tuple[Float, Float, Float]:  # fmt: skip
    """Move a line to the middle of the toes that are found square to it.

    Returns
    -------
    line, width_m, bed_m
        At all points of the base line; the bed is measured with the last move only, NaN before.
    """
    normal = left_normals(tangents(base))
    at = fit_rows(len(base), width_m, step_m, surface.cell_m)
    left, right, strip, offsets = both_sides(
        surface, base, normal, width_m, step_m, settings, rules, usual_m,
        samples_per_cell=2 if is_last else 1, rows=at,
    )  # fmt: skip
    left, right = left.spread(at, len(base)), right.spread(at, len(base))
    window = median_half_rows(width_m, settings.median_widths, step_m)
    blocked = blocked_rows(strip, offsets, width_m, surface.cell_m, step_m, BLOCKED_RISE_M)
    left_toe = np.where(blocked, np.nan, median_along(left.toe_m, window))
    right_toe = np.where(blocked, np.nan, median_along(right.toe_m, window))
    fresh = median_along(left_toe + right_toe, 3 * window)
    width = np.where(np.isfinite(fresh), fresh, width_m)
    width = smooth_values(width, window.astype(np.float64))
    width = np.clip(width, 1.5 * surface.cell_m, None)
    left_toe = np.where(np.isfinite(left_toe), left_toe, width - right_toe)
    right_toe = np.where(np.isfinite(right_toe), right_toe, width - left_toe)
    middle = _middle_m([left, right], [left_toe, right_toe], window, surface.cell_m, rules.noise_m)
    middle = smooth_values(middle, settings.centre_smoothing_widths * width / step_m)
    bed = np.full(len(base), np.nan)
    if is_last:
        level = bed_level_m(cut_bed(surface, base, normal, width_m))
        bed = median_along(np.where(blocked, np.nan, level), window)
    return _moved(base, normal, middle), width, bed


def find_channel(
    drawn_xy: Float,
    surface: Surface,
    settings: ChannelSettings,
    rules: BankRules,
    half_width_m: float | None = None,
) -> Found | None:
    """Find the channel that a drawn line means.

    Parameters
    ----------
    drawn_xy
        Shape (n, 2), the drawn line, downstream, metres.
    surface
        Elevation around it, at least as wide as the search.
    half_width_m
        How far to each side of the line to search; the settings' value by default.

    Returns
    -------
    Found or None
        None where the line has no elevation at all.
    """
    cell = surface.cell_m
    half = half_width_m or settings.search_half_width_m
    xy, strip, offsets, at = _search(
        drawn_xy, surface, half, settings.line_smoothing_m, settings, 0.15
    )
    if not np.isfinite(strip).any():
        return None
    xy, strip, offsets, at = _search(
        xy, surface, max(0.5 * half, 8 * cell), 2.0 * cell, settings, 0.05
    )
    step = float(np.median(np.hypot(*np.diff(xy, axis=0).T)))
    width = _first_width(strip, offsets, at, settings.toe_rise_m, step)
    known = np.isfinite(width)
    if not known.any():
        return None
    rows = np.arange(width.size)
    width = np.interp(rows, rows[known], width[known])  # a width in every gap, or none is any
    is_cramped = float(np.nanmedian(width)) > 0.7 * half
    along = arc_length(xy)
    step = _centreline_step_m(width, cell)
    line = smooth_line(resample(xy, step), 1.5 * cell / step)
    width = np.interp(np.linspace(0, 1, len(line)), along / along[-1], width)
    width = np.clip(width, 2.0 * cell, None)
    bed = np.full(len(line), np.nan)
    blur = blur_of(settings)
    for turn in reversed(range(settings.recentre_rounds)):
        usual = usual_width_m(width, step)
        base = smooth_line(line, settings.base_smoothing_widths * usual / step)
        base = resample(base, step)
        share, there = np.linspace(0, 1, len(width)), np.linspace(0, 1, len(base))
        width, usual = np.interp(there, share, width), np.interp(there, share, usual)
        line, width, bed = _recentred(
            base, width, usual, step, surface, settings, rules, is_last=not turn
        )  # fmt: skip
        line = settled(line, base, usual, step, cell, blur)
    count = len(line)
    line = resample(line, step)
    share, there = np.linspace(0, 1, count), np.linspace(0, 1, len(line))
    width = np.interp(there, share, width)
    known = np.isfinite(bed)
    bed = np.interp(there, share[known], bed[known]) if known.any() else np.full(len(line), np.nan)
    return Found(line, width, bed, step, is_cramped)
