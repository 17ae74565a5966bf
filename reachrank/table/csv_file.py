"""One layer as comma-separated values, safe to open in a spreadsheet program."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from reachrank.context import Table
from reachrank.table.rows import rows_of
from reachrank.write.place import aside

MARK = "'"
"""Put before text that a spreadsheet program would take for a formula."""
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""Beginnings of a formula, as OWASP's page on CSV injection lists them."""


def write_csv(
    tables: Mapping[str, Table],
    path: str | Path,
    layer: str,
    *,
    us: bool = False,
    overwrite: bool = False,
) -> int:
    """Write a layer and return how many cells of text got a mark before them.

    UTF-8 with a byte order mark, which spreadsheet programs need to see it; column names of the
    schema, which end in their unit; an empty cell is a missing value.

    Parameters
    ----------
    tables
        As `reachrank.read.tables.read_tables` gives them.
    path
        The file.
    layer
        ``reaches``, ``banks`` or ``repairs``.
    us
        U.S. customary columns.
    overwrite
        Whether the file may be replaced.
    """
    rows = rows_of(tables, layer, us=us)
    marked = 0
    with (
        aside(Path(path), overwrite=overwrite, kind="a table", ending=".csv") as file,
        file.path.open("w", encoding="utf-8-sig", newline="") as out,
    ):
        writer = csv.writer(out)
        writer.writerow(rows.columns)
        for row in rows.itertuples(index=False):
            cells = [safe(value) for value in row]
            marked += sum(is_marked for _, is_marked in cells)
            writer.writerow([text for text, _ in cells])
    return marked


def safe(value: Any) -> tuple[Any, bool]:
    """Return a cell as it is written, and whether it got a mark. Numbers never do.

    Examples
    --------
    >>> safe("=1+1"), safe(-2.5), safe("Mill Creek")
    (("'=1+1", True), (-2.5, False), ('Mill Creek', False))
    """
    if value is None or value is pd.NA or value != value:  # noqa: PLR0124  (not a number)
        return "", False
    if isinstance(value, str):
        dangerous = value.lstrip(" ").startswith(_STARTS) or value.startswith(_STARTS)
        return (f"{MARK}{value}", True) if dangerous else (value, False)
    if isinstance(value, float):
        return float(f"{value:.10g}"), False
    return value, False
