"""What a factor may look at: every measurement, per section and side, as plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from reachrank.settings.hazard import HazardSettings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
LEFT, RIGHT = 0, 1
"""Columns of every array; left and right look downstream."""


@dataclass(frozen=True, kw_only=True)
class SideFrame:
    """Measurements of n sections, two sides each.

    Every array has shape (n, 2), column 0 left and column 1 right; a measurement of the whole
    section stands in both. Missing is NaN. The arrays cannot be written to.

    Attributes
    ----------
    counts
        True where the side of the section is used: it has a top and no crossing, gap or pond.
    bank_height_m, bank_angle_deg, is_angle_lower_bound
        Top minus toe, the face's angle from level, and whether the grid cannot show it steeper.
    bank_height_se_m
        Standard error of the bank's height.
    both_banks_height_m
        The lower of the two banks' heights, in both columns.
    is_outside
        True on the outside bank of a bend, moved downstream by the lag.
    width_radius_ratio
        Width over the bend's radius on the outside bank; 0 where there is no bend and on the
        inside, for that is a fact and not a missing value.
    cover_frac
        Share of tree or shrub cover in a strip behind the top of the bank.
    soil_index
        Erodibility of the soil, 0 to 1.
    slope_ratio, drainage_area_km2, discharge_m3s, unit_stream_power_w_per_m2
        Fall of the profile, area, discharge and stream power at bankfull.
    width_m
        Bankfull width, else the median top width of the reach.
    bankfull_width_m, mean_depth_m, greatest_depth_m
        Bankfull size from a field value, an attribute or the chosen curve; NaN without.
    settings
        The settings of the stage.
    """

    counts: Bools
    bank_height_m: Floats
    bank_height_se_m: Floats
    bank_angle_deg: Floats
    is_angle_lower_bound: Bools
    both_banks_height_m: Floats
    is_outside: Bools
    width_radius_ratio: Floats
    cover_frac: Floats
    soil_index: Floats
    slope_ratio: Floats
    drainage_area_km2: Floats
    discharge_m3s: Floats
    unit_stream_power_w_per_m2: Floats
    width_m: Floats
    bankfull_width_m: Floats
    mean_depth_m: Floats
    greatest_depth_m: Floats
    settings: HazardSettings

    def __post_init__(self) -> None:
        for name in ARRAYS:
            array = np.asarray(getattr(self, name)).view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @property
    def shape(self) -> tuple[int, int]:
        """(number of sections, 2)."""
        return (self.counts.shape[0], 2)

    def is_absent(self, name: str) -> bool:
        """Return whether no side that counts has a value of that name."""
        values = getattr(self, name)
        if values.dtype == np.bool_:
            return False
        return not bool(np.any(np.isfinite(values[self.counts])))


ARRAYS: tuple[str, ...] = tuple(f.name for f in fields(SideFrame) if f.name != "settings")
"""The names that a factor may ask for in ``needs``."""
