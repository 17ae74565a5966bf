"""Where a bank needs work: lengths along its top, and the tie-ins at their ends."""

from reachrank.repairs.stage import run

__all__ = ["run"]
