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


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _solve(n, su, sz, suu, suz, a, b, t, p, prior_slope, prior_weight, out):  # type: ignore[no-untyped-def]
    # sums over [0, a) bed, [a, b) face, [b, n) ground, from prefix sums
    n_bed = float(a)
    n_face = float(b - a)
    n_ground = float(n - b)
    run = p - t
    # face: r = (u - t) / run
    fu = su[b] - su[a]
    fuu = suu[b] - suu[a]
    fz = sz[b] - sz[a]
    fuz = suz[b] - suz[a]
    r1 = (fu - t * n_face) / run
    r2 = (fuu - 2.0 * t * fu + t * t * n_face) / (run * run)
    rz = (fuz - t * fz) / run
    # ground: v = u - p
    gu = su[n] - su[b]
    guu = suu[n] - suu[b]
    gz = sz[n] - sz[b]
    guz = suz[n] - suz[b]
    v1 = gu - p * n_ground
    v2 = guu - 2.0 * p * gu + p * p * n_ground
    vz = guz - p * gz
    # unknowns: z0, rise, ground slope
    a00 = n_bed + n_face + n_ground
    a01 = r1 + n_ground
    a02 = v1
    a11 = r2 + n_ground
    a12 = v1
    a22 = v2 + prior_weight
    b0 = sz[n]
    b1 = rz + gz
    b2 = vz + prior_weight * prior_slope
    # Cholesky, three by three
    if a00 <= 0.0:
        return np.inf
    l00 = np.sqrt(a00)
    l10 = a01 / l00
    l20 = a02 / l00
    d1 = a11 - l10 * l10
    if d1 <= 1e-9:
        return np.inf
    l11 = np.sqrt(d1)
    l21 = (a12 - l20 * l10) / l11
    d2 = a22 - l20 * l20 - l21 * l21
    if d2 <= 1e-12:
        return np.inf
    l22 = np.sqrt(d2)
    y0 = b0 / l00
    y1 = (b1 - l10 * y0) / l11
    y2 = (b2 - l20 * y0 - l21 * y1) / l22
    g = y2 / l22
    rise = (y1 - l21 * g) / l11
    z0 = (y0 - l10 * rise - l20 * g) / l00
    out[0] = z0
    out[1] = rise
    out[2] = g
    # misfit + prior = zz - x.b  (zz added by the caller)
    return -(z0 * b0 + rise * b1 + g * b2) + prior_weight * prior_slope * prior_slope


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
    du = u[1] - u[0]
    base = z[0]
    su = np.zeros(n + 1)
    sz = np.zeros(n + 1)
    suu = np.zeros(n + 1)
    suz = np.zeros(n + 1)
    zz = 0.0
    for i in range(n):
        w = z[i] - base
        su[i + 1] = su[i] + u[i]
        sz[i + 1] = sz[i] + w
        suu[i + 1] = suu[i] + u[i] * u[i]
        suz[i + 1] = suz[i] + u[i] * w
        zz += w * w
    step = max(2.0 * least_run, du, (u[n - 1] - u[0]) / GRID_STEPS)
    work = np.empty(3)
    best = np.inf
    best_t = start_toe
    best_p = start_top
    last_top = u[n - 1] - ground_least
    t = max(first_toe, u[0] + du) if np.isnan(start_toe) else np.inf
    while t <= last_toe:
        a = int(np.floor((t - u[0]) / du)) + 1
        p = t + least_run
        while p <= last_top:
            b = int(np.floor((p - u[0]) / du)) + 1
            b = min(max(b, a), n)
            value = _solve(n, su, sz, suu, suz, a, b, t, p, prior_slope, prior_weight, work)
            if value < best and work[1] >= least_rise and work[1] / (p - t) > 1.5 * work[2]:
                best = value
                best_t = t
                best_p = p
            p += step
        t += step
    if np.isnan(best_t):
        return False
    # refine both knots between the samples by shrinking steps around the best pair
    span = 0.5 * step
    for _ in range(halvings):
        centre_t = best_t
        centre_p = best_p
        for i in range(-1, 2):
            for j in range(-1, 2):
                t = centre_t + i * span
                p = centre_p + j * span
                if t < u[0] + 0.5 * du or t > last_toe or p - t < least_run or p > last_top:
                    continue
                a = int(np.floor((t - u[0]) / du)) + 1
                b = min(max(int(np.floor((p - u[0]) / du)) + 1, a), n)
                value = _solve(n, su, sz, suu, suz, a, b, t, p, prior_slope, prior_weight, work)
                if value < best and work[1] >= least_rise and work[1] / (p - t) > 1.5 * work[2]:
                    best = value
                    best_t = t
                    best_p = p
        span *= 0.5
    if not np.isfinite(best):
        return False
    a = int(np.floor((best_t - u[0]) / du)) + 1
    b = min(max(int(np.floor((best_p - u[0]) / du)) + 1, a), n)
    value = _solve(n, su, sz, suu, suz, a, b, best_t, best_p, prior_slope, prior_weight, work)
    result[Z_BED] = work[0] + base
    result[RISE] = work[1]
    result[TOE] = best_t
    result[TOP] = best_p
    result[GROUND] = work[2]
    result[MISFIT] = np.sqrt(max(value + zz, 0.0) / n)
    return True
