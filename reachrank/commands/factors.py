"""`reachrank factors`: what the hazard score is made of."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import fields
from typing import Any

import click

from reachrank.commands.input_options import chosen_settings, settings_options
from reachrank.errors import UsageError
from reachrank.report.plain import plain


@click.command()
@click.argument("name", required=False, metavar="[NAME]")
@settings_options
def factors(name: str | None, settings_file: str | None, set_values: tuple[str, ...]) -> None:
    """Say what a factor of the hazard score measures, its weight, and where it comes from.

    All factors without a NAME.

    Built-in factors and those of installed plugins alike. The settings group [hazard] changes
    weights and breakpoints.
    """
    from reachrank.findings import Findings  # noqa: PLC0415  (opens the geometry libraries)
    from reachrank.hazard.registry import load_factors  # noqa: PLC0415

    settings = chosen_settings(settings_file, set_values)
    findings = Findings()
    known = load_factors(findings)
    if name is not None and name not in [factor.name for factor in known]:
        raise UsageError(
            f"There is no factor '{plain(name)}'.",
            hint=f"Choose one of: {', '.join(plain(factor.name) for factor in known)}.",
        )
    for factor in known:
        if name not in (None, factor.name):
            continue
        for line in _told(factor, settings.hazard):
            click.echo(line)
    for row in findings.rows:
        click.echo(plain(row["text"]), err=True)


def _told(factor: Any, hazard: Any) -> Iterator[str]:
    from reachrank.hazard.breakpoints import knots_of, weight_of  # noqa: PLC0415

    points = ", ".join(f"{value:g} gives {score:g}" for value, score in knots_of(factor, hazard))
    of_points = {field.name: field.metadata["source"] for field in fields(hazard)}
    source = of_points.get(f"{factor.name}_knots", "")
    yield f"{plain(factor.name)}, weight {weight_of(factor, hazard):g}"
    unit = "" if factor.unit in ("", "ratio", "0-1") else f" ({plain(factor.unit)})"
    for text in (
        f"{plain(factor.gives).rstrip('.')}{unit}.",
        f"Score by the value, straight between: {points}." if points else "",
        f"Measure: {plain(factor.reference).rstrip('.')}.",
        f"Scores: {plain(source).rstrip('.')}." if source else "",
    ):
        yield from textwrap.wrap(text, 92, initial_indent="    ", subsequent_indent="    ")
