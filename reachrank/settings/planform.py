"""Settings of the `planform` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class PlanformSettings:
    """Settings of the `planform` stage."""
