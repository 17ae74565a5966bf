"""Live fascines in rows along a face: spacing by slope, bundles, twine, dead stakes."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from reachrank.errors import InputError

FOOT_M = 0.3048


@dataclass(frozen=True)
class FascineSpacing:
    """Distance between trenches up the face, and the longest face, for a slope.

    ``is_interpolated`` is true for the two bands that the printed table leaves out.
    """

    least_m: float
    greatest_m: float
    longest_face_m: float
    is_interpolated: bool


# Slope H:V from, to, inclusive; distance between trenches on the face from, to; longest face; feet.
PRINTED_FT: tuple[tuple[float, float, float, float, float], ...] = (
    (1.0, 1.5, 3.0, 4.0, 15.0),
    (1.5, 2.0, 4.0, 5.0, 20.0),
    (2.0, 2.5, 5.0, 6.0, 30.0),
    (2.5, 3.0, 6.0, 8.0, 40.0),
    (3.5, 4.0, 8.0, 9.0, 50.0),
    (4.5, 5.0, 9.0, 10.0, 60.0),
)
"""NRCS Engineering Field Handbook, chapter 18, Table 18-1 (October 1992); from memory. The bands
3:1 to 3.5:1 and 4:1 to 4.5:1 are not in it."""


def fascine_spacing(slope_h_per_v: float) -> FascineSpacing:
    """Return the spacing for a slope of so many across to one up, 1 to 5.

    On the border of two bands the steeper one holds, for its rows are closer. In a band that the
    table leaves out, each figure is midway between those of its neighbours.

    Raises
    ------
    InputError
        Where the slope is steeper than 1:1 or flatter than 5:1: the table ends there.

    Examples
    --------
    >>> spacing = fascine_spacing(2.0)
    >>> round(spacing.least_m / 0.3048, 9), round(spacing.greatest_m / 0.3048, 9)
    (4.0, 5.0)
    >>> fascine_spacing(3.2).is_interpolated
    True
    """
    for low, high, least, greatest, longest in PRINTED_FT:
        if low <= slope_h_per_v <= high:
            return FascineSpacing(least * FOOT_M, greatest * FOOT_M, longest * FOOT_M, False)
    for below, above in itertools.pairwise(PRINTED_FT):
        if below[1] < slope_h_per_v < above[0]:
            least, greatest, longest = (
                FOOT_M * (a + b) / 2.0 for a, b in zip(below[2:], above[2:], strict=True)
            )
            return FascineSpacing(least, greatest, longest, True)
    raise InputError(
        f"No spacing of fascines is known for a slope of {slope_h_per_v}:1.",
        hint="The published table holds for slopes from 1:1 to 5:1.",
    )


def fascine_rows(slope_height_m: float, spacing_m: float) -> int:
    """Return the number of rows on a face: one at the bottom and one each spacing up.

    Examples
    --------
    >>> fascine_rows(2.0, 0.9)  # at 0, 0.9 and 1.8 m
    3
    """
    return math.floor(slope_height_m / spacing_m + 1e-9) + 1


@dataclass(frozen=True)
class FascineTakeOff:
    """What rows of fascines take."""

    rows: int
    length_m: float
    bundles: int
    twine_m: float
    dead_stakes: int


def fascine_take_off(
    length_m: float,
    slope_height_m: float,
    spacing_m: float,
    *,
    bundle_length_m: float,
    overlap_m: float,
    bundle_diameter_m: float,
    tie_spacing_m: float = 0.38,
    stake_spacing_m: float = 0.9,
) -> FascineTakeOff:
    """Return rows, bundles, twine and dead stakes.

    Parameters
    ----------
    length_m, slope_height_m
        The face along the bank and up the slope.
    spacing_m
        Between rows on the face; see `fascine_spacing`.
    bundle_length_m, overlap_m, bundle_diameter_m
        One bundle. Handbooks give diameters from 4 to 10 inches, so there is no default.
    tie_spacing_m, stake_spacing_m
        38 cm between ties; at most 90 cm between stakes, one row below the bundle and one through
        it, and another pair at each overlap: Allen & Leech 1997, WES TR EL-97-8.
    """
    if not bundle_length_m > overlap_m >= 0.0:
        raise InputError(f"Bundles of {bundle_length_m} m cannot overlap by {overlap_m} m.")
    rows = fascine_rows(slope_height_m, spacing_m)
    per_row = math.ceil(length_m / (bundle_length_m - overlap_m) - 1e-9)
    bundles = rows * per_row
    ties = math.floor(bundle_length_m / tie_spacing_m + 1e-9) + 1
    pairs_per_row = math.ceil(length_m / stake_spacing_m - 1e-9)
    return FascineTakeOff(
        rows=rows,
        length_m=rows * length_m,
        bundles=bundles,
        twine_m=bundles * ties * math.pi * bundle_diameter_m,
        dead_stakes=2 * rows * (pairs_per_row + per_row - 1),
    )
