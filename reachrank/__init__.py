"""Rank the eroding banks of small streams from a stream line and a lidar DEM.

>>> import reachrank
>>> callable(reachrank.rank)
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from reachrank.kernel_cache import ensure_cache

if TYPE_CHECKING:
    from reachrank.ranking import Ranking, rank
    from reachrank.survey import BankEdges, bank_edges

__all__ = ["BankEdges", "Ranking", "bank_edges", "rank"]

_HOME = {
    "BankEdges": "reachrank.survey",
    "Ranking": "reachrank.ranking",
    "bank_edges": "reachrank.survey",
    "rank": "reachrank.ranking",
}

ensure_cache()  # before numba is loaded by any module of ours


def __getattr__(name: str) -> Any:
    # Late, so that `reachrank --help` does not wait for the geometry libraries.
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'reachrank' has no attribute {name!r}")
