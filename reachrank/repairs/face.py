"""The face of a bank: its slope height as a range, and its shape after work by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reachrank.repairs.sediment import slope_height_m


@dataclass(frozen=True, slots=True)
class Face:
    """Slope height, low and high, m; both alike where the angle is known."""

    low_m: float
    high_m: float


def face_as_found(
    bank_height_m: float, bank_angle_deg: float, *, is_lower_bound: bool
) -> Face | None:
    """Return the slope height of a plane face; None where height or angle is not known.

    Where the angle is only a lower bound, the face may be anything up to vertical: the slope
    height then runs from the bank height to that at the bound. An overhang is not looked at.

    Examples
    --------
    >>> face = face_as_found(1.5, 30.0, is_lower_bound=True)  # 1.5 / sin 90 to 1.5 / sin 30
    >>> face.low_m, round(face.high_m, 9)
    (1.5, 3.0)
    """
    if not (bank_height_m > 0.0 and 0.0 < bank_angle_deg <= 90.0):
        return None
    high = slope_height_m(bank_height_m, bank_angle_deg)
    return Face(bank_height_m if is_lower_bound else high, high)


@dataclass(frozen=True, slots=True)
class ShapedFace:
    """A face made ready to plant: slope, slope height, and soil cut for each metre of bank."""

    h_per_v: float
    face: Face
    cut_low_m3_per_m: float
    cut_high_m3_per_m: float


def shaped_face(
    bank_height_m: float,
    bank_angle_deg: float,
    *,
    is_lower_bound: bool,
    steepest_h_per_v: float,
) -> ShapedFace:
    """Return the face after its top is cut back to a slope, the toe staying where it is.

    A face that is flat enough already stays as it is. The soil cut is the triangle between both
    faces, ``h^2 / 2 (cot target - cot angle)``. ``h_per_v`` is the steepest that the finished
    face can be.

    Examples
    --------
    >>> shaped = shaped_face(1.0, 45.0, is_lower_bound=False, steepest_h_per_v=1.5)
    >>> round(shaped.cut_low_m3_per_m, 9), round(shaped.face.low_m, 3)  # (1.5 - 1)/2; sqrt(3.25)
    (0.25, 1.803)
    """
    across = 1.0 / math.tan(math.radians(bank_angle_deg))
    finished = max(across, steepest_h_per_v)
    least = steepest_h_per_v if is_lower_bound else finished
    half = 0.5 * bank_height_m**2
    cut_low = half * max(steepest_h_per_v - across, 0.0)
    cut_high = half * steepest_h_per_v if is_lower_bound else cut_low
    return ShapedFace(
        h_per_v=least,
        face=Face(
            bank_height_m * math.hypot(1.0, least), bank_height_m * math.hypot(1.0, finished)
        ),
        cut_low_m3_per_m=cut_low,
        cut_high_m3_per_m=cut_high,
    )
