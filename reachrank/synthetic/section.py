"""The shape of one bank: toe, face, top, and the ground right behind it.

Everything is measured outwards from the middle of the channel and up from the water's edge. The
shape of the face is exact; what lies beyond the top is blended into the flood plain by `ground`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BENCH_AT = 0.45
"""Height of a failed block's upper surface over the height of the bank, at its outer edge."""
BENCH_SLOPE = 0.12
"""Rise over run of a failed block's upper surface."""


@dataclass(frozen=True)
class BankShape:
    """One bank, one value per station.

    Attributes
    ----------
    toe_m
        Middle of the channel to the toe.
    height_m
        Top above toe.
    cot
        Run over rise of the face (of both scarps where there is a failed block).
    rounding_m
        Half the length, across the channel, over which the lip is rounded; the rounding is a
        parabola tangent to the face and to the ground behind.
    bench_m
        Width of a failed block half way up the face.
    behind_ratio
        Slope of the ground right behind the top, rise over run, negative behind a levee's crest.
    """

    toe_m: Array
    height_m: Array
    cot: Array
    rounding_m: Array
    bench_m: Array
    behind_ratio: Array

    @property
    def top_m(self) -> Array:
        """Middle of the channel to the top: where face and ground would meet without rounding."""
        rise = self.height_m - self.bench_m * BENCH_SLOPE
        return self.toe_m + self.bench_m + rise * self.cot

    @property
    def angle_deg(self) -> Array:
        """Angle of the face from level; of each scarp where there is a failed block."""
        return np.degrees(np.arctan2(1.0, self.cot))

    @property
    def chord_angle_deg(self) -> Array:
        """Angle of the straight line from toe to top."""
        return np.degrees(np.arctan2(self.height_m, self.top_m - self.toe_m))

    def at(self, index: NDArray[np.int64], share: Array) -> BankShape:
        """Return the shape between stations ``index`` and ``index + 1``."""
        values = {}
        for part in fields(self):
            column = getattr(self, part.name)
            values[part.name] = column[index] + share * (column[index + 1] - column[index])
        return BankShape(**values)


def height_above_water(distance_m: Array, bank: BankShape) -> Array:
    """Elevation above the water's edge at distances from the middle of the channel.

    Parameters
    ----------
    distance_m
        Shape (n,), not negative.
    bank
        One shape per point.

    Returns
    -------
    Array
        Shape (n,): 0 up to the toe, the face, and behind the top the ground at its first slope.
    """
    beyond = distance_m - bank.toe_m
    low_rise = np.where(bank.bench_m > 0, BENCH_AT * bank.height_m, 0.0)
    low_run = low_rise * bank.cot
    into_bench = np.clip(beyond - low_run, 0.0, bank.bench_m)
    from_top = distance_m - bank.top_m
    lower = np.clip(beyond, 0.0, low_run) / bank.cot + into_bench * BENCH_SLOPE
    upper = bank.height_m + from_top / bank.cot
    on_upper = beyond >= low_run + bank.bench_m
    face = np.where(on_upper, upper, lower)
    ground = bank.height_m + from_top * bank.behind_ratio
    sharp = np.where(from_top >= 0, ground, np.where(beyond <= 0, 0.0, face))
    r = np.maximum(bank.rounding_m, 1e-9)
    steep, flat = 1.0 / bank.cot, bank.behind_ratio
    round_lip = (
        bank.height_m
        + 0.5 * (steep + flat) * from_top
        + (flat - steep) * (from_top**2 + r**2) / (4.0 * r)
    )
    return np.where(np.abs(from_top) < bank.rounding_m, round_lip, sharp)
