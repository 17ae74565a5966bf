"""`reachrank compare`: what moved between two runs, matched by place, and why."""

from __future__ import annotations

import click

from reachrank.report.plain import plain


@click.command()
@click.argument("before", metavar="A.gpkg")
@click.argument("after", metavar="B.gpkg")
@click.option(
    "--top", type=click.IntRange(1), default=20, show_default=True, help="How many banks to print."
)
@click.option("--moved-only", is_flag=True, help="Leave out banks that kept their rank.")
@click.option("--csv", "as_csv", is_flag=True, help="All banks as a table for a program.")
def compare(*, before: str, after: str, top: int, moved_only: bool, as_csv: bool) -> None:
    """Say which banks moved between two rankings, and by which factor.

    Banks are matched by place, not by name: same side of the stream, more than half of their
    length alongside each other.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.priority.compare import compare as side_by_side  # noqa: PLC0415
    from reachrank.read.tables import read_tables  # noqa: PLC0415

    layers = ("banks", "factors")
    table = side_by_side(read_tables(before, layers=layers), read_tables(after, layers=layers))
    if moved_only:
        table = table[table["rank_change"].fillna(1) != 0]
    if as_csv:
        click.echo(table.to_csv(index=False), nl=False)
        return
    both = table["bank_id_a"].notna() & table["bank_id_b"].notna()
    click.echo(
        f"{int(both.sum())} banks are in both runs; {int((~both).sum())} in one alone;"
        f" {int((table['rank_change'].fillna(0) != 0).sum())} changed rank."
    )
    for row in table.head(top).itertuples():
        old, new = _rank(row.rank_a), _rank(row.rank_b)
        name = row.bank_id_b if isinstance(row.bank_id_b, str) else row.bank_id_a
        click.echo(f"{plain(name, 40)}: rank {old} -> {new}. {plain(row.why)}")


def _rank(value: object) -> str:
    text = str(value)
    return text if text.isdigit() else "-"
