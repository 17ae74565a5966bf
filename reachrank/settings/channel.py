"""Settings of the `channel` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class ChannelSettings:
    """Settings of the `channel` stage."""
