"""The ranking in a few lines: the first places and why, what was doubted, what to open."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from reachrank.report.cautions import CAUTIONS
from reachrank.report.plain import plain
from reachrank.write.us_text import us_quantity, us_text

if TYPE_CHECKING:
    from reachrank.context import Context, Table

WIDTH = 96


def units_line(ctx: Context) -> str:
    """Return the line that states the units that the DEM was taken to be in."""
    return plain(ctx.facts["units"])


def ranking_lines(
    tables: Mapping[str, Table], *, first: int = 5, us: bool = False
) -> Iterator[str]:
    """Yield the first reaches of the ranking, two or more lines each, with the reason in words."""
    reaches = tables["reaches"]
    ranked = reaches[reaches["rank"].notna()].sort_values(["rank", "reach_id"]).head(first)
    if ranked.empty:
        yield "No reach could be ranked; the layer findings says why."
        return
    yield f"The first {len(ranked)} of {len(reaches)} reaches:"
    for row in ranked.to_dict("records"):
        yield from _reach_lines(row, us=us)


def _reach_lines(row: Mapping[Any, Any], *, us: bool) -> Iterator[str]:
    name = row.get("stream_name")
    stream = plain(name if pd.notna(name) else row["stream_id"], 60)
    near = _quantity(row["station_from_m"], us=us, unit=False)
    far = _quantity(row["station_to_m"], us=us)
    side = row.get("worst_bank")
    bank = f", {plain(side)} bank" if pd.notna(side) else ""
    yield ""
    reach = plain(row["reach_id"], 60)
    yield f"{int(row['rank']):4d}  {stream}, station {near} to {far}{bank}  [{reach}]"
    marks = [f"score {row['priority_score']:.0f} of 100"]
    if pd.notna(row.get("rank_low")) and pd.notna(row.get("rank_high")):
        low, high = int(row["rank_low"]), int(row["rank_high"])
        ranks = f"{low} to {high}" if low != high else f"{low}"
        marks.append(f"rank {ranks} in 9 of 10 draws")
    if pd.notna(row.get("confidence_frac")):
        marks.append(f"confidence {row['confidence_frac']:.0%}")
    if pd.notna(row.get("repair_length_m")) and row["repair_length_m"] > 0:
        marks.append(f"{_quantity(row['repair_length_m'], us=us)} of bank to repair")
    yield from _wrapped("; ".join(marks) + ".")
    reason = row.get("reason")
    if pd.notna(reason) and str(reason).strip():
        text = plain(reason, 600)
        yield from _wrapped(us_text(text) if us else text)


def findings_lines(findings: pd.DataFrame, *, most: int = 6, us: bool = False) -> Iterator[str]:
    """Yield one line per kind of finding: how many, and the first one's sentence."""
    if findings.empty:
        return
    told = findings[findings["severity"].isin(["warning", "left_out"])]
    kinds = told.groupby(["severity", "code"], sort=False)["text"].agg(["size", "first"])
    kinds = kinds.sort_values("size", ascending=False, kind="stable")
    if len(kinds):
        yield f"Findings: {len(findings)}, all of them in the layer findings. Most common:"
    for (severity, code), row in kinds.head(most).iterrows():
        what = "left out" if severity == "left_out" else "warning"
        first = plain(us_text(row["first"]) if us else row["first"], 200)
        yield from _wrapped(f"{row['size']} x {what}, {plain(code, 40)}: {first}")


def caution_lines() -> Iterator[str]:
    """Yield the cautions that go with every ranking."""
    yield "Cautions:"
    for caution in CAUTIONS:
        yield from _wrapped(caution)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="      ", subsequent_indent="      ")


def _quantity(value_m: float, *, us: bool, unit: bool = True) -> str:
    value, name = us_quantity(value_m, "m") if us else (value_m, "m")
    return f"{value:,.0f} {name}" if unit else f"{value:,.0f}"
