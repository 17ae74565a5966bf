"""Settings of the `hazard` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class HazardSettings:
    """Settings of the `hazard` stage."""
