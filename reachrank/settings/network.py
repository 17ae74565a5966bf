"""Settings of the `network` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class NetworkSettings:
    """Settings of the `network` stage."""
