"""Where along a channel the sections go."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


def section_spacing_m(spacing_m: float, toe_width_m: float, cell_m: float) -> float:
    """Return the spacing: the wanted one, at most one toe width, at least two cells.

    The toe width counts in half cells, so that a hair of it does not move every section.
    """
    if not np.isfinite(toe_width_m):
        return max(spacing_m, 2.0 * cell_m)
    width = round(2.0 * toe_width_m / cell_m) * cell_m / 2.0
    return max(min(spacing_m, width), 2.0 * cell_m)


def section_points(length_m: float, count: int, spacing_m: float) -> NDArray[np.int64]:
    """Return the point numbers, of ``count`` even points along a line, that carry a section.

    Sections lie in the middle of equal pieces about ``spacing_m`` long, so that every part of the
    line is nearest to one section and reversing the line changes none.
    """
    pieces = max(1, round(length_m / spacing_m))
    at = (np.arange(pieces) + 0.5) / pieces * (count - 1)
    # round half away from the middle on both halves: the same set from either end
    half = (count - 1) / 2.0
    number = np.where(at <= half, np.floor(at + 0.5), count - 1 - np.floor(count - 1 - at + 0.5))
    return np.unique(number.astype(np.int64))
