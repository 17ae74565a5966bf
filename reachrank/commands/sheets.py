"""`reachrank sheets`: the first places as a PDF to print, and as pictures for a screen."""

from __future__ import annotations

from pathlib import Path

import click

from reachrank.commands.input_options import dem_options, overwrite_option
from reachrank.commands.progress_display import progress_option, showing


@click.command()
@click.argument("ranked", metavar="RANKED.gpkg")
@click.option("--out", required=True, metavar="FILE.pdf", help="The PDF to write.")
@click.option(
    "--dem",
    multiple=True,
    metavar="DEM",
    help="Raster or folder of tiles; may be repeated.  [default: where the ranking read it]",
)
@click.option(
    "--roads",
    metavar="FILE",
    help="Road lines, for the way in.  [default: those of the ranking]",
)
@click.option(
    "--top",
    type=click.IntRange(1, 500),
    default=20,
    show_default=True,
    help="How many places get a sheet, in order of rank.",
)
@click.option(
    "--only",
    multiple=True,
    metavar="NAME",
    help="Only this reach, bank or repair; may be repeated.",
)
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--png", metavar="FOLDER", help="Also a picture of each place, 1920 by 1080.")
@click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    help="Units on paper.  [default: those of the file]",
)
@click.option("--title", metavar="TEXT", help="Heading of the document.")
@dem_options
@overwrite_option
@progress_option
def sheets(
    *,
    ranked: str,
    out: str,
    dem: tuple[str, ...],
    roads: str | None,
    top: int,
    only: tuple[str, ...],
    paper: str,
    png: str | None,
    units: str | None,
    title: str | None,
    dem_units: str | None,
    allow_remote: bool,
    overwrite: bool,
    progress_style: str,
) -> None:
    """Print the first places of RANKED.gpkg: an overview, a list, then one sheet for each.

    A sheet has the map over the ground, the way in, cross-sections, the numbers and how sure they
    are, the kind of work, what to buy, and a checklist to fill in by pen. What does not fit goes on
    overleaf.
    """
    # Late: these open the drawing and geometry libraries, which `--help` should not wait for.
    from reachrank.sheets.document import TITLE, write_sheets  # noqa: PLC0415
    from reachrank.write.place import check_target  # noqa: PLC0415

    target = Path(out)
    check_target(target, overwrite=overwrite, inputs=[ranked], kind="a PDF", ending=".pdf")
    with showing(progress_style) as progress:
        made = write_sheets(
            ranked,
            target,
            dem=dem,
            dem_units=dem_units,
            roads=roads,
            top=top,
            only=only,
            paper=paper,
            us=None if units is None else units == "us",
            title=title or TITLE,
            pictures=png,
            overwrite=overwrite,
            allow_remote=allow_remote,
            progress=progress,
        )
    size_mb = made.path.stat().st_size / 1e6
    places = f"{made.sites} place{'s' if made.sites != 1 else ''}"
    click.echo(f"{made.path}: {places} on {made.pages} pages, {size_mb:.1f} MB.")
    if png:
        click.echo(f"{png}: {made.pictures} pictures, 1920 by 1080.")
