"""Undo what cell averaging does to a face, and say where the grid cannot see it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

RUN_SPREAD_CELLS_2 = 2.0
"""Squared cells by which cell averaging and bilinear sampling lengthen the squared run of a fitted
face. A face of run L, averaged over cells of side c and interpolated between them, is the ramp
convolved with a spread of variance c^2/12 + c^2/6 per axis; a ramp of run L has the variance
L^2/12 of its slope, so the fitted squared run grows by up to 12 (c^2/4) = 3 c^2; the least-squares
knots pick up about two thirds of that (found on corridors of known shape)."""

CORNER_LOSS = 0.025
"""Height lost per cell side and slope of the face: averaging lifts the ground at the toe and lowers
it at the top, so the fitted rise falls short (found on noise-free corridors of known height: 4 cm
at 3 m and 60 degrees on 1 m cells, half of that on 0.5 m cells, 1 to 2 cm at 30 degrees). The slope
counts as no steeper than one cell of run shows it."""
RESOLVED_CELLS = 2.0
"""A face whose true run is shorter than this many cells has no measurable angle."""
UNRESOLVED_BELOW_CELLS = 1.8
"""A measured run shorter than this says so: the measured run scatters by a few tenths of a cell, so
asking for the full two would withhold every tenth angle that can be measured."""


def corrected_run_m(fitted_run_m: Float, cell_m: float) -> Float:
    """Return the run of the face less the grid's lengthening, never below a tenth of a cell."""
    squared = np.asarray(fitted_run_m) ** 2 - RUN_SPREAD_CELLS_2 * cell_m**2
    return np.asarray(np.sqrt(np.maximum(squared, (0.1 * cell_m) ** 2)))


def corrected_height_m(fitted_rise_m: Float, run_m: Float, cell_m: float) -> Float:
    """Return the height with what the rounded corners took given back.

    Parameters
    ----------
    fitted_rise_m
        Rise of the fitted face, shape (n,).
    run_m
        Corrected run of the face, shape (n,).
    """
    slope = np.asarray(fitted_rise_m) / np.maximum(run_m, cell_m)
    return np.asarray(fitted_rise_m + CORNER_LOSS * cell_m * slope)


def face_angle_deg(height_m: Float, run_m: Float, cell_m: float) -> tuple[Float, NDArray[np.bool_]]:
    """Return the face's angle from level and whether it is only a lower bound.

    Where the run is too short for the grid, the angle returned is that of the shortest run the grid
    resolves (`RESOLVED_CELLS`): the face is at least this steep.
    """
    height = np.asarray(height_m, np.float64)
    run = np.asarray(run_m, np.float64)
    bound = run < UNRESOLVED_BELOW_CELLS * cell_m
    seen = np.where(bound, RESOLVED_CELLS * cell_m, run)
    return np.degrees(np.arctan2(height, seen)), bound & np.isfinite(height)
