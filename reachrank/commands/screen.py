"""`reachrank screen`: a stack of applications, judged by a program's rules."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from reachrank.commands.input_options import overwrite_option
from reachrank.errors import InputError, UsageError
from reachrank.report.plain import plain

if TYPE_CHECKING:
    import geopandas as gpd

    from reachrank.requests.updating import Changes

_MOST_TOLD = 12

units_option = click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    help="Units of the written columns.  [default: those of the file]",
)


def _print_rules(ctx: click.Context, _param: click.Parameter, wanted: bool) -> None:
    if wanted:
        from reachrank.requests.rules import rules_toml  # noqa: PLC0415

        click.echo(rules_toml(), nl=False)
        ctx.exit()


@click.command()
@click.argument("ranked", metavar="RANKED.gpkg")
@click.argument("applications", metavar="APPLICATIONS")
@click.option("--rules", "rules_file", metavar="FILE.toml", help="The program's rules.")
@click.option("--out", required=True, metavar="FILE.gpkg", help="The docket to write.")
@click.option("--xlsx", metavar="FILE.xlsx", help="The docket as a spreadsheet too.")
@click.option("--parcels", metavar="LAYER", help="Parcels, to find each application's own bank.")
@click.option("--addresses", metavar="LAYER", help="The county's address points.")
@click.option("--crs", metavar="EPSG", help="CRS of the columns x and y; beats the rules.")
@click.option(
    "--update", metavar="OLD.gpkg", help="An older docket: carry its decisions and sites over."
)
@click.option(
    "--keep",
    metavar="COLUMN",
    multiple=True,
    help="Carry a column of the applications along, for instance a name. May be repeated.",
)
@units_option
@overwrite_option
@click.option(
    "--print-rules",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_rules,
    help="Print the demo rules, explained, as a file to edit.",
)
def screen(
    *,
    ranked: str,
    applications: str,
    rules_file: str | None,
    out: str,
    xlsx: str | None,
    parcels: str | None,
    addresses: str | None,
    crs: str | None,
    update: str | None,
    keep: tuple[str, ...],
    units: str | None,
    overwrite: bool,
) -> None:
    """Judge every application by the program's rules, into a docket with a reason for each.

    APPLICATIONS is a CSV table, an .xlsx spreadsheet, or a layer of points or parcels. Every row
    comes out once. Without --rules the demo rules of no program are used, and the docket says so.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.read.fingerprint import fingerprint  # noqa: PLC0415
    from reachrank.read.source import parse_source  # noqa: PLC0415
    from reachrank.requests.applications import read_applications  # noqa: PLC0415
    from reachrank.requests.docket import screen as judge_all  # noqa: PLC0415
    from reachrank.requests.opening import open_screening  # noqa: PLC0415
    from reachrank.requests.ranked_tables import open_ranked  # noqa: PLC0415
    from reachrank.requests.request_files import (  # noqa: PLC0415
        belonging,
        finished_docket,
        write_requests,
    )
    from reachrank.requests.rules import load_rules, rules_json, rules_name  # noqa: PLC0415
    from reachrank.requests.spreadsheet import (  # noqa: PLC0415
        ENDING,
        KIND,
        write_spreadsheet,
    )
    from reachrank.requests.updating import carry_over  # noqa: PLC0415
    from reachrank.write.place import check_target  # noqa: PLC0415

    inputs = [parse_source(name).path for name in (ranked, applications, parcels, addresses)
              if name]  # fmt: skip
    inputs += [name for name in (rules_file,) if name]
    check_target(Path(out), overwrite=overwrite, inputs=inputs)
    if xlsx:
        check_target(Path(xlsx), overwrite=overwrite, inputs=inputs, kind=KIND, ending=ENDING)
    rules = load_rules(rules_file)
    is_demo = rules_file is None
    stack = read_applications(applications, rules.columns, keep)
    opened = open_ranked(ranked)
    if opened.is_docket:
        raise UsageError("The first file is a docket.", hint="Give the ranked file itself.")
    old = open_ranked(update) if update else None
    if old is not None and not old.is_docket:
        raise InputError("The file to update is not a docket.", where=str(update))
    known = old.tables.get("sites") if old is not None else None
    screening = open_screening(
        opened, rules, is_demo=is_demo, parcels=parcels, addresses=addresses, crs=crs, sites=known
    )
    docket = judge_all(stack, screening)
    changes = None
    if old is not None:
        docket, changes = carry_over(docket, old.tables["docket"])
    for name in stack.kept.columns:
        docket[name] = stack.kept[name].to_numpy()
    us = units == "us" or (units is None and opened.is_us)
    facts = {
        "requests.made_by": "screen",
        "requests.rules_name": rules_name(rules, is_demo=is_demo),
        "requests.rules": rules_json(rules),
        "requests.applications": fingerprint([parse_source(applications).path]),
    }
    layers: dict[str, Any] = {
        "docket": docket, **belonging(opened, set(docket["repair_id"].dropna()))
    }  # fmt: skip
    if known is not None and len(known):
        layers["sites"] = known.to_crs(opened.crs)
    landed = write_requests(layers, facts, opened, out, us=us, overwrite=overwrite)
    for line in _lines(docket, stack.notes, facts["requests.rules_name"]):
        click.echo(line)
    if changes is not None:
        for line in _changes(changes):
            click.echo(line)
    if xlsx:
        about = [
            ("rules", facts["requests.rules_name"]), ("rules in full", facts["requests.rules"]),
            ("applications", facts["requests.applications"]), ("ranking", opened.run_id),
        ]  # fmt: skip
        sheet = write_spreadsheet(
            finished_docket(docket, us=us), about, xlsx, us=us, overwrite=overwrite
        )
        click.echo(f"The docket is in {landed}, layer docket, and in {sheet}.")
    else:
        click.echo(f"The docket is in {landed}, layer docket.")


def _lines(docket: gpd.GeoDataFrame, notes: tuple[str, ...], rules: str) -> Iterator[str]:
    from reachrank.requests.judging import STATES  # noqa: PLC0415

    yield f"{_count(len(docket), 'application')} judged by: {plain(rules, 120)}."
    for note in notes:
        yield plain(note, 300)
    counts = Counter(docket["state"])
    for state, words in STATES.items():
        if counts[state]:
            yield f"  {counts[state]:5d}  {words}"
    mended = docket["placed_by"].dropna()
    mended = mended[mended.str.contains(", ")]
    if len(mended):
        yield f"{_count(len(mended), 'place')} put right; the column placed_by says how."


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


def _changes(changes: Changes) -> Iterator[str]:
    yield (
        f"Against the older docket: {len(changes.new)} new, {len(changes.changed)} changed, "
        f"{len(changes.gone)} gone; {_count(changes.carried, 'decision')} carried over."
    )
    for name, text in changes.changed[:_MOST_TOLD]:
        yield f"  {plain(name, 40)}: {plain(text, 200)}"
    if len(changes.changed) > _MOST_TOLD:
        yield f"  ... and {len(changes.changed) - _MOST_TOLD} more, in the column changed."
    if changes.decided_and_changed:
        names = ", ".join(plain(name, 40) for name in changes.decided_and_changed)
        yield f"Decided, and now judged otherwise: {names}."
    if changes.gone_decided:
        names = ", ".join(plain(name, 40) for name in changes.gone_decided)
        yield f"Decided, and no longer among the applications: {names}."
