"""The priority page: one file that opens from disk, with the ranked list beside the map."""

from reachrank.page.compose import Page, make_page

__all__ = ["Page", "make_page"]
