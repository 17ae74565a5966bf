"""What to look at first: hazard and exposure together, ranks, and how firm they are."""

from reachrank.priority.compare import compare
from reachrank.priority.explain import explain_table
from reachrank.priority.reason import BankFacts, reason
from reachrank.priority.stage import run

__all__ = ["BankFacts", "compare", "explain_table", "reason", "run"]
