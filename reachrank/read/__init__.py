"""Read: from the user's files to the first tables, the DEM and the context of a run."""

from reachrank.read.dem import Dem
from reachrank.read.open import open_inputs
from reachrank.read.tables import read_tables

__all__ = ["Dem", "open_inputs", "read_tables"]
