"""`reachrank choose`: freeze chosen repairs as sites with permanent names."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from reachrank.commands.input_options import overwrite_option
from reachrank.commands.screen import units_option
from reachrank.errors import InputError, UsageError
from reachrank.report.plain import plain


@click.command()
@click.argument("source", metavar="DOCKET|RANKED")
@click.option(
    "--ids",
    multiple=True,
    required=True,
    metavar="ID,...",
    help="Repairs, sites or applications; commas between. May be repeated.",
)
@click.option("--sites", "sites_file", metavar="OLD.gpkg", help="Sites chosen earlier, to add to.")
@click.option("--out", required=True, metavar="FILE.gpkg", help="The GeoPackage to write.")
@units_option
@overwrite_option
def choose(
    *,
    source: str,
    ids: tuple[str, ...],
    sites_file: str | None,
    out: str,
    units: str | None,
    overwrite: bool,
) -> None:
    """Freeze the repairs that were decided on as layer sites, each with a site_id that stays.

    A repair that is a known site already, by its place, keeps that site's name and geometry. From
    a docket, the docket goes along with the names filled in.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.requests.ranked_tables import open_ranked  # noqa: PLC0415
    from reachrank.requests.request_files import write_requests  # noqa: PLC0415
    from reachrank.requests.sites import freeze, known_sites, repairs_named  # noqa: PLC0415
    from reachrank.write.place import check_target  # noqa: PLC0415

    wanted = [word.strip() for text in ids for word in text.split(",") if word.strip()]
    if not wanted:
        raise UsageError("--ids names nothing.")
    inputs = [source, *([sites_file] if sites_file else [])]
    check_target(Path(out), overwrite=overwrite, inputs=inputs)
    ranked = open_ranked(source)
    known = known_sites(ranked, sites_file)
    if sites_file and known.empty:
        raise InputError("The file of earlier sites holds none.", where=sites_file)
    chosen = repairs_named(ranked, wanted)
    sites, names = freeze(ranked, chosen, known)
    layers: dict[str, Any] = {"sites": sites}
    if ranked.is_docket:
        docket = ranked.tables["docket"].copy()
        filled = docket["repair_id"].map(names)
        docket["site_id"] = filled.where(filled.notna(), docket["site_id"]).astype(object)
        docket["site_id"] = docket["site_id"].where(docket["site_id"].notna(), None)
        layers["docket"] = docket
        of_ranked = ("reaches", "banks", "exposures", "repairs")
        layers |= {name: ranked.tables[name] for name in of_ranked if name in ranked.tables}
    us = units == "us" or (units is None and ranked.is_us)
    facts = {"requests.made_by": "choose"}
    landed = write_requests(layers, facts, ranked, out, us=us, overwrite=overwrite)
    before = set(known["site_id"])
    for repair in chosen:
        word = "is already site" if names[repair] in before else "is now site"
        click.echo(f"{plain(repair, 60)} {word} {names[repair]}")
    click.echo(f"{len(sites)} in all; they are in {landed}, layer sites.")
