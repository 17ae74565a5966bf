"""Rank the eroding banks of small streams from a stream line and a lidar DEM.

>>> import reachrank
>>> callable(reachrank.rank)
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.ranking import Ranking, rank

__all__ = ["Ranking", "rank"]


def __getattr__(name: str) -> Any:
    # Late, so that `reachrank --help` does not wait for the geometry libraries.
    if name in __all__:
        from reachrank import ranking  # noqa: PLC0415

        return getattr(ranking, name)
    raise AttributeError(f"module 'reachrank' has no attribute {name!r}")
