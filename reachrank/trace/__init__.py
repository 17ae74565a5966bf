"""Draw stream lines from a DEM where there are none."""

from reachrank.trace.files import trace
from reachrank.trace.grid import trace_grid

__all__ = ["trace", "trace_grid"]
