"""A workbook: a sheet for each layer, one that explains every column, one on the run."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from reachrank.context import Table
from reachrank.errors import OutputError
from reachrank.report.cautions import CAUTIONS
from reachrank.schema import LAYERS, Column
from reachrank.table.rows import MORE, columns_of, rows_of
from reachrank.write.place import aside
from reachrank.write.run_info import value_of

MOST_ROWS = 1_048_575
"""Rows of a sheet below the heading (ECMA-376 as implemented by spreadsheet programs)."""
MOST_LETTERS = 32_767
"""Letters of a cell."""
_MADE = datetime(2000, 1, 1)
_LONG_TEXT = ("reason", "path_reasons", "permit_questions", "source", "velocity_source")
_LONG_WIDTH, _MOST_WIDTH, _LEAST_WIDTH = 60.0, 32.0, 8.0
_KINDS = {"str": "text", "int": "whole number", "float": "number", "bool": "yes/no"}


def write_workbook(
    tables: Mapping[str, Table],
    path: str | Path,
    layers: Sequence[str],
    *,
    us: bool = False,
    overwrite: bool = False,
) -> None:
    """Write layers as sheets of one workbook.

    Text is always written as text: a cell that begins like a formula is none.

    Parameters
    ----------
    tables
        As `reachrank.read.tables.read_tables` gives them; ``run_info`` is used where there.
    path
        The file.
    layers
        Names of layers; ``materials`` comes along with ``repairs`` where it has rows.
    us
        U.S. customary columns.
    overwrite
        Whether the file may be replaced.
    """
    wanted = list(layers)
    if "repairs" in wanted:
        wanted += [name for name in MORE if name in tables and len(tables[name])]
    rows = {layer: rows_of(tables, layer, us=us) for layer in wanted}
    for layer, table in rows.items():
        if len(table) > MOST_ROWS:
            raise OutputError(
                f"The layer {layer} has {len(table):,} rows; a sheet holds {MOST_ROWS:,}.",
                hint="Write a .csv instead.",
            )
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
        "constant_memory": False,
    }
    with aside(Path(path), overwrite=overwrite, kind="a workbook", ending=".xlsx") as file:
        book = xlsxwriter.Workbook(str(file.path), options)
        book.set_properties({"title": "Stream bank ranking", "created": _MADE})
        formats = _formats(book)
        for layer, table in rows.items():
            _write_layer(book, formats, layer, table, us=us)
        _write_dictionary(book, formats, rows, us=us)
        _write_about(book, formats, tables.get("run_info"), us=us)
        book.close()


def _formats(book: Any) -> dict[str, Any]:
    base = {"valign": "top"}
    head = {
        "bold": True,
        "text_wrap": True,
        "valign": "vcenter",
        "bg_color": "#ECE7F2",
        "bottom": 1,
    }
    return {
        "head": book.add_format(head),
        "text": book.add_format(base),
        "wrap": book.add_format({**base, "text_wrap": True}),
        "whole": book.add_format({**base, "num_format": "#,##0"}),
        "one": book.add_format({**base, "num_format": "#,##0.0"}),
        "two": book.add_format({**base, "num_format": "#,##0.00"}),
        "four": book.add_format({**base, "num_format": "0.0000"}),
        "six": book.add_format({**base, "num_format": "0.000000"}),
        "bold": book.add_format({**base, "bold": True}),
    }


def number_format(column: Column) -> str:
    """Return which of the workbook's number formats a column takes."""
    name = column.name
    if column.kind == "int":
        return "whole"
    if name in ("longitude_deg", "latitude_deg"):
        return "six"
    if name.endswith(("_frac", "_se_m", "_share")) or name in ("radius_width_ratio", "top_share"):
        return "two"
    if name.endswith(("slope_ratio", "_per_m")):
        return "four"
    if name.endswith(("_usd", "_hours_low", "_hours_high")):
        return "whole"
    if name.endswith(("_ratio", "_km2", "_t_yr_screening", "_kg_yr_screening")):
        return "two"
    return "one"


def _write_layer(
    book: Any, formats: dict[str, Any], layer: str, rows: pd.DataFrame, *, us: bool
) -> None:
    sheet = book.add_worksheet(layer)
    columns = columns_of(layer, [str(name) for name in rows.columns], us=us)
    for k, (column, heading, meaning, _) in enumerate(columns):
        sheet.write_string(0, k, heading, formats["head"])
        sheet.write_comment(0, k, meaning[:1000], {"x_scale": 2.0, "y_scale": 1.4, "author": ""})
        values = rows.iloc[:, k]
        is_long = column.name in _LONG_TEXT
        kind = (
            "wrap"
            if is_long
            else "text"
            if column.kind in ("str", "bool")
            else number_format(column)
        )
        sheet.set_column(k, k, _width(column, heading, values), formats[kind])
        for row, value in enumerate(values, start=1):
            _write_cell(sheet, row, k, value, formats[kind])
    sheet.set_row(0, 45.0)
    frozen = 1 + next((k for k, c in enumerate(columns) if c[0].name.endswith("_id")), 0)
    sheet.freeze_panes(1, frozen)
    sheet.autofilter(0, 0, max(len(rows), 1), max(len(columns) - 1, 0))
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _write_cell(sheet: Any, row: int, column: int, value: Any, look: Any) -> None:
    if value is None or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        sheet.write_blank(row, column, None, look)
    elif isinstance(value, str):
        sheet.write_string(row, column, value[:MOST_LETTERS], look)
    elif isinstance(value, bool) or type(value).__name__ == "bool":
        sheet.write_string(row, column, "yes" if value else "no", look)
    else:
        sheet.write_number(row, column, float(value), look)


def _width(column: Column, heading: str, values: pd.Series[Any]) -> float:
    if column.name in _LONG_TEXT:
        return _LONG_WIDTH
    longest_word = max((len(word) for word in heading.split()), default=0)
    third = math.ceil(len(heading) / 3.0)  # the heading has three lines
    inside = (
        int(values.head(2000).map(lambda v: len(str(v))).max())
        if column.kind == "str" and len(values)
        else 9
    )
    return float(min(_MOST_WIDTH, max(_LEAST_WIDTH, longest_word + 3, third + 3, inside + 2)))


def _write_dictionary(
    book: Any, formats: dict[str, Any], rows: Mapping[str, pd.DataFrame], *, us: bool
) -> None:
    sheet = book.add_worksheet("dictionary")
    headings = (
        "Sheet",
        "Heading",
        "Column in the GeoPackage",
        "Unit",
        "Kind",
        "Least",
        "Greatest",
        "Meaning",
    )
    for k, (heading, width) in enumerate(
        zip(headings, (12, 34, 38, 10, 13, 8, 9, 90), strict=True)
    ):
        sheet.write_string(0, k, heading, formats["head"])
        sheet.set_column(k, k, width, formats["wrap"])
    at = 1
    for layer, table in rows.items():
        names = [str(name) for name in table.columns]
        for name, (column, heading, meaning, unit) in zip(
            names, columns_of(layer, names, us=us), strict=True
        ):
            texts = (layer, heading, name, unit, _KINDS.get(column.kind, column.kind))
            for k, text in enumerate(texts):
                sheet.write_string(at, k, text, formats["text"])
            same = not us or name == column.name
            for k, limit in ((5, column.least), (6, column.greatest)):
                if limit is not None and (same or limit == 0.0):
                    sheet.write_number(at, k, limit, formats["text"])
            sheet.write_string(at, 7, meaning, formats["wrap"])
            at += 1
    sheet.freeze_panes(1, 2)
    sheet.autofilter(0, 0, max(at - 1, 1), len(headings) - 1)


def _write_about(book: Any, formats: dict[str, Any], info: Table | None, *, us: bool) -> None:
    sheet = book.add_worksheet("about")
    sheet.set_column(0, 0, 34, formats["bold"])
    sheet.set_column(1, 1, 110, formats["wrap"])
    lines = [("Cautions", text) for text in CAUTIONS]
    lines += [
        ("Units", "U.S. customary: international feet of 0.3048 m" if us else "metric"),
        ("Left and right", "look downstream"),
        ("Station", "along the found channel, up from the stream's mouth"),
        (
            "An empty cell",
            "is a value that is not known; columns in which nothing is known are left out",
        ),
        (
            "Layers",
            "; ".join(
                f"{name}: {LAYERS[name].meaning}" for name in ("reaches", "banks", "repairs")
            ),
        ),
    ]
    if info is not None:
        shown = ("units", "curve", "factor_weights", "factors_absent", "priority_rule",
                 "priority_classes", "rank_ties", "rank_draws", "versions")  # fmt: skip
        lines += [(key, text) for key in shown if (text := value_of(info, key))]
        lines += [
            (str(key), str(value)) for key, value in zip(info["key"], info["value"], strict=True)
            if str(key).startswith("input.")
        ]  # fmt: skip
    for row, (what, text) in enumerate(lines):
        sheet.write_string(row, 0, what, formats["bold"])
        sheet.write_string(row, 1, text[:MOST_LETTERS], formats["wrap"])
