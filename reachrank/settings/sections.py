"""Settings of the `sections` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class SectionsSettings:
    """Settings of the `sections` stage."""
