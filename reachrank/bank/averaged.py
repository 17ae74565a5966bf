"""The bank as a grid shows it: averaged over cells and read between them.

A cell holds the mean of its ground, and a profile is read between cell centres. Both together
round the corners of a bank over three cells, so that straight lines fitted to the profile make a
face of two cells too long, its height too low and its top too far out. Here the bank itself is
sought whose averages fit the profile best.
"""

from __future__ import annotations

import numba
import numpy as np

from reachrank.bank.fit import GROUND, MISFIT, RISE, TOE, TOP, Z_BED

TURNS = 3
"""Steps of Gauss and Newton, the first from the fit of straight lines; more change nothing."""
LEAST_RUN_CELLS = 0.1
"""Shorter faces look alike in a grid."""
SPREAD_CELLS_2 = 2.0
"""About how much averaging adds to the squared run of straight lines, in squared cells: where to
start from."""
_UNKNOWNS = 5
WORK_SHAPE = (_UNKNOWNS + 1, _UNKNOWNS + 1)
"""Shape of the array that `fit_averaged` works in: normal equations, then what solves them."""


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def averaged_hinge(v):  # type: ignore[no-untyped-def]
    """Return max(v, 0) as a grid shows it, and its slope; ``v`` in cells.

    The mean over a cell is a box one cell wide, reading between centres a triangle two cells wide:
    together the quadratic B-spline, three cells wide with a variance of a quarter of a squared
    cell. Across the grid's axes the shape differs a little, the variance does not.
    """
    if v <= -1.5:
        return 0.0, 0.0
    if v >= 1.5:
        return v, 1.0
    a = v + 1.5
    slope = a * a * a
    value = slope * a
    if v > -0.5:
        b = v + 0.5
        cube = 3.0 * b * b * b
        slope -= cube
        value -= cube * b
        if v > 0.5:
            c = v - 0.5
            cube = 3.0 * c * c * c
            slope += cube
            value += cube * c
    return value / 24.0, slope / 6.0


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _solve(work):  # type: ignore[no-untyped-def]
    # elimination in the symmetric equations of rows 0 to 4, right-hand sides in column 5; the
    # solution goes to row 5
    for i in range(_UNKNOWNS):
        work[i, i] *= 1.000001
        for j in range(i):
            work[i, j] = work[j, i]
    for i in range(_UNKNOWNS):
        pivot = work[i, i]
        if not pivot > 1e-12:
            return False
        for j in range(i + 1, _UNKNOWNS):
            times = work[j, i] / pivot
            for k in range(i, _UNKNOWNS + 1):
                work[j, k] -= times * work[i, k]
    for i in range(_UNKNOWNS - 1, -1, -1):
        value = work[i, _UNKNOWNS]
        for j in range(i + 1, _UNKNOWNS):
            value -= work[i, j] * work[_UNKNOWNS, j]
        work[_UNKNOWNS, i] = value / work[i, i]
    return True


@numba.njit(cache=True, nogil=True, error_model="numpy")
def fit_averaged(u, z, n, cell, prior_slope, prior_weight, work, result, bank):  # type: ignore[no-untyped-def]
    """Fit bed, face and ground whose averages over cells are a profile.

    Parameters
    ----------
    u, z
        Offsets (m) growing away from the channel and elevations (m); the first ``n`` count.
    cell
        Side of the cells, m.
    prior_slope, prior_weight
        As in `reachrank.bank.fit.fit_bank`.
    work
        Scratch of shape `WORK_SHAPE`.
    result
        Shape (6,): the straight lines fitted to the same profile, to start from.
    bank
        Shape (6,): filled with the figures of the bank found, in the same order. Never a worse fit
        than the straight lines with `SPREAD_CELLS_2` taken off their run.
    """
    least_q = (LEAST_RUN_CELLS * cell) ** 2
    longest = result[TOP] - result[TOE] + cell
    z0 = result[Z_BED]
    rise = result[RISE]
    ground = result[GROUND]
    middle = 0.5 * (result[TOE] + result[TOP])
    # what the grid shows of a short face goes by its squared run
    run = result[TOP] - result[TOE]
    q = max(run * run - SPREAD_CELLS_2 * cell * cell, (0.3 * cell) ** 2)
    best = np.inf
    for _ in range(TURNS):
        run = np.sqrt(q)
        toe = middle - 0.5 * run
        top = middle + 0.5 * run
        slope = rise / run
        work[:] = 0.0
        misfit = prior_weight * (ground - prior_slope) ** 2
        for k in range(n):
            at_toe, toe_slope = averaged_hinge((u[k] - toe) / cell)
            at_top, top_slope = averaged_hinge((u[k] - top) / cell)
            d2 = at_top * cell  # by the slope of the ground
            d1 = (at_toe * cell - d2) / run  # by the rise
            left = z[k] - z0 - rise * d1 - ground * d2
            misfit += left * left
            by_toe = -slope * toe_slope
            by_top = (slope - ground) * top_slope
            d3 = by_toe + by_top  # by the middle
            d4 = (0.5 * (by_top - by_toe) - slope * d1) / (2.0 * run)  # by the squared run
            work[0, 0] += 1.0
            work[0, 1] += d1
            work[0, 2] += d2
            work[0, 3] += d3
            work[0, 4] += d4
            work[0, 5] += left
            work[1, 1] += d1 * d1
            work[1, 2] += d1 * d2
            work[1, 3] += d1 * d3
            work[1, 4] += d1 * d4
            work[1, 5] += d1 * left
            work[2, 2] += d2 * d2
            work[2, 3] += d2 * d3
            work[2, 4] += d2 * d4
            work[2, 5] += d2 * left
            work[3, 3] += d3 * d3
            work[3, 4] += d3 * d4
            work[3, 5] += d3 * left
            work[4, 4] += d4 * d4
            work[4, 5] += d4 * left
        if misfit < best:
            best = misfit
            bank[Z_BED] = z0
            bank[RISE] = rise
            bank[TOE] = toe
            bank[TOP] = top
            bank[GROUND] = ground
            bank[MISFIT] = np.sqrt(misfit / n)
        work[2, 2] += prior_weight
        work[2, 5] += prior_weight * (prior_slope - ground)
        if not _solve(work):
            break
        z0 += work[_UNKNOWNS, 0]
        rise += work[_UNKNOWNS, 1]
        ground += work[_UNKNOWNS, 2]
        middle += min(max(work[_UNKNOWNS, 3], -cell), cell)
        q += min(max(work[_UNKNOWNS, 4], -0.7 * q - 0.3 * cell * cell), 2.0 * q + cell * cell)
        q = min(max(q, least_q), longest * longest)
        if not abs(rise - result[RISE]) < 0.5 * result[RISE]:
            break
