"""Settings of the `exposure` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class ExposureSettings:
    """Settings of the `exposure` stage."""
