"""`reachrank columns`: what a layer or a column means, straight from the schema."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import click

from reachrank.description import description
from reachrank.errors import UsageError
from reachrank.schema import LAYERS, Column, Layer

_KINDS = {
    "str": "text",
    "int": "whole number",
    "float": "number",
    "bool": "yes/no",
    "bytes": "bytes",
}


@click.command()
@click.argument("name", required=False, metavar="[LAYER|COLUMN]")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True)
@click.option("--all", "inner", is_flag=True, help="Also the layers that only pass between stages.")
def columns(name: str | None, units: str, inner: bool) -> None:
    """Say what the layers are, or what one layer's columns or one column means."""
    us = units == "us"
    if name is None:
        lines = _layers(inner)
    elif name in LAYERS:
        lines = _layer(LAYERS[name], us=us)
    else:
        lines = _column(name, us=us)
    for line in lines:
        click.echo(line)


def _layers(inner: bool) -> Iterator[str]:
    for layer in LAYERS.values():
        if layer.public or inner:
            yield from textwrap.wrap(
                f"{layer.name:<15}{layer.meaning}", 96, subsequent_indent=" " * 15
            )


def _layer(layer: Layer, *, us: bool) -> Iterator[str]:
    yield f"{layer.name}: {layer.meaning}"
    for column in layer:
        yield from _told(column, us=us)


def _column(name: str, *, us: bool) -> Iterator[str]:
    found = [
        (layer, column)
        for layer in LAYERS.values()
        for column in layer
        if name in (column.name, description(column, us=True).column)
    ]
    if not found:
        raise UsageError(
            f"There is no layer or column {name!r}.", hint="`reachrank columns` lists the layers."
        )
    for layer, column in found:
        yield f"in {layer.name}:"
        yield from _told(column, us=us or column.name != name)


def _told(column: Column, *, us: bool) -> Iterator[str]:
    told = description(column, us=us)
    facts = [_KINDS[column.kind]]
    if column.least is not None and not (us and told.column != column.name and column.least):
        facts.append(f"at least {column.least:g}")
    if column.greatest is not None:
        facts.append(f"at most {column.greatest:g}")
    if column.required:
        facts.append("never null")
    yield f"  {told.column}  ({', '.join(facts)})"
    yield from textwrap.wrap(told.text, 92, initial_indent="      ", subsequent_indent="      ")
