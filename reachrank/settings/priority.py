"""Settings of the `priority` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class PrioritySettings:
    """Settings of the `priority` stage."""
