"""How likely a bank is to go on failing: factors, breakpoints, weights, sums."""

from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import SideFrame
from reachrank.hazard.stage import run

__all__ = ["Factor", "SideFrame", "run"]
