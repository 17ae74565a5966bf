"""Show progress on stderr: a bar, one JSON object per line for another program, or nothing."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import click

from reachrank.progress import Progress, silent

STYLES = ("bar", "jsonl", "none")
_LEAST_PAUSE_S = 0.2

progress_option = click.option(
    "--progress",
    "progress_style",
    type=click.Choice(STYLES),
    default="bar",
    show_default=True,
    help="How progress is shown on stderr: a bar, one JSON object per line, or not at all.",
)


@contextmanager
def showing(style: str) -> Iterator[Progress]:
    """Give a progress hook for the block. A bar needs a terminal; else stages are named in turn."""
    if style == "none":
        yield silent
    elif style == "jsonl":
        yield _json_lines()
    elif sys.stderr.isatty():
        with _bar() as hook:
            yield hook
    else:
        yield _stage_lines()


def _json_lines() -> Progress:
    last_s, last_message = -1.0, ""

    def hook(fraction: float, message: str) -> None:
        nonlocal last_s, last_message
        now_s = time.monotonic()
        if message != last_message or fraction >= 1.0 or now_s - last_s > _LEAST_PAUSE_S:
            last_s, last_message = now_s, message
            row = {"event": "progress", "fraction": round(fraction, 4), "message": message}
            click.echo(json.dumps(row), err=True)

    return hook


def _stage_lines() -> Progress:
    last_message = ""

    def hook(fraction: float, message: str) -> None:
        nonlocal last_message
        if message != last_message:
            last_message = message
            click.echo(f"{fraction:4.0%} {message}", err=True)

    return hook


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.console import Console  # noqa: PLC0415  (slow to load, seldom needed)
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn  # noqa: PLC0415
    from rich.progress import Progress as Bar  # noqa: PLC0415

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f}%"),
    )
    with Bar(*columns, TimeElapsedColumn(), console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("read", total=1.0)

        def hook(fraction: float, message: str) -> None:
            bar.update(task, completed=fraction, description=f"{message:<12.40}")

        yield hook
