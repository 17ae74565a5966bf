"""Live stakes on a triangular grid: spacing, density and number.

Handbooks give both a spacing of 2 to 3 ft and a density of 2 to 4 per square yard (Maryland
Department of the Environment, Waterway Construction Guidelines, MGWC 2.4). They do not agree: 3 ft
apart is 1.15 per square yard. One of the two leads, and the other follows from it.
"""

from __future__ import annotations

import math

YARD_M = 0.9144
USUAL_DENSITY_PER_M2 = (2.0 / YARD_M**2, 4.0 / YARD_M**2)
"""2 to 4 per square yard: MDE MGWC 2.4."""


def density_per_m2(spacing_m: float) -> float:
    """Return stakes for each square metre at a triangular spacing: ``2 / (sqrt(3) s^2)``.

    Examples
    --------
    >>> round(density_per_m2(2 * 0.3048) * 0.9144**2, 3)  # 2 ft apart, for each square yard
    2.598
    """
    return 2.0 / (math.sqrt(3.0) * spacing_m**2)


def spacing_m(density_per_m2: float) -> float:
    """Return the triangular spacing that gives a density; the inverse of `density_per_m2`.

    Examples
    --------
    >>> round(spacing_m(4 / 0.9144**2) / 0.3048, 2)  # 4 for each square yard, in feet
    1.61
    """
    return math.sqrt(2.0 / (math.sqrt(3.0) * density_per_m2))


def is_usual_density(density_per_m2: float) -> bool:
    """Return whether a density is within the handbook's 2 to 4 for each square yard.

    Examples
    --------
    >>> is_usual_density(density_per_m2(3 * 0.3048))  # 3 ft apart is 1.155 for each square yard
    False
    """
    low, high = USUAL_DENSITY_PER_M2
    return low * (1.0 - 1e-9) <= density_per_m2 <= high * (1.0 + 1e-9)


def stakes_on_face(length_m: float, slope_height_m: float, spacing_m: float) -> int:
    """Return how many stakes a face takes.

    Rows run along the bank, ``sqrt(3)/2`` of the spacing apart up the face; the number of rows
    and the number in each row are rounded up, so that no edge stays bare. On a large face this
    comes to area times density.

    Examples
    --------
    >>> stakes_on_face(10.0, 2.0, 1.0)  # 3 rows of 10
    30
    """
    rows = math.ceil(slope_height_m / (spacing_m * math.sqrt(3.0) / 2.0) - 1e-9)
    each = math.ceil(length_m / spacing_m - 1e-9)
    return rows * each
