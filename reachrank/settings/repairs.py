"""Settings of the `repairs` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class RepairsSettings:
    """Settings of the `repairs` stage."""
