"""Coir mat over a face, and coir rolls along its toe."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reachrank.errors import InputError

WOOD_STAKES_PER_M2 = 2.0 / 0.9144**2
"""2 wood stakes for each square yard of mat: tool default, no published limit. A maker's staple
pattern holds for that maker's mat alone."""


@dataclass(frozen=True)
class MatTakeOff:
    """Mat to cover a face: the area itself, what is laid, rolls to buy, stakes to drive."""

    face_m2: float
    mat_m2: float
    rolls: int
    stakes: int


def mat_take_off(
    length_m: float,
    slope_height_m: float,
    *,
    roll_width_m: float,
    roll_length_m: float,
    side_overlap_m: float,
    top_key_m: float,
    toe_key_m: float,
    stakes_per_m2: float = WOOD_STAKES_PER_M2,
) -> MatTakeOff:
    """Return the mat for a face: ``(slope + keys) length (1 + overlap / roll width)``.

    The keys are the lengths buried in the trenches at the top and the toe. Rolls are rounded up
    for the whole length, not piece by piece.

    Examples
    --------
    >>> mat = mat_take_off(
    ...     20.0, 3.0, roll_width_m=2.0, roll_length_m=50.0,
    ...     side_overlap_m=0.1, top_key_m=0.5, toe_key_m=0.5,
    ... )
    >>> round(mat.mat_m2, 6), mat.rolls  # 4 m by 20 m and 5 % for the overlap; 100 m2 a roll
    (84.0, 1)
    """
    if not roll_width_m > side_overlap_m >= 0.0:
        raise InputError(f"Rolls {roll_width_m} m wide cannot overlap by {side_overlap_m} m.")
    face = slope_height_m * length_m
    laid = (slope_height_m + top_key_m + toe_key_m) * length_m
    area = laid * (1.0 + side_overlap_m / roll_width_m)
    return MatTakeOff(
        face_m2=face,
        mat_m2=area,
        rolls=math.ceil(area / (roll_width_m * roll_length_m) - 1e-9),
        stakes=math.ceil(laid * stakes_per_m2 - 1e-9),
    )


def coir_rolls(length_m: float, roll_length_m: float) -> int:
    """Return how many coir rolls a toe takes, end to end, rounded up.

    Sold 10 to 20 ft long and 10 to 12 in thick (Center for Watershed Protection, bank
    stabilization fact sheet); they decay within 3 to 6 years and are not for severe scour.

    Examples
    --------
    >>> coir_rolls(20.0, 3.048)  # 10 ft rolls
    7
    """
    return math.ceil(length_m / roll_length_m - 1e-9)
