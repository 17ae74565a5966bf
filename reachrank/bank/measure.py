"""Both banks at every station of a straightened strip."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numba
import numpy as np
from numpy.typing import NDArray

from reachrank.bank.averaged import WORK_SHAPE, fit_averaged
from reachrank.bank.fit import (
    FIGURES,
    GROUND,
    HAIR,
    MISFIT,
    RISE,
    SUMS,
    TOE,
    TOP,
    TRIALS_SHAPE,
    Z_BED,
    fit_sums,
    prefix_sums,
)
from reachrank.settings.sections import SectionsSettings

Float = NDArray[np.float64]


TINY_RISE_WIDTHS = 0.025
"""A bank lower than a fortieth of the channel's width may be a step at the foot of the real one."""


POOR_SHARE = 0.2
"""A step whose fit misses the ground by more than this share of its rise is none."""


TERRACE_MISFIT_M = 0.15
TERRACE_MISFIT_SHARE = 0.03
"""A fit that misses the ground by more than both, the second times its rise, may be bank, terrace
and wall taken for one bank."""
TERRACE_RISE_SHARE = 0.15
"""The bank below a terrace has at least this share of the rise of all: no step at its foot."""


@dataclass(frozen=True)
class BankRules:
    """How a bank is looked for; lengths in metres.

    Attributes
    ----------
    least_rise_m
        Lower rises are not a bank.
    ground_prior_slope, ground_prior_sd
        Expected slope of the ground behind the top, and how far it usually strays.
    noise_m
        Standard deviation of the elevations after smoothing along the channel.
    look_m
        How far beyond the toe the first look goes; a top that is none makes it go twice as far.
    look_widths
        The first look is at least this many toe widths long.
    look_most_m
        No look goes farther.
    least_face_slope
        A gentler face is no bank.
    lip_ratio
        A top is a lip: behind it the ground is at most this share as steep as the face.
    most_rise_m
        A higher face is a valley side.
    """

    least_rise_m: float = 0.25
    ground_prior_slope: float = 0.0
    ground_prior_sd: float = 0.05
    noise_m: float = 0.05
    look_m: float = 12.0
    look_widths: float = 1.0
    look_most_m: float = 60.0
    least_face_slope: float = 0.1
    lip_ratio: float = 0.4
    most_rise_m: float = 10.0


def bank_rules(settings: SectionsSettings) -> BankRules:
    """Return the rules that the settings state."""
    return BankRules(
        least_rise_m=settings.least_height_m,
        ground_prior_slope=settings.ground_prior_slope,
        ground_prior_sd=settings.ground_prior_sd,
        look_m=settings.look_m,
        look_widths=settings.look_widths,
        look_most_m=settings.look_most_m,
        least_face_slope=settings.least_face_slope_ratio,
        lip_ratio=settings.lip_ratio,
        most_rise_m=settings.most_height_m,
    )


@dataclass
class Side:
    """One bank at each station, shape (n,) each, NaN where none was found.

    ``bed_m`` elevation of the level part; ``rise_m`` top minus bed; ``toe_m`` and ``top_m`` offsets
    from the line; ``ground_slope`` of the ground behind; ``misfit_m`` root mean square misfit of
    the profile.
    """

    bed_m: Float
    rise_m: Float
    toe_m: Float
    top_m: Float
    ground_slope: Float
    misfit_m: Float

    def spread(self, at: NDArray[np.int64], count: int) -> Side:
        """Return the side at ``count`` stations, NaN at all but those numbered ``at``."""
        new = {}
        for field in fields(self):
            new[field.name] = np.full(count, np.nan)
            new[field.name][at] = getattr(self, field.name)
        return Side(**new)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _gathered(profile, offsets, half, end, cell, u, z):  # type: ignore[no-untyped-def]
    # the samples of one side from the inner bed to ``end`` or to the first gap; how many
    step = offsets[1] - offsets[0]
    inner = max(-(half - cell), half - max(4.0 * cell, 1.4 * half))
    inner = min(inner, half - 1.5 * cell)
    count = 0
    m = max(0, int((inner - offsets[0]) / step) - 1)
    is_over = False
    while m < offsets.size and not is_over:
        o = offsets[m]
        value = profile[m]
        if o > end + 1e-9 or (np.isnan(value) and o >= half):
            is_over = True
        elif np.isnan(value):
            count = 0
        elif o >= inner - 1e-9:
            u[count] = o
            z[count] = value
            count += 1
        m += 1
    return count


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _fit_row(  # type: ignore[no-untyped-def]
    profile, offsets, half, end, cell, least_rise, prior_slope, prior_weight, halvings,
    u, z, sums, trials, result,
):  # fmt: skip
    # the bank of one profile; ``result`` holds knots to start from, or NaN to try them all
    step = offsets[1] - offsets[0]
    turn = 0
    if not np.isnan(result[TOP]):
        turn = 1
        end = min(end, _far_enough(result, cell))
    count = _gathered(profile, offsets, half, end, cell, u, z)
    goes_on = count >= 6 and u[0] <= half
    if goes_on:
        prefix_sums(u, z, count, sums)
    found = False
    # the second turn looks no farther than needed behind the top that the first one found, and
    # starts from there
    while goes_on and turn < 2:
        found = fit_sums(
            sums, count, u[0], step, z[0], 0.5 * cell, least_rise, 0.2 * half,
            2.0 * half + 3.0 * cell, 1.5 * cell, prior_slope, prior_weight, result[TOE],
            result[TOP], 2 if turn == 0 else halvings, trials, result,
        )  # fmt: skip
        if found and turn == 0:
            end = min(end, _far_enough(result, cell))
            while count > 0 and u[count - 1] > end + 1e-9:
                count -= 1
        goes_on = found and count >= 6
        turn += 1
    return found


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _far_enough(result, cell):  # type: ignore[no-untyped-def]
    # how far out the ground behind a top tells its slope
    return result[TOP] + max(4.0 * cell, 0.8 * (result[TOP] - result[TOE]), 3.0)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _look_nearer(  # type: ignore[no-untyped-def]
    profile, offsets, half, end, cell, least_rise, prior_slope, prior_weight, least_slope,
    lip_ratio, halvings, u, z, sums, trials, inner, result,
):  # fmt: skip
    # where the profile is no bank with ground behind, a terrace may lie between bank and wall: look
    # less far, and take the bank whose ground behind is twice as broad as it is high; how far the
    # look went that counts
    reach = end
    for _ in range(4):
        reach *= 0.75
        inner[TOE] = np.nan
        inner[TOP] = np.nan
        found = _fit_row(
            profile, offsets, half, reach, cell, least_rise, prior_slope, prior_weight, halvings,
            u, z, sums, trials, inner,
        )  # fmt: skip
        if not found or inner[MISFIT] > 0.5 * result[MISFIT]:
            continue
        slope = inner[RISE] / (inner[TOP] - inner[TOE])
        if (
            slope >= least_slope
            and inner[GROUND] <= lip_ratio * slope
            and inner[RISE] >= TERRACE_RISE_SHARE * result[RISE]
            and reach - inner[TOP] >= 2.0 * inner[RISE]
        ):
            for k in range(FIGURES):
                result[k] = inner[k]
            return reach
    return end


@numba.njit(cache=True, nogil=True, error_model="numpy")
def measure_rows(  # type: ignore[no-untyped-def]
    strip,
    offsets,
    width,
    room,
    cell,
    least_rise,
    prior_slope,
    prior_weight,
    look,
    least_slope,
    lip_ratio,
    most_rise,
    halvings,
    anchor_rows,
    is_open,
    out,
    banks,
):
    """Fit one side at every row that is still open.

    All pairs of knots are tried at every ``anchor_rows``-th open row alone. Between two of them
    that agree within two cells the fit starts from their mean: along a channel that has been
    smoothed a bank does not jump there and back in between.

    ``out`` is (rows, 6) as in `fit_bank`, NaN before the first look. A row with a true top is
    filled and closed, one with a tiny step filled and left open, the others keep NaN and stay open.
    ``banks``, of the same shape or without rows, is filled with the banks whose averages over cells
    the profiles are, see `fit_averaged`.
    """
    columns = offsets.size
    u = np.empty(columns)
    z = np.empty(columns)
    sums = np.empty((SUMS, columns + 1))
    trials = np.empty(TRIALS_SHAPE)
    result = np.empty(FIGURES)
    inner = np.empty(FIGURES)
    work = np.empty(WORK_SHAPE)
    todo = np.flatnonzero(is_open)
    count = todo.size
    anchors = (count - 1) // anchor_rows + 2 if count else 0
    knots = np.full((anchors, 2), np.nan)
    for pass_ in range(2):
        for n in range(count):
            is_anchor = n % anchor_rows == 0 or n == count - 1
            if is_anchor != (pass_ == 0):
                continue
            i = todo[n]
            half = 0.5 * width[i]
            if np.isnan(half):
                continue
            before = n // anchor_rows
            if is_anchor and n % anchor_rows:
                before += 1
            result[TOE] = np.nan
            result[TOP] = np.nan
            if not is_anchor:
                within = (2.0 + HAIR) * cell
                agree = (
                    abs(knots[before, 0] - knots[before + 1, 0]) <= within
                    and abs(knots[before, 1] - knots[before + 1, 1]) <= within
                )
                if agree:
                    result[TOE] = 0.5 * (knots[before, 0] + knots[before + 1, 0])
                    result[TOP] = 0.5 * (knots[before, 1] + knots[before + 1, 1])
            end = min(room[i], half + look[i])
            started = not np.isnan(result[TOP])
            found = _fit_row(
                strip[i], offsets, half, end, cell, least_rise, prior_slope, prior_weight,
                halvings, u, z, sums, trials, result,
            )  # fmt: skip
            if not found and started:
                result[TOE] = np.nan
                result[TOP] = np.nan
                found = _fit_row(
                    strip[i], offsets, half, end, cell, least_rise, prior_slope, prior_weight,
                    halvings, u, z, sums, trials, result,
                )  # fmt: skip
            if not found:
                continue
            if result[MISFIT] > max(TERRACE_MISFIT_M, TERRACE_MISFIT_SHARE * result[RISE]):
                end = _look_nearer(
                    strip[i], offsets, half, end, cell, least_rise, prior_slope, prior_weight,
                    least_slope, lip_ratio, halvings, u, z, sums, trials, inner, result,
                )  # fmt: skip
            if is_anchor:
                knots[before, 0] = result[TOE]
                knots[before, 1] = result[TOP]
            run = result[TOP] - result[TOE]
            slope = result[RISE] / run
            is_lip = result[GROUND] <= lip_ratio * slope
            if slope < least_slope or not is_lip or result[RISE] > most_rise:
                continue
            if not np.isnan(out[i, RISE]):
                # a step was found before: the bank proper is much higher, close by, and steeper
                # unless the step was no more than what was seen of a rounded bank
                step_slope = out[i, RISE] / (out[i, TOP] - out[i, TOE])
                is_near = result[TOE] <= out[i, TOP] + half
                poor = out[i, MISFIT] / out[i, RISE]
                is_part = poor > POOR_SHARE and result[MISFIT] / result[RISE] < 0.5 * poor
                is_like = slope >= step_slope or is_part
                if not is_like or result[RISE] < 2.0 * out[i, RISE] or not is_near:
                    continue
            # a rise that is tiny for the channel may be a step in the bank: look again farther
            is_open[i] = result[RISE] < width[i] * TINY_RISE_WIDTHS
            for k in range(FIGURES):
                out[i, k] = result[k]
            if banks.shape[0]:
                end = min(end, _far_enough(result, cell))
                n_samples = _gathered(strip[i], offsets, half, end, cell, u, z)
                fit_averaged(
                    u, z, n_samples, cell, prior_slope, prior_weight, work, result, banks[i]
                )


def measure_side(
    strip: Float, offsets_m: Float, sign: float, width_m: Float, room_m: Float, cell_m: float,
    look_m: Float, rules: BankRules, halvings: int, anchor_rows: int, is_open: NDArray[np.bool_],
    out: Float, banks: Float,
) -> None:  # fmt: skip
    """Look for one bank along a strip, at the stations where it is still open.

    Parameters
    ----------
    strip
        Shape (stations, offsets), smoothed along the channel.
    offsets_m
        Evenly spaced and growing, positive to the left.
    sign
        1 for the left bank, -1 for the right one.
    width_m
        Expected width between the toes, shape (stations,).
    room_m
        How far one may look on this side, shape (stations,).
    look_m
        How far beyond the toe this look goes, shape (stations,).
    halvings
        How finely the knots are placed: a cell divided by two to this power.
    anchor_rows
        All knots are tried at every such station, see `measure_rows`.
    is_open, out, banks
        Shapes (stations,), (stations, 6) and (stations, 6) or (0, 6): changed in place as
        `measure_rows` says.
    """
    prior_weight = (rules.noise_m / rules.ground_prior_sd) ** 2
    # columns that grow away from the channel on this side
    ordered = strip if sign > 0 else strip[:, ::-1]
    outward = offsets_m if sign > 0 else -offsets_m[::-1]
    measure_rows(
        np.ascontiguousarray(ordered), np.ascontiguousarray(outward), width_m, room_m, cell_m,
        rules.least_rise_m, rules.ground_prior_slope, prior_weight, look_m,
        rules.least_face_slope, rules.lip_ratio, rules.most_rise_m, halvings,
        anchor_rows, is_open, out, banks,
    )  # fmt: skip


def side_of(out: Float) -> Side:
    """Return the fitted figures of one side by name."""
    return Side(
        bed_m=out[:, Z_BED], rise_m=out[:, RISE], toe_m=out[:, TOE], top_m=out[:, TOP],
        ground_slope=out[:, GROUND], misfit_m=out[:, MISFIT],
    )  # fmt: skip
