"""Whole numbers of what was measured, so that no last digit decides.

Widths are measured on a grid, and steps are a part of a width: quotients of the two come out at a
half, or at a whole number, exactly but for rounding. What misses it by a hair counts as it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

HAIR = 1e-6
"""So much more or less is no more and no less: of a count, a metre or a cell."""


def nearest(value: float) -> int:
    """Return the nearest whole number; a half, or a hair less, goes up.

    Examples
    --------
    >>> nearest(2.5), nearest(2.5 - 1e-12), nearest(2.4)
    (3, 3, 2)
    """
    return math.floor(value + 0.5 + HAIR)


def nearest_each(values: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the nearest whole number of each value, as `nearest` does; shape (n,)."""
    return np.floor(np.asarray(values) + (0.5 + HAIR)).astype(np.int64)


def at_most(value: float) -> int:
    """Return the greatest whole number that is not above a value by more than a hair.

    Examples
    --------
    >>> at_most(2.0), at_most(2.0 - 1e-12), at_most(1.9)
    (2, 2, 1)
    """
    return math.floor(value + HAIR)


def at_least(value: float) -> int:
    """Return the least whole number that is not below a value by more than a hair.

    Examples
    --------
    >>> at_least(2.0), at_least(2.0 + 1e-12), at_least(2.1)
    (2, 2, 3)
    """
    return math.ceil(value - HAIR)
