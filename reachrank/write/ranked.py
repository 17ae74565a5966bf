"""The result for people: public layers, in the DEM's own CRS, in metric or U.S. units."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from reachrank.running.carried import whole
from reachrank.running.memory import give_back
from reachrank.schema import LAYERS, PUBLIC_LAYERS
from reachrank.units import to_us
from reachrank.write.conform import conform
from reachrank.write.geopackage import check_file, to_output_crs, write_layers
from reachrank.write.place import aside
from reachrank.write.profiles import DEFAULT_PROFILES, Profiles, pick_profiles
from reachrank.write.run_info import run_info
from reachrank.write.styles import add_styles
from reachrank.write.us_text import SENTENCES, us_text

if TYPE_CHECKING:
    from reachrank.context import Context, Table
    from reachrank.write.early import EarlyLayers

Units = Literal["metric", "us"]


def write_ranked(
    tables: Mapping[str, Table],
    ctx: Context,
    path: str | Path,
    *,
    overwrite: bool = False,
    units: Units = "metric",
    profiles: Profiles = DEFAULT_PROFILES,
    early: EarlyLayers | None = None,
) -> Path:
    """Write the ranked GeoPackage and return where it is.

    Layers that have been written before (``early``) are taken from there.

    Raises
    ------
    OutputError
        If the file exists and ``overwrite`` is false, if it is held open by another program (the
        finished file then stays beside it), or if the disk would not take it.
    BugError
        If a layer does not match its description in the schema.
    """
    chosen = early.profiles if early else None
    made = {
        **tables,
        "profiles": pick_profiles(tables, profiles, ctx) if chosen is None else chosen,
        "findings": ctx.findings.to_frame(ctx.crs),
        "run_info": run_info(ctx, stage="write", units=units),
    }
    layers = {name: made[name] for name in PUBLIC_LAYERS}
    give_back()  # of the profiles many were read and few chosen

    finish = partial(finished, tables=tables, ctx=ctx, units=units)
    with aside(Path(path), overwrite=overwrite) as file:
        there = early.move_to(file.path, made) if early else ()
        if ctx.workers:
            ctx.workers.close()  # there is nothing left to do for them
        write_layers(file.path, layers, us=units == "us", finish=finish, there=there)
        add_styles(file.path, layers, us=units == "us")
        check_file(file.path, layers)
    return file.landed


def finished(
    name: str, rows: Table, tables: Mapping[str, Table], ctx: Context, units: Units
) -> Table:
    """Return rows of a public layer as they are written: all columns, the file's CRS and units."""
    rows = whole(name, rows, tables, ctx.crs)
    table = to_output_crs(conform(rows, LAYERS[name], whole=True), ctx.output_crs)
    return in_us_units(table) if units == "us" else table


def in_us_units(table: Table) -> Table:
    """Return a written layer with customary columns, and customary quantities in its sentences.

    Feet are international feet of 0.3048 m exactly, also where the CRS counts in survey feet:
    the two differ by 2 parts in a million.
    """
    new: Table = to_us(table)
    sentences = (*SENTENCES, "source") if "computed_low" in new.columns else SENTENCES
    for name in set(sentences) & set(new.columns):
        new[name] = new[name].map(us_text, na_action="ignore").astype(table[name].dtype)
    return new
