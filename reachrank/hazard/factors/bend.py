"""Standing on the outside of a bend."""

from __future__ import annotations

from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import Floats, SideFrame


def _width_radius(frame: SideFrame) -> Floats:
    return frame.width_radius_ratio.copy()


def _error(frame: SideFrame) -> Floats:
    return frame.width_radius_ratio * frame.settings.radius_relative_se


BEND = Factor(
    name="bend",
    needs=("width_radius_ratio",),
    gives="channel width over bend radius on the outside bank; 0 without a bend and on the inside",
    unit="ratio",
    compute=_width_radius,
    reference="Furbish 1988; Sylvester, Durkin & Covault 2019; or Hickin & Nanson 1975 (peaked)",
    rises=None,
    error=_error,
    error_group="bend",
)
