"""`reachrank rank`: from lines and a DEM to a ranked GeoPackage."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from reachrank.commands.input_options import (
    input_arguments,
    inputs_and_settings,
    jobs_option,
    overwrite_option,
)
from reachrank.commands.progress_display import progress_option, showing

if TYPE_CHECKING:
    from reachrank.context import Inputs
    from reachrank.running.workers import Workers
    from reachrank.settings import Settings

out_option = click.option(
    "--out", required=True, metavar="FILE.gpkg", help="The GeoPackage to write."
)
units_option = click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    default="metric",
    show_default=True,
    help="Units of the written columns; us is feet, square miles, square yards.",
)
profiles_option = click.option(
    "--profiles",
    default="300",
    show_default=True,
    metavar="N|all|none",
    help="Keep the cross-section profiles of the N worst banks.",
)


@click.command()
@input_arguments
@out_option
@units_option
@profiles_option
@click.option(
    "--top-n",
    type=click.IntRange(1),
    metavar="N",
    help="How many places the crew can do in a year; top_share counts draws within it."
    "  [default: priority.top_n, 10]",
)
@click.option(
    "--draws",
    type=click.IntRange(0),
    metavar="N",
    help="Draws behind the ranges of ranks.  [default: priority.draws, 2000]",
)
@jobs_option
@overwrite_option
@click.option(
    "--resume",
    is_flag=True,
    help="Go on with a run that was stopped; inputs, settings and versions must be the same.",
)
@progress_option
def rank(
    *,
    out: str,
    units: str,
    profiles: str,
    top_n: int | None,
    draws: int | None,
    jobs: int,
    overwrite: bool,
    resume: bool,
    progress_style: str,
    **given: Any,
) -> None:
    """Rank the reaches and banks of STREAMS by the elevations in DEM.

    STREAMS is a line layer: a file, file|layername=NAME, or file:NAME. DEM is a raster, several,
    or a folder of tiles. The units that were taken are the first line of the output.
    """
    from reachrank.running.workers import Workers  # noqa: PLC0415  (not at start-up)

    of_priority = {"top_n": top_n, "draws": draws}
    named = [f"priority.{key}={n}" for key, n in of_priority.items() if n is not None]
    given["set_values"] = (*given["set_values"], *named)
    with closing(Workers()) as workers:
        workers.start_early(jobs - 1, given["streams"])
        inputs, settings = inputs_and_settings(given)
        rank_files(
            inputs, settings, Path(out), workers=workers, units=units, profiles=profiles, jobs=jobs,
            overwrite=overwrite, progress_style=progress_style, resume=resume,
        )  # fmt: skip


def rank_files(
    inputs: Inputs,
    settings: Settings,
    out: Path,
    *,
    workers: Workers | None = None,
    units: str = "metric",
    profiles: str = "300",
    jobs: int = 1,
    overwrite: bool = False,
    progress_style: str = "bar",
    resume: bool = False,
) -> Path:
    """Rank, write, and print the ranking's first lines; return the written file.

    A long run has ``workers`` beside it, which whoever gave them closes.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank import pipeline, write  # noqa: PLC0415
    from reachrank.progress import part  # noqa: PLC0415
    from reachrank.report import summary  # noqa: PLC0415
    from reachrank.running import kept_work  # noqa: PLC0415
    from reachrank.running.memory import fewer_collections  # noqa: PLC0415
    from reachrank.write.early import EarlyLayers  # noqa: PLC0415

    keep = write.read_profiles_option(profiles)
    us: write.Units = "us" if units == "us" else "metric"
    write.check_target(out, overwrite=overwrite, inputs=input_files(inputs))
    with showing(progress_style) as progress, fewer_collections():
        tables, ctx = pipeline.open_inputs(
            inputs, settings, progress=part(progress, 0.0, 0.05), jobs=jobs
        )
        click.echo(summary.units_line(ctx))
        ctx.progress = part(progress, 0.05, 0.97)
        ctx.kept = kept_work.open_kept(out, tables["streams"], ctx, resume=resume)
        if workers and ctx.kept:
            workers.start(jobs - 1)
            ctx.workers = workers
        elif workers:
            workers.close()
        early = EarlyLayers(us, keep)
        tables = pipeline.rank_opened(tables, ctx, after=early.after)
        progress(0.97, "write")
        landed = write.write_ranked(
            tables, ctx, out, overwrite=overwrite, units=us, profiles=keep, early=early
        )
        if ctx.kept:
            ctx.kept.forget()
        progress(1.0, "done")
    click.echo()
    for line in summary.ranking_lines(tables, us=us == "us"):
        click.echo(line)
    click.echo()
    for line in summary.findings_lines(ctx.findings.to_frame(None), us=us == "us"):
        click.echo(line)
    click.echo()
    for line in summary.caution_lines():
        click.echo(line)
    click.echo()
    click.echo(f"Open {landed} in a desktop GIS: layer reaches first, then banks and repairs.")
    return landed


def input_files(inputs: Inputs) -> list[str]:
    """Return every file or folder that the inputs name, so that none of them is written over."""
    named = [inputs.streams, *inputs.dem, *inputs.structures]
    more = (inputs.roads, inputs.cover, inputs.soils, inputs.area_raster, inputs.constraints)
    named += [path for path in more if path]
    paths = [name.partition("|")[0] for name in named]
    # file:layer; the part before the colon is tried too, a drive letter does no harm
    return paths + [path.rpartition(":")[0] for path in paths if path.rpartition(":")[0]]
