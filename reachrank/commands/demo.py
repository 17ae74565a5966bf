"""`reachrank demo`: a small invented county, ranked."""

from __future__ import annotations

from pathlib import Path

import click

from reachrank.commands.progress_display import progress_option


@click.command()
@click.argument("folder", default="reachrank_demo", metavar="[FOLDER]")
@click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    default="metric",
    show_default=True,
    help="Units of the written columns.",
)
@progress_option
def demo(*, folder: str, units: str, progress_style: str) -> None:
    """Write a small invented county into FOLDER, rank it, and say what to open.

    The county and its names are made up; its ground has known channels, bends and banks. The files
    of an earlier demo in the same FOLDER are replaced.
    """
    from reachrank.commands.rank import rank_files  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.context import Inputs  # noqa: PLC0415
    from reachrank.settings import Settings  # noqa: PLC0415
    from reachrank.synthetic.county import write_county  # noqa: PLC0415

    home = Path(folder)
    county = home / "county"
    county.mkdir(parents=True, exist_ok=True)
    write_county(county)
    inputs = Inputs(streams=str(county / "streams.gpkg"), dem=(str(county / "dem.tif"),))
    rank_files(
        inputs,
        Settings(),
        home / "ranked.gpkg",
        units=units,
        overwrite=True,
        progress_style=progress_style,
    )
