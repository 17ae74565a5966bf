"""What stands near the banks: distances to structures, and what would be lost."""

from reachrank.exposure.recession import add_years, years_to_edge
from reachrank.exposure.stage import run

__all__ = ["add_years", "run", "years_to_edge"]
