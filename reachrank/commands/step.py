"""`reachrank step NAME`: one stage alone, from file to file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from reachrank.commands.input_options import (
    allow_remote_option,
    chosen_settings,
    dem_options,
    input_arguments,
    inputs_and_settings,
    jobs_option,
    overwrite_option,
    settings_options,
)
from reachrank.commands.progress_display import progress_option, showing
from reachrank.commands.rank import input_files, out_option, profiles_option, units_option
from reachrank.errors import InputError

STAGES = {
    "network": "Join the lines into a network, direct it, find drainage areas.",
    "channel": "Find the channel that each drawn line means.",
    "planform": "Measure curvature and find the bends.",
    "sections": "Cut cross-sections and measure both banks.",
    "reaches": "Split the streams into reaches, draw the top-of-bank lines.",
    "exposure": "Find the structures near each bank.",
    "hazard": "Score how likely each bank is to go on failing.",
    "priority": "Score, rank and say why.",
    "repairs": "Find the lengths that need repair, with their tie-ins.",
}


class _InOrder(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return ["read", *STAGES, "write"]


@click.group(cls=_InOrder)
def step() -> None:
    """Run one stage alone, from file to file.

    A step file holds every layer so far, in metres and the working CRS, with the inputs and
    settings of the run; the next step needs nothing else but the DEM where it was. The chain of
    all steps gives the same values as `reachrank rank`.
    """


@step.command(short_help="Read the inputs; takes the arguments of `rank`.")
@input_arguments
@out_option
@jobs_option
@overwrite_option
@progress_option
def read(*, out: str, jobs: int, overwrite: bool, progress_style: str, **given: Any) -> None:
    """Read STREAMS, DEM and the other inputs into the first step file."""
    from reachrank import pipeline  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.report.summary import units_line  # noqa: PLC0415
    from reachrank.write import check_target, write_step  # noqa: PLC0415

    inputs, settings = inputs_and_settings(given)
    check_target(Path(out), overwrite=overwrite, inputs=input_files(inputs))
    with showing(progress_style) as progress:
        tables, ctx = pipeline.open_inputs(inputs, settings, progress=progress, jobs=jobs)
        click.echo(units_line(ctx))
        write_step(tables, ctx, out, stage="read", overwrite=overwrite)


@contextmanager
def needing_what_came_before(name: str, source: str) -> Iterator[None]:
    """Say plainly where a step was given a file that lacks a layer or column it needs."""
    from reachrank.schema import LAYERS  # noqa: PLC0415

    known = {*LAYERS, *(column.name for layer in LAYERS.values() for column in layer)}
    try:
        yield
    except KeyError as error:
        lacking = error.args[0] if error.args else ""
        if lacking not in known:
            raise
        raise InputError(
            f"The file has no {lacking}, which the step {name} needs.",
            hint=f"The order of the steps: read, {', '.join(STAGES)}, write.",
            where=source,
        ) from error


def _command(name: str, text: str) -> click.Command:
    @click.command(name, help=f"{text} IN is the file of the step before.", short_help=text)
    @click.argument("source", metavar="IN.gpkg")
    @out_option
    @click.option(
        "--dem", multiple=True, metavar="FILE", help="The DEM, if it is not where it was."
    )
    @dem_options
    @settings_options
    @jobs_option
    @overwrite_option
    @progress_option
    def run(
        *,
        source: str,
        out: str,
        dem: tuple[str, ...],
        dem_units: str | None,
        allow_remote: bool,
        settings_file: str | None,
        set_values: tuple[str, ...],
        jobs: int,
        overwrite: bool,
        progress_style: str,
    ) -> None:
        from reachrank.pipeline import run_stage  # noqa: PLC0415  (opens the geometry libraries)
        from reachrank.resume import resume, tell_new  # noqa: PLC0415
        from reachrank.write import check_target, write_step  # noqa: PLC0415

        settings = (
            chosen_settings(settings_file, set_values) if settings_file or set_values else None
        )
        check_target(Path(out), overwrite=overwrite, inputs=[source, *dem])
        with showing(progress_style) as progress:
            tables, ctx = resume(
                source, dem=dem, dem_units=dem_units, settings=settings, jobs=jobs,
                allow_remote=allow_remote,
            )  # fmt: skip
            ctx.progress = progress
            with ctx.dem, needing_what_came_before(name, source):
                tables = run_stage(name, tables, ctx)
            tell_new(ctx)
            write_step(tables, ctx, out, stage=name, overwrite=overwrite)

    return run


for _name, _text in STAGES.items():
    step.add_command(_command(_name, _text))


@step.command(short_help="Write the ranked GeoPackage from the last step.")
@click.argument("source", metavar="IN.gpkg")
@out_option
@units_option
@profiles_option
@allow_remote_option
@overwrite_option
def write(
    *, source: str, out: str, units: str, profiles: str, allow_remote: bool, overwrite: bool
) -> None:
    """Write the ranked GeoPackage from the file of the step `repairs`."""
    from reachrank.resume import resume  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.write import check_target, read_profiles_option, write_ranked  # noqa: PLC0415

    keep = read_profiles_option(profiles)
    check_target(Path(out), overwrite=overwrite, inputs=[source])
    tables, ctx = resume(source, allow_remote=allow_remote)
    write_ranked(
        tables,
        ctx,
        out,
        overwrite=overwrite,
        units="us" if units == "us" else "metric",
        profiles=keep,
    )
