"""Height of the bank: against the depth of the bankfull stream, and in itself."""

from __future__ import annotations

import numpy as np

from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import Floats, SideFrame


def _ratio(frame: SideFrame) -> Floats:
    return frame.bank_height_m / frame.greatest_depth_m


def _ratio_error(frame: SideFrame) -> Floats:
    height = np.nan_to_num(frame.bank_height_se_m) / frame.greatest_depth_m
    depth = _ratio(frame) * frame.settings.depth_relative_se
    return np.hypot(height, depth)


def _height(frame: SideFrame) -> Floats:
    return frame.bank_height_m.copy()


def _height_error(frame: SideFrame) -> Floats:
    return frame.bank_height_se_m.copy()


BANK_HEIGHT = Factor(
    name="bank_height",
    needs=("bank_height_m", "greatest_depth_m"),
    gives="bank height over the greatest bankfull depth",
    unit="ratio",
    compute=_ratio,
    reference="Rosgen 2001; the depth is a curve's mean depth times a setting, or a field value",
    error=_ratio_error,
    error_group="height",
)

BANK_HEIGHT_ABSOLUTE = Factor(
    name="bank_height_absolute",
    needs=("bank_height_m",),
    gives="bank height, top minus toe",
    unit="m",
    compute=_height,
    reference="a higher bank fails sooner at a given angle (Carson & Kirkby 1972)",
    error=_height_error,
    error_group="height",
)
