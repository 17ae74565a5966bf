"""Settings of the `inputs` stage."""

from __future__ import annotations

from dataclasses import dataclass



@dataclass(frozen=True, kw_only=True)
class InputsSettings:
    """Settings of the `inputs` stage."""
