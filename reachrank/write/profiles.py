"""Keep the cross-section profiles of the worst banks; those of a whole county fill a disk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import pandas as pd

from reachrank.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reachrank.context import Table

Profiles = int | Literal["all", "none"]
DEFAULT_PROFILES = 300


def pick_profiles(tables: Mapping[str, Table], keep: Profiles) -> Table:
    """Return the profiles of the sections that lie at the ``keep`` worst banks by rank.

    Banks that share the last rank are all kept. ``"all"`` keeps every profile and ``"none"`` no
    profile.
    """
    profiles = tables["profiles"]
    if keep == "all":
        return profiles
    if keep == "none":
        return profiles.iloc[:0]
    banks, sections = tables["banks"], tables["sections"]
    ranks = pd.to_numeric(banks["rank"]) if "rank" in banks else pd.Series(dtype="float64")
    nth = ranks.dropna().sort_values().head(keep)
    worst = banks.loc[ranks <= nth.iloc[-1], "reach_id"] if len(nth) else banks["reach_id"].iloc[:0]
    wanted = sections.loc[sections["reach_id"].isin(worst), "section_id"]
    return profiles[profiles["section_id"].isin(wanted)].reset_index(drop=True)


def read_profiles_option(text: str) -> Profiles:
    """Read ``--profiles``: a whole number of banks, ``all`` or ``none``."""
    word = text.strip().lower()
    if word in ("all", "none"):
        return "all" if word == "all" else "none"
    if not word.isdigit():
        raise UsageError(f"--profiles is {text!r}.", hint="Give a number of banks, all or none.")
    return int(word)
