"""The docket as a spreadsheet for people who have no GIS; every cell is a value, none a formula."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from reachrank.description import description
from reachrank.report.cautions import CAUTIONS
from reachrank.report.plain import plain
from reachrank.schema import DOCKET
from reachrank.write.place import aside

KIND, ENDING = "a spreadsheet", ".xlsx"
_WIDTHS = {"reason": 70, "placed_by": 40, "decision_note": 40, "changed": 40, "application_id": 16}
_FORMATS = {"_usd": "#,##0.00", "_screening": "#,##0.0", "_score": "0", "_m": "0.0", "_ft": "0.0"}


def write_spreadsheet(
    docket: gpd.GeoDataFrame,
    about: Sequence[tuple[str, str]],
    path: str | Path,
    *,
    us: bool,
    overwrite: bool = False,
) -> Path:
    """Write the docket and return where the file is.

    Parameters
    ----------
    docket
        As it is written into the GeoPackage.
    about
        Pairs of what is stated and what it is: the rules, the ranking.
    us
        The columns are U.S. customary; their meanings are told so.

    Notes
    -----
    Text stays text: a cell that begins with ``=``, ``+``, ``-`` or ``@`` is not run, and nothing
    becomes a link.
    """
    import xlsxwriter  # noqa: PLC0415  (slow to load)

    with aside(Path(path), overwrite=overwrite, kind=KIND, ending=ENDING) as file:
        options = {
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
            "nan_inf_to_errors": False,
            "in_memory": True,
        }
        with xlsxwriter.Workbook(str(file.path), options) as book:
            head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
            wrapped = book.add_format({"text_wrap": True, "valign": "top"})
            _docket_sheet(book, docket, head, wrapped)
            _pairs_sheet(book, "columns", _meanings(us=us), head, wrapped)
            cautions = [("caution", text) for text in CAUTIONS]
            _pairs_sheet(book, "about", [*about, *cautions], head, wrapped)
    return file.landed


def _docket_sheet(book: Any, docket: gpd.GeoDataFrame, head: Any, wrapped: Any) -> None:
    sheet = book.add_worksheet("docket")
    places = docket.geometry.to_crs("EPSG:4326").representative_point()
    table = pd.DataFrame(docket.drop(columns=docket.geometry.name)).assign(
        longitude=places.x.round(6), latitude=places.y.round(6)
    )
    for number, name in enumerate(table.columns):
        ending = next((e for e in _FORMATS if str(name).endswith(e)), "")
        kind = book.add_format(
            {"valign": "top", **({"num_format": _FORMATS[ending]} if ending else {})}
        )
        is_wide = name in ("reason", "placed_by", "decision_note", "changed")
        sheet.set_column(number, number, _WIDTHS.get(str(name), 14))
        sheet.write_string(0, number, plain(name, 100), head)
        for row, value in enumerate(table[name].tolist(), 1):
            _write(sheet, row, number, value, wrapped if is_wide else kind)
    sheet.freeze_panes(1, 1)
    if len(table):
        sheet.autofilter(0, 0, len(table), len(table.columns) - 1)


def _write(sheet: Any, row: int, column: int, value: Any, kind: Any) -> None:
    if value is None or value is pd.NA or value != value:  # noqa: PLR0124  (not a number)
        sheet.write_blank(row, column, None, kind)
    elif isinstance(value, bool):
        sheet.write_boolean(row, column, value, kind)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, column, value, kind)
    else:
        sheet.write_string(row, column, plain(value, 32_000), kind)


def _meanings(*, us: bool) -> list[tuple[str, str]]:
    told = [description(column, us=us) for column in DOCKET]
    return [(one.column, one.text) for one in told]


def _pairs_sheet(
    book: Any, name: str, pairs: Sequence[tuple[str, str]], head: Any, wrapped: Any
) -> None:
    sheet = book.add_worksheet(name)
    sheet.set_column(0, 0, 32)
    sheet.set_column(1, 1, 100)
    for row, (key, text) in enumerate(pairs):
        sheet.write_string(row, 0, plain(key, 200), head)
        sheet.write_string(row, 1, plain(text, 32_000), wrapped)
