"""The priority page: one file that opens from disk, with the ranked list beside the map."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.page.compose import Page, make_page

__all__ = ["Page", "make_page"]


def __getattr__(name: str) -> Any:
    # Late, so that what shares the looks of the classes does not wait for the templates.
    if name in __all__:
        from reachrank.page import compose  # noqa: PLC0415

        return getattr(compose, name)
    raise AttributeError(f"module 'reachrank.page' has no attribute {name!r}")
