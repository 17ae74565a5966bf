"""Angle of the bank's face."""

from __future__ import annotations

import numpy as np

from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import Floats, SideFrame


def _angle(frame: SideFrame) -> Floats:
    return frame.bank_angle_deg.copy()


def _angle_error(frame: SideFrame) -> Floats:
    return np.where(np.isfinite(frame.bank_angle_deg), frame.settings.angle_se_deg, np.nan)


BANK_ANGLE = Factor(
    name="bank_angle",
    needs=("bank_angle_deg",),
    gives="angle of the bank's face from level",
    unit="degrees",
    compute=_angle,
    reference="Rosgen 2001; a raster shows no overhang and flattens steep faces",
    error=_angle_error,
    error_group="angle",
    lower_bound="is_angle_lower_bound",
    at_least_as=("bank_height", "bank_height_absolute"),
)
