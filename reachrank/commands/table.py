"""`reachrank table`: the ranking as a spreadsheet."""

from __future__ import annotations

from pathlib import Path

import click

from reachrank.commands.input_options import overwrite_option
from reachrank.errors import UsageError

LAYERS = ("reaches", "banks", "repairs", "all")


@click.command()
@click.argument("ranked", metavar="RANKED.gpkg")
@click.option("--out", required=True, metavar="FILE", help="The .xlsx or .csv to write.")
@click.option(
    "--layer",
    type=click.Choice(LAYERS),
    help="Which layer.  [default: all for .xlsx, reaches for .csv]",
)
@click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    help="Units of the columns.  [default: those of the file]",
)
@overwrite_option
def table(*, ranked: str, out: str, layer: str | None, units: str | None, overwrite: bool) -> None:
    """Write the layers of RANKED.gpkg as an .xlsx workbook, or one layer as .csv.

    A workbook has a sheet for each layer with the units in the headings, one that explains every
    column, and one on the run. In a .csv the column names end in their unit, and text that a
    spreadsheet program would take for a formula (it begins with = + - or @) has a ' before it.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.read.tables import read_tables  # noqa: PLC0415
    from reachrank.table.csv_file import write_csv  # noqa: PLC0415
    from reachrank.table.rows import SHEETS  # noqa: PLC0415
    from reachrank.table.workbook import write_workbook  # noqa: PLC0415
    from reachrank.write.place import check_target  # noqa: PLC0415
    from reachrank.write.run_info import value_of  # noqa: PLC0415

    target = Path(out)
    ending = target.suffix.lower()
    if ending not in (".xlsx", ".csv"):
        raise UsageError(f"{target.name!r} is no table.", hint="Let it end in .xlsx or .csv.")
    if ending == ".csv" and layer == "all":
        raise UsageError("A .csv holds one layer.", hint="Name it with --layer, or write an .xlsx.")
    check_target(target, overwrite=overwrite, inputs=[ranked], kind="a table", ending=ending)
    tables = read_tables(ranked)
    file_us = "run_info" in tables and value_of(tables["run_info"], "written_units").startswith(
        "us"
    )
    us = file_us if units is None else units == "us"
    if ending == ".csv":
        chosen = layer or "reaches"
        marked = write_csv(tables, target, chosen, us=us, overwrite=overwrite)
        click.echo(f"{target}: {len(tables[chosen]):,} {chosen}.")
        if marked:
            click.echo(f"{marked} cells of text begin like a formula; each has a ' put before it.")
        return
    layers = SHEETS if layer in (None, "all") else (str(layer),)
    write_workbook(tables, target, layers, us=us, overwrite=overwrite)
    counts = ", ".join(f"{len(tables[name]):,} {name}" for name in layers)
    click.echo(f"{target}: {counts}.")
