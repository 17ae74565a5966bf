"""`reachrank demo`: a small invented county, ranked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from reachrank.commands.input_options import chosen_settings, jobs_option
from reachrank.commands.progress_display import progress_option, showing
from reachrank.errors import InputError

if TYPE_CHECKING:
    from reachrank.context import Inputs

READING = """
Reading the lines above: the first number is the rank; the station says how far upstream of the
stream's mouth to walk; left and right look downstream; the name in brackets is the reach_id in the
file. The score is out of 100. The ranks that follow are those of 9 in 10 draws, in which
measurements and weights are shaken within their own error: reaches whose ranges overlap are not
told apart. The last sentence is the layer's column reason.

The county is invented. What each column means: reachrank columns
"""


@click.command()
@click.argument("folder", default="reachrank_demo", metavar="[FOLDER]")
@click.option(
    "--county",
    metavar="FOLDER",
    help="Rank the invented county that lies there, in place of writing it anew.",
)
@click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    default="metric",
    show_default=True,
    help="Units of the written columns.",
)
@jobs_option
@progress_option
def demo(*, folder: str, county: str | None, units: str, jobs: int, progress_style: str) -> None:
    """Write a small invented county into FOLDER, rank it, map it, and say what to open.

    The county and its names are made up; its ground has known channels, bends and banks. The files
    of an earlier demo in the same FOLDER are replaced.
    """
    from reachrank.commands.map import write_map  # noqa: PLC0415
    from reachrank.commands.rank import rank_files  # noqa: PLC0415

    home = Path(folder)
    home.mkdir(parents=True, exist_ok=True)
    at = Path(county) if county else home / "county"
    if county is None:
        from reachrank.synthetic.county import write_county  # noqa: PLC0415

        with showing(progress_style) as progress:
            write_county(at, overwrite=True, progress=progress)
    settings = chosen_settings(str(at / "settings.toml"))
    rank_files(
        county_inputs(at),
        settings,
        home / "ranked.gpkg",
        units=units,
        jobs=jobs,
        overwrite=True,
        progress_style=progress_style,
    )
    click.echo()
    write_map(
        ranked=str(home / "ranked.gpkg"),
        out=str(home / "priority.html"),
        dem=(str(at / "dem"),),
        jobs=jobs,
        overwrite=True,
        progress_style=progress_style,
    )
    click.echo(READING.rstrip())


def county_inputs(folder: Path) -> Inputs:
    """Return the inputs of the invented county in a folder."""
    from reachrank.context import Inputs  # noqa: PLC0415  (opens the geometry libraries)

    if not (folder / "streams.gpkg").exists():
        raise InputError("The invented county is not there.", where=str(folder))
    utilities = folder / "utilities.gpkg"
    return Inputs(
        streams=str(folder / "streams.gpkg"),
        dem=(str(folder / "dem"),),
        structures=(
            str(folder / "buildings.gpkg"),
            f"{utilities}|layername=wells",
            f"{utilities}|layername=lines",
        ),
        roads=str(folder / "roads.gpkg"),
        cover=str(folder / "canopy.tif"),
        soils=str(folder / "soils.gpkg"),
        constraints=str(folder / "constraints.gpkg"),
    )
