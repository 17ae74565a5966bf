"""`reachrank map`: the priority page, one file that opens from disk."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reachrank.commands.input_options import jobs_option, overwrite_option
from reachrank.commands.progress_display import progress_option, showing

if TYPE_CHECKING:
    from reachrank.context import Table
    from reachrank.read.dem import Dem

DETAIL = 300


@click.command("map")
@click.argument("ranked", metavar="RANKED.gpkg")
@click.option("--out", required=True, metavar="FILE.html", help="The page to write.")
@click.option(
    "--dem",
    multiple=True,
    metavar="FILE",
    help="The DEM, for shaded ground behind the map: a raster, several, or a folder of tiles.",
)
@click.option(
    "--dem-units",
    type=click.Choice(["m", "ft", "us-ft"]),
    help="Its vertical unit, if not that of the ranking.",
)
@click.option(
    "--detail",
    type=click.IntRange(0),
    default=DETAIL,
    show_default=True,
    metavar="N",
    help="Worst banks that get cross-sections and sharply shaded ground.",
)
@click.option("--title", metavar="TEXT", help="Title of the page.")
@jobs_option
@overwrite_option
@progress_option
def map(
    *,
    ranked: str,
    out: str,
    dem: tuple[str, ...],
    dem_units: str | None,
    detail: int,
    title: str | None,
    jobs: int,
    overwrite: bool,
    progress_style: str,
) -> None:
    """Make one page with the ranked list beside the map from RANKED.gpkg.

    The page is a single file that opens from disk in a browser, without a network. Which banks
    have cross-sections depends on what `rank --profiles` kept.
    """
    write_map(
        ranked=ranked,
        out=out,
        dem=dem,
        dem_units=dem_units,
        detail=detail,
        title=title,
        jobs=jobs,
        overwrite=overwrite,
        progress_style=progress_style,
    )


def write_map(
    *,
    ranked: str,
    out: str,
    dem: tuple[str, ...] = (),
    dem_units: str | None = None,
    detail: int = DETAIL,
    title: str | None = None,
    jobs: int,
    overwrite: bool,
    progress_style: str,
) -> None:
    """Read a ranked file, write its page, and say what to open."""
    from reachrank.page import make_page  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.progress import part  # noqa: PLC0415
    from reachrank.read.tables import read_tables  # noqa: PLC0415
    from reachrank.write.place import aside, check_target  # noqa: PLC0415

    target = Path(out)
    check_target(
        target, overwrite=overwrite, inputs=[ranked, *dem], kind="a page", ending=".html"
    )  # fmt: skip
    with showing(progress_style) as progress:
        progress(0.0, "page: read")
        tables = read_tables(ranked)
        ground = _open_ground(tables, dem, dem_units, jobs) if dem else None
        try:
            page = make_page(
                tables,
                source_name=Path(ranked).name,
                made=_now(),
                title=title,
                ground=ground,
                detail=detail,
                progress=part(progress, 0.1, 1.0),
            )
        finally:
            if ground is not None:
                ground.close()
        with aside(target, overwrite=overwrite, kind="a page", ending=".html") as file:
            file.path.write_bytes(page.html.encode("utf-8"))
    click.echo(
        f"{page.reaches:,} reaches, {page.in_detail:,} of them in detail; "
        f"{page.size_bytes / 1e6:.1f} MB."
    )
    if page.tiles < page.tiles_wanted:
        click.echo(
            f"Sharp ground: {page.tiles:,} of {page.tiles_wanted:,} pictures, those of the worst "
            "banks; the others would make the page too large."
        )
    click.echo(f"Open {file.landed} in a browser; it needs no network.")


def _now() -> str:
    """Return the time here, in words; SOURCE_DATE_EPOCH fixes it where pages must not differ.

    See reproducible-builds.org/specs/source-date-epoch.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    now = (
        datetime.fromtimestamp(int(epoch), UTC) if epoch.isdigit() else datetime.now().astimezone()
    )
    return f"{now.day} {now:%B %Y, %H:%M}"


def _open_ground(
    tables: Mapping[str, Table], dem: tuple[str, ...], dem_units: str | None, jobs: int
) -> Dem:
    from reachrank.page.places import working_crs  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.resume import inputs_of, open_dem  # noqa: PLC0415
    from reachrank.write.run_info import value_of  # noqa: PLC0415

    crs = working_crs(tables)
    inputs = replace(inputs_of(value_of(tables["run_info"], "inputs")), dem=dem)
    if dem_units:
        inputs = replace(inputs, dem_units=dem_units)  # type: ignore[arg-type]
    return open_dem(inputs, crs, jobs)
