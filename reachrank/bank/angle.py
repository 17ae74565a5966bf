"""The angle of a face, and where the grid cannot tell it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

RESOLVED_CELLS = 2.0
"""A face whose true run is shorter than this many cells has no measurable angle."""
UNRESOLVED_BELOW_CELLS = 1.7
"""A measured run shorter than this says so: the measured run scatters by a quarter of a cell, so
asking for the full two would withhold every fourth angle that can be measured. Faces of 1.7 to 2
cells that get through are read within 5 degrees too."""


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
