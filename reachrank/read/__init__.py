"""Read: from the user's files to the first tables, the DEM and the context of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.read.dem import Dem
    from reachrank.read.open import open_inputs
    from reachrank.read.tables import read_tables

__all__ = ["Dem", "open_inputs", "read_tables"]

_HOME = {"Dem": "dem", "open_inputs": "open", "read_tables": "tables"}


def __getattr__(name: str) -> Any:
    # Late, so that a command that looks up one place does not wait for the raster libraries.
    if name in _HOME:
        from importlib import import_module  # noqa: PLC0415

        return getattr(import_module(f"reachrank.read.{_HOME[name]}"), name)
    raise AttributeError(f"module 'reachrank.read' has no attribute {name!r}")
