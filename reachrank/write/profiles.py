"""Keep the cross-section profiles of the worst banks; those of a whole county fill a disk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import pandas as pd

from reachrank.errors import UsageError
from reachrank.running.kept_rows import with_kept_rows
from reachrank.sections.whole import section_names

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reachrank.context import Context, Table

Profiles = int | Literal["all", "none"]
DEFAULT_PROFILES = 300


def pick_profiles(tables: Mapping[str, Table], keep: Profiles, ctx: Context) -> Table:
    """Return the profiles of the sections that lie at the ``keep`` worst banks by rank.

    Banks that share the last rank are all kept. ``"all"`` keeps every profile and ``"none"`` no
    profile. Those that the run has left on disk are read from there.
    """
    profiles = tables["profiles"]
    if keep == "none":
        return profiles.iloc[:0]
    sections = tables["sections"]
    if keep != "all":
        banks = tables["banks"]
        ranks = pd.to_numeric(banks["rank"]) if "rank" in banks else pd.Series(dtype="float64")
        nth = ranks.dropna().sort_values().head(keep)
        worst = banks["reach_id"][ranks <= nth.iloc[-1]] if len(nth) else banks["reach_id"].iloc[:0]
        sections = sections[sections["reach_id"].isin(worst)]
    sections = sections[["stream_id", "station_m"]].assign(section_id=section_names(sections))
    wanted = sections["section_id"]
    found = with_kept_rows(
        profiles, "profiles", set(sections["stream_id"]), ctx, lambda rows: _of(rows, wanted)
    )
    return in_order_of(sections, found)


def _of(profiles: Table, wanted: pd.Series) -> Table:
    return profiles[profiles["section_id"].isin(wanted)]


def in_order_of(sections: Table, profiles: Table) -> Table:
    """Return profiles in the order of their sections; they name their stream by the section."""
    place = pd.Index(section_names(sections)).get_indexer(profiles["section_id"])
    return profiles.iloc[place.argsort(kind="stable")].reset_index(drop=True)


def read_profiles_option(text: str) -> Profiles:
    """Read ``--profiles``: a whole number of banks, ``all`` or ``none``."""
    word = text.strip().lower()
    if word in ("all", "none"):
        return "all" if word == "all" else "none"
    if not word.isdigit():
        raise UsageError(f"--profiles is {text!r}.", hint="Give a number of banks, all or none.")
    return int(word)
