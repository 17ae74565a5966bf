"""Settings of the `reaches` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class ReachesSettings:
    """Settings of the `reaches` stage."""
