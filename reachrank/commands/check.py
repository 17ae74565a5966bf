"""`reachrank check`: what the inputs are and what is wrong with them."""

from __future__ import annotations

from typing import Any

import click

from reachrank.commands.input_options import input_arguments, inputs_and_settings
from reachrank.commands.progress_display import progress_option, showing
from reachrank.report.plain import plain


@click.command()
@input_arguments
@progress_option
def check(*, progress_style: str, **given: Any) -> None:
    """Say what STREAMS, DEM and the other inputs are, and what is wrong with them.

    Opens every input as `rank` does, with the same arguments, and reads only the vectors. What
    would stop a run is an error here too; the rest is listed as findings.
    """
    from reachrank.pipeline import open_inputs  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.read.check import report  # noqa: PLC0415

    inputs, settings = inputs_and_settings(given)
    with showing(progress_style) as progress:
        tables, ctx = open_inputs(inputs, settings, progress=progress)
    with ctx.dem:
        for line in report(tables, ctx).splitlines():
            click.echo(plain(line))
