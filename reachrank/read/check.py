"""What a run would start from, as plain text: units, layers, counts, findings by code."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import geopandas as gpd

from reachrank.context import Context, Table
from reachrank.read.crs import show_box


def report(tables: Mapping[str, Table], ctx: Context) -> str:
    """Return the report of `reachrank check`.

    Parameters
    ----------
    tables, ctx
        As `open_inputs` returned them.
    """
    lines = [ctx.facts["units"], ""]
    dem = ctx.dem
    lines += [
        f"DEM: {_count(len(dem.paths), 'file')}, {dem.grid.columns:,} x {dem.grid.rows:,} cells of "
        f"{dem.cell_m:.3g} m",
        f"  extent {show_box(dem.bounds)}",
        f"  working CRS {ctx.crs.name}; written in {ctx.output_crs.name}",
    ]
    for name, table in tables.items():
        if isinstance(table, gpd.GeoDataFrame):
            lines.append(f"{name.capitalize()}: {_layer(name, table)}")
    lines += ["", *_findings(ctx)]
    prints = [f"  {key.removeprefix('input.')}: {value}" for key, value in ctx.facts.items()
              if key.startswith("input.")]  # fmt: skip
    return "\n".join([*lines, "", "Fingerprints:", *prints]) + "\n"


def _layer(name: str, table: gpd.GeoDataFrame) -> str:
    if table.empty:
        return "none near the streams"
    if name == "streams":
        named = int(table["stream_name"].notna().sum())
        length_km = float(table.geometry.length.sum()) / 1000.0
        return f"{_count(len(table), 'line')}, {length_km:,.1f} km, {named:,} with a name"
    if name == "structures":
        kinds = Counter(table["structure_class"])
        told = ", ".join(f"{kind} {kinds[kind]:,}" for kind in sorted(kinds))
        return f"{len(table):,} near the streams ({told})"
    return f"{_count(len(table), 'area')} near the streams"


def _findings(ctx: Context) -> list[str]:
    rows = ctx.findings.rows
    if not rows:
        return ["Nothing to mend or to doubt."]
    counts = Counter((str(row["severity"]), str(row["code"])) for row in rows)
    first = {(str(r["severity"]), str(r["code"])): str(r["text"]) for r in reversed(rows)}
    order = {"left_out": 0, "warning": 1, "info": 2}
    lines = ["Findings:"]
    for severity, code in sorted(counts, key=lambda key: (order[key[0]], key[1])):
        count = counts[severity, code]
        lines.append(f"  {severity.replace('_', ' ')}: {code} ({count:,}): {first[severity, code]}")
    return lines


def _count(number: int, word: str) -> str:
    return f"{number:,} {word}" if number == 1 else f"{number:,} {word}s"
