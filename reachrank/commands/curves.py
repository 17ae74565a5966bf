"""`reachrank curves`: the regional curves that `--curve` knows."""

from __future__ import annotations

import math
import textwrap

import click


@click.command()
@click.argument("name", required=False)
@click.option("--area-km2", type=float, help="Also say what the curve gives at this drainage area.")
def curves(*, name: str | None, area_km2: float | None) -> None:
    """List the regional curves for bankfull size, or say all of one: fit, range, source.

    A curve holds for the region and land use of its sites; the name of the nearest one is not
    always the right one.
    """
    from reachrank.curves import curve, curve_names  # noqa: PLC0415  (opens pandas)

    if name is None:
        for known in curve_names():
            click.echo(f"{known:<36}{curve(known).title}")
        return
    told = curve(name)
    length, area = ("ft", "mi²") if told.units == "us" else ("m", "km²")
    click.echo(f"{told.name}: {told.title}")
    for what, law in (("width", told.width), ("mean depth", told.depth)):
        click.echo(f"    bankfull {what} ({length}) = {law.a:g} A^{law.b:g}, A in {area}")
    least, greatest = told.fit_km2
    if math.isfinite(least) and math.isfinite(greatest):
        click.echo(f"    fitted to drainage areas from {least:,.3g} to {greatest:,.5g} km²")
    for text in (told.citation, told.certainty):
        for line in textwrap.wrap(text, 92):
            click.echo(f"    {line}")
    if area_km2 is not None:
        width_m, depth_m = float(told.width_m(area_km2)), float(told.depth_m(area_km2))
        click.echo(
            f"    at {area_km2:g} km²: {width_m:.2f} m wide, {depth_m:.2f} m deep on average"
        )
        if told.is_beyond_fit(area_km2).any():
            click.echo("    that is outside of the range it was fitted to")
