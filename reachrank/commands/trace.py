"""`reachrank trace`: stream lines from a DEM where there are none."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from reachrank.commands.input_options import dem_options, overwrite_option
from reachrank.commands.progress_display import progress_option, showing
from reachrank.commands.rank import out_option
from reachrank.report.plain import plain


@click.command()
@click.argument("dem", nargs=-1, required=True, metavar="DEM...")
@out_option
@click.option(
    "--min-area-km2",
    type=float,
    default=0.5,
    show_default=True,
    help="Streams begin where this much ground drains together. Small perennial streams of humid "
    "regions often begin between 0.1 and 1 km²; compare with streams that you know.",
)
@dem_options
@overwrite_option
@progress_option
def trace(
    *,
    dem: tuple[str, ...],
    out: str,
    min_area_km2: float,
    dem_units: Literal["m", "ft", "us-ft"] | None,
    allow_remote: bool,
    overwrite: bool,
    progress_style: str,
) -> None:
    """Draw stream lines from DEM by flow routing.

    A traced line is a start, not a survey: it follows the lowest cells and knows neither culverts
    nor storm sewers. Look at the lines before ranking them.
    """
    from reachrank.findings import Findings  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.trace import trace as trace_dem  # noqa: PLC0415
    from reachrank.write import check_target  # noqa: PLC0415
    from reachrank.write.lines import write_lines  # noqa: PLC0415

    target = Path(out)
    check_target(target, overwrite=overwrite, inputs=dem)
    findings = Findings()
    with showing(progress_style) as progress:
        lines = trace_dem(
            dem,
            min_area_km2,
            dem_units=dem_units,
            findings=findings,
            progress=progress,
            allow_remote=allow_remote,
        )
        landed = write_lines(lines, target, overwrite=overwrite)
    for row in findings.rows:
        click.echo(plain(row["text"]), err=True)
    length_km = lines.to_crs(lines.estimate_utm_crs()).length.sum() / 1000
    click.echo(
        f"{len(lines):,} lines, {length_km:,.1f} km, on cells of {lines.attrs['cell_m']:.3g} m, "
        f"in {landed}."
    )
    click.echo(f"Rank them: reachrank rank {landed} {' '.join(dem)} --out ranked.gpkg")
