"""The whole bank at once: a level bed, a straight face, sloping ground behind it.

The three are fitted together to one side of a profile, by least squares, for every pair of knots
(toe, top); the pair with the least misfit wins and is then refined between samples. The ground
behind is free to slope, held by a weak prior. One point, however chosen, is at the mercy of the
noise in that point; a fit averages it over all samples.
"""

from __future__ import annotations

import numba
import numpy as np

Z_BED, RISE, TOE, TOP, GROUND, MISFIT = range(6)
FIGURES = 6
"""Places in the array that `fit_bank` fills: bed elevation (m), bank height (m), offset of toe and
top (m), slope of the ground behind (m/m), root mean square misfit (m)."""
GRID_STEPS = 24
"""Steps along the profile of the first grid of knots, where cells are not coarser than that."""
LEAST_GAIN = 1e-9
"""A pair of knots is better than another if it explains so much more, as a share of the profile's
sum of squares. Of a face with hardly a sample on it many pairs explain the same, but for rounding:
then the first one counts, on every computer and in every unit."""
HAIR = 1e-9
"""What rounding may add to an offset, as a share of the distance between samples."""
TRIALS = 32
"""Toes that are tried with one top at a time, no fewer than there are steps on the first grid."""
TRIALS_SHAPE = (7, TRIALS)
"""Shape of the array that `fit_sums` works in."""
SUMS = 5
"""Rows of the prefix sums: offset, elevation, their squares' and product's, see `prefix_sums`."""


@numba.njit(cache=True, nogil=True, error_model="numpy")
def prefix_sums(u, z, n, sums):  # type: ignore[no-untyped-def]
    """Fill ``sums[:, :n + 1]`` with running sums of u, w, u u, u w and w w, where w = z - z[0]."""
    base = z[0]
    for k in range(SUMS):
        sums[k, 0] = 0.0
    for i in range(n):
        x = u[i]
        w = z[i] - base
        sums[0, i + 1] = sums[0, i] + x
        sums[1, i + 1] = sums[1, i] + w
        sums[2, i + 1] = sums[2, i] + x * x
        sums[3, i + 1] = sums[3, i] + x * w
        sums[4, i + 1] = sums[4, i] + w * w


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _ground(sums, n, b, p, prior_slope, prior_weight):  # type: ignore[no-untyped-def]
    # what the normal equations need of the ground [b, n): v = u - p; one top serves many toes
    n_ground = float(n - b)
    gu = sums[0, n] - sums[0, b]
    guu = sums[2, n] - sums[2, b]
    gz = sums[1, n] - sums[1, b]
    guz = sums[3, n] - sums[3, b]
    v1 = gu - p * n_ground
    v2 = guu - 2.0 * p * gu + p * p * n_ground
    return n_ground, gz, v1, v2 + prior_weight, guz - p * gz + prior_weight * prior_slope


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _solve(n_face, fu, fz, fuu, fuz, per_all, b0, t, p, n_ground, gz, v1, v2, vz):  # type: ignore[no-untyped-def]
    # the normal equations of bed, face and ground, by L D L': of the face's samples their number
    # and their sums, of the ground what `_ground` returns
    per_run = 1.0 / (p - t)
    # face: r = (u - t) / run
    r1 = (fu - t * n_face) * per_run
    r2 = (fuu - 2.0 * t * fu + t * t * n_face) * per_run * per_run
    rz = (fuz - t * fz) * per_run
    # unknowns: z0, rise, ground slope
    a01 = r1 + n_ground
    l10 = a01 * per_all
    l20 = v1 * per_all
    y1 = rz + gz - l10 * b0
    d1 = r2 + n_ground - l10 * a01
    e = v1 - l20 * a01
    per_d1 = 1.0 / d1
    l21 = e * per_d1
    d2 = v2 - l20 * v1 - l21 * e
    y2 = vz - l20 * b0 - l21 * y1
    per_d2 = 1.0 / d2
    ground = y2 * per_d2
    rise = (y1 - e * ground) * per_d1
    # misfit + prior = zz - x.b  (zz added by the caller)
    value = -(b0 * b0 * per_all + y1 * y1 * per_d1 + y2 * y2 * per_d2)
    is_solved = (d1 > 1e-9) & (d2 > 1e-12)
    return value if is_solved else np.inf, rise, ground


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _solve_at(sums, per_all, b0, a, b, t, p, n_ground, gz, v1, v2, vz):  # type: ignore[no-untyped-def]
    # `_solve` for the bed [0, a), the face [a, b) and the ground [b, n)
    return _solve(
        float(b - a), sums[0, b] - sums[0, a], sums[1, b] - sums[1, a], sums[2, b] - sums[2, a],
        sums[3, b] - sums[3, a], per_all, b0, t, p, n_ground, gz, v1, v2, vz,
    )  # fmt: skip


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _solve_all(  # type: ignore[no-untyped-def]
    trials, count, sums, per_all, b0, b, p, n_ground, gz, v1, v2, vz, least_rise
):  # fmt: skip
    # `_solve` for one top and many toes, several at a time; infinite where that is no rising bank
    su, sw, suu, suw = sums[0, b], sums[1, b], sums[2, b], sums[3, b]
    toe, before = trials[0], trials[1]
    au, aw, auu, auw, out = trials[2], trials[3], trials[4], trials[5], trials[6]
    for k in range(count):
        value, rise, ground = _solve(
            b - before[k], su - au[k], sw - aw[k], suu - auu[k], suw - auw[k], per_all, b0,
            toe[k], p, n_ground, gz, v1, v2, vz,
        )  # fmt: skip
        is_bank = (rise >= least_rise) & (rise > 1.5 * ground * (p - toe[k]))
        out[k] = value if is_bank else np.inf


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fit_sums(  # type: ignore[no-untyped-def]
    sums,
    n,
    first,
    du,
    base,
    least_run,
    least_rise,
    first_toe,
    last_toe,
    ground_least,
    prior_slope,
    prior_weight,
    start_toe,
    start_top,
    halvings,
    trials,
    result,
):
    """Fit bed, face and ground to the first ``n`` samples behind `prefix_sums`.

    Samples lie at ``first + i du``; ``base`` is the elevation that the sums count from. The rest is
    as in `fit_bank`.
    """
    last = first + (n - 1) * du
    step = max(2.0 * least_run, du, (last - first) / GRID_STEPS)
    best = np.inf
    best_t = start_toe
    best_p = start_top
    # samples, knots and limits lie on one grid: what is at a limit but for rounding is within
    hair = HAIR * du
    last_top = last - ground_least + hair
    last_toe += hair
    per_du = 1.0 / du
    per_all = 1.0 / float(n)
    b0 = sums[1, n]
    slack = LEAST_GAIN * sums[4, n]
    if np.isnan(start_toe):
        # the toes and the tops to try lie on one grid, so that the ground behind a top serves all,
        # and what ends at a toe every top
        least_t = max(first_toe, first + du)
        least_p = least_t + least_run
        tops = int((last_top - least_p) / step) + 1 if last_top >= least_p else 0
        toes = 0
        while toes < min(tops, TRIALS) and least_t + toes * step <= last_toe:
            t = least_t + toes * step
            a = int((t - first) * per_du) + 1
            trials[0, toes] = t
            trials[1, toes] = a
            for k in range(SUMS - 1):
                trials[2 + k, toes] = sums[k, a]
            toes += 1
        value = trials[6]
        for top in range(tops):
            p = least_p + top * step
            b = min(int((p - first) * per_du) + 1, n)
            n_ground, gz, v1, v2, vz = _ground(sums, n, b, p, prior_slope, prior_weight)
            count = min(top + 1, toes)
            _solve_all(trials, count, sums, per_all, b0, b, p, n_ground, gz, v1, v2, vz, least_rise)
            for toe in range(count):
                if value[toe] < best - slack:
                    best = value[toe]
                    best_t = trials[0, toe]
                    best_p = p
        if np.isnan(best_t):
            return False
    # refine both knots between the samples by shrinking steps around the best pair
    span = 0.5 * step
    for _ in range(halvings):
        centre_t = best_t
        centre_p = best_p
        is_tried = np.isfinite(best)  # the pair that a fit is started from is not
        for j in range(-1, 2):
            p = centre_p + j * span
            if p > last_top:
                continue
            b = min(int((p - first) * per_du) + 1, n)
            n_ground, gz, v1, v2, vz = _ground(sums, n, b, p, prior_slope, prior_weight)
            for i in range(-1, 2):
                t = centre_t + i * span
                if t < first + 0.5 * du - hair or t > last_toe or p - t < least_run - hair:
                    continue
                if i == 0 and j == 0 and is_tried:
                    continue
                a = int((t - first) * per_du) + 1
                value, rise, ground = _solve_at(
                    sums, per_all, b0, a, b, t, p, n_ground, gz, v1, v2, vz
                )
                if value < best - slack and rise >= least_rise and rise > 1.5 * ground * (p - t):
                    best = value
                    best_t = t
                    best_p = p
        span *= 0.5
    if not np.isfinite(best):
        return False
    a = int((best_t - first) * per_du) + 1
    b = min(int((best_p - first) * per_du) + 1, n)
    n_ground, gz, v1, v2, vz = _ground(sums, n, b, best_p, prior_slope, prior_weight)
    value, rise, ground = _solve_at(
        sums, per_all, b0, a, b, best_t, best_p, n_ground, gz, v1, v2, vz
    )
    n_face = float(b - a)
    face = (sums[0, b] - sums[0, a] - best_t * n_face) / (best_p - best_t)
    z0 = (b0 - rise * (face + n_ground) - ground * v1) / n
    misfit = value + prior_weight * prior_slope * prior_slope + sums[4, n]
    result[Z_BED] = z0 + base
    result[RISE] = rise
    result[TOE] = best_t
    result[TOP] = best_p
    result[GROUND] = ground
    result[MISFIT] = np.sqrt(max(misfit, 0.0) / n)
    return True


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fit_bank(  # type: ignore[no-untyped-def]
    u,
    z,
    least_run,
    least_rise,
    first_toe,
    last_toe,
    ground_least,
    prior_slope,
    prior_weight,
    start_toe,
    start_top,
    halvings,
    result,
):
    """Fit bed, face and ground to one side of a profile.

    Parameters
    ----------
    u, z
        float64, shape (n,): offsets in metres, evenly spaced and growing away from the channel,
        and elevations in metres without missing values.
    least_run, least_rise
        Least horizontal run and least rise of a face, metres.
    first_toe, last_toe
        The toe is looked for between these offsets.
    ground_least
        Ground that must be left behind the top, metres.
    prior_slope, prior_weight
        Expected slope of the ground behind, and its weight: noise variance over the variance of
        that expectation.
    start_toe, start_top
        Knots to start from; NaN to try all pairs on a grid first.
    halvings
        How often the step around the best pair is halved.
    result
        float64, shape (6,): filled as the names at the top of this file say.

    Returns
    -------
    bool
        Whether a rising bank was found. O(1) work per pair of knots, at most about
        ``GRID_STEPS`` squared pairs.
    """
    n = u.size
    if n < 5:
        return False
    sums = np.empty((SUMS, n + 1))
    prefix_sums(u, z, n, sums)
    return fit_sums(
        sums, n, u[0], u[1] - u[0], z[0], least_run, least_rise, first_toe, last_toe, ground_least,
        prior_slope, prior_weight, start_toe, start_top, halvings, np.empty(TRIALS_SHAPE), result,
    )  # fmt: skip
