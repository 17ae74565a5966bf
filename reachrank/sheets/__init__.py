"""Sheets for paper: an overview, then a page for each place, to take along or to show a board."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.sheets.document import write_sheets

__all__ = ["write_sheets"]


def __getattr__(name: str) -> Any:
    # Late, so that `--help` does not wait for the drawing libraries.
    if name in __all__:
        from reachrank.sheets import document  # noqa: PLC0415

        return getattr(document, name)
    raise AttributeError(f"module 'reachrank.sheets' has no attribute {name!r}")
