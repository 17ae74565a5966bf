"""`reachrank explain`: how a reach, a bank or a repair came by its numbers."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    import pandas as pd

WIDTH = 96


@click.command()
@click.argument("ranked", metavar="RANKED.gpkg")
@click.argument("name", metavar="ID")
@click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    help="Units of the answer.  [default: those of the file]",
)
def explain(*, ranked: str, name: str, units: str | None) -> None:
    """Show the arithmetic behind a reach, a bank or a repair.

    ID is a reach_id, a bank_id or a repair_id of RANKED.gpkg.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.errors import UsageError  # noqa: PLC0415
    from reachrank.priority.explain import explain_table  # noqa: PLC0415
    from reachrank.read.tables import read_tables  # noqa: PLC0415
    from reachrank.report.explain_repair import explain_repair  # noqa: PLC0415
    from reachrank.settings.load import settings_from_json  # noqa: PLC0415
    from reachrank.write.run_info import value_of  # noqa: PLC0415

    layers = ("reaches", "banks", "factors", "repairs", "tie_ins", "materials", "run_info")
    tables = read_tables(ranked, layers=layers)
    info = tables["run_info"]
    settings = settings_from_json(value_of(info, "settings"))
    us = units == "us" or (units is None and value_of(info, "written_units").startswith("us"))
    if (tables["repairs"]["repair_id"] == name).any():
        lines = explain_repair(tables, name, settings, us=us)
    elif (tables["reaches"]["reach_id"] == name).any() or (
        tables["banks"]["bank_id"] == name
    ).any():
        lines = _score_lines(explain_table(tables, name, settings), us=us)
    else:
        raise UsageError(
            f"There is no reach, bank or repair {name!r}.",
            hint="Ids are in reach_id, bank_id and repair_id.",
        )
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        for part in textwrap.wrap(
            line, WIDTH, initial_indent="", subsequent_indent=f"{indent}  "
        ) or [""]:
            click.echo(part)


def _score_lines(table: pd.DataFrame, *, us: bool) -> Iterator[str]:
    """Yield the steps of a bank's score, one or two lines each."""
    from reachrank.report.plain import plain  # noqa: PLC0415
    from reachrank.write.us_text import us_quantity, us_text  # noqa: PLC0415

    yield f"Bank {plain(table['bank_id'].iloc[0], 60)}"
    for row in table.to_dict("records"):
        value, unit = row["measurement"], str(row["unit"])
        if us and value == value:  # noqa: PLR0124  (not missing)
            word, _, bound = unit.partition(" (")
            value, word = us_quantity(value, word)
            unit = f"{word} ({bound}" if bound else word
        shown = f"{value:.3g} {unit}" if value == value else ""  # noqa: PLR0124
        if row["step"] in ("hazard", "exposure", "priority"):
            score = row["score"]
            of = f"{score:.1f} of 100" if score == score else "not scored"  # noqa: PLR0124
            yield f"  {row['step']}: {of}  {shown}".rstrip()
        else:
            yield (
                f"  {row['step']}: {shown or 'not measured'}; score {row['score']:.3f} x weight "
                f"{row['weight']:.3f} x 100 = {row['contribution']:.2f}"
            )
            if row["breakpoints"]:
                yield f"    breakpoints ({row['unit']}): {row['breakpoints']}"
        for text in (row["source"], row["moves"]):
            if text:
                yield f"    {us_text(plain(text, 600)) if us else plain(text, 600)}"
