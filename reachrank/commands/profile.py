"""`reachrank profile`: toe and top of surveyed sections, as numbers or as a picture."""

from __future__ import annotations

import csv
from dataclasses import asdict
from pathlib import Path
from typing import cast

import click

from reachrank.commands.input_options import overwrite_option
from reachrank.errors import InputError, UsageError
from reachrank.report.plain import plain


@click.command()
@click.argument("book", metavar="FILE.csv")
@click.option(
    "--out", required=True, metavar="FILE.png|.csv", help="The picture or table to write."
)
@click.option(
    "--survey-units",
    type=click.Choice(["m", "ft", "us-ft"]),
    required=True,
    help="Unit of stations and elevations: m, ft (international) or us-ft (U.S. survey foot).",
)
@overwrite_option
def profile(*, book: str, out: str, survey_units: str, overwrite: bool) -> None:
    """Measure sections that were surveyed by level and rod or total station.

    FILE.csv has the columns section, station and elevation; stations grow from left to right
    looking downstream. The result is in metres in a table, in the survey's unit in a picture.
    """
    # Late: these open numpy and the fit's compiled code, which `--help` should not wait for.
    from reachrank.survey.drawing import draw_sections  # noqa: PLC0415
    from reachrank.survey.edges import BankEdges, bank_edges  # noqa: PLC0415
    from reachrank.survey.field_book import read_field_book  # noqa: PLC0415
    from reachrank.units import LengthUnit  # noqa: PLC0415
    from reachrank.write.place import aside  # noqa: PLC0415

    target = Path(out)
    ending = target.suffix.lower()
    if ending not in (".png", ".csv"):
        raise UsageError("--out must end in .png (a picture) or .csv (a table).", where=out)
    sections = read_field_book(book, cast(LengthUnit, survey_units))
    edges: list[BankEdges] = []
    for section in sections:
        try:
            edges.append(bank_edges(section.offset_m, section.elevation_m))
        except InputError as error:
            raise InputError(
                error.message, hint=error.hint, where=f"{book}, section {section.section_id}"
            ) from error
    kind = "a picture" if ending == ".png" else "a table"
    with aside(target, overwrite=overwrite, kind=kind, ending=ending) as here:
        if ending == ".png":
            draw_sections(sections, edges, here.path, is_us=survey_units != "m")
        else:
            with here.path.open("w", newline="", encoding="utf-8") as file:
                table = csv.writer(file)
                names = [name for name in asdict(edges[0]) if name != "flags"]
                table.writerow(["section_id", *names, "flags"])
                for section, edge in zip(sections, edges, strict=True):
                    row = asdict(edge)
                    numbers = ["" if row[n] != row[n] else f"{row[n]:.3f}" for n in names]
                    table.writerow([section.section_id, *numbers, " ".join(edge.flags)])
    for section, edge in zip(sections, edges, strict=True):
        found = [
            f"{side} bank {getattr(edge, f'{side}_height_m'):.2f} m high,"
            f" {getattr(edge, f'{side}_angle_deg'):.0f} degrees"
            for side in ("left", "right")
            if f"no_{side}_top" not in edge.flags
        ]
        click.echo(
            f"Section {plain(section.section_id, 40)}: {'; '.join(found) or 'no bank found'}."
        )
    click.echo(f"{len(sections)} sections are in {here.landed}.")
