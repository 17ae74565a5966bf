"""A table in a spreadsheet file (.xlsx): the values that its cells show, as text."""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
from pathlib import Path
from typing import Any

from reachrank.errors import InputError
from reachrank.requests.headings import header_row

_MOST_UNPACKED_BYTES = 1_000_000_000


def read_workbook(path: str | Path, sheet: str | None = None) -> tuple[list[list[str]], list[str]]:
    """Return the rows of one sheet, every cell as text, and notes on how it was read.

    Parameters
    ----------
    path
        An .xlsx or .xlsm file; nothing in it is run, formulas give the value last saved.
    sheet
        Its name; None takes the first sheet that has recognised headings, else the first.

    Raises
    ------
    InputError
        For a file that is no such spreadsheet, or without that sheet.
    """
    import openpyxl  # noqa: PLC0415  (slow to load)

    where = str(path)
    _check_size(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what the file has besides values is not read
            book = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
    except Exception as error:  # noqa: BLE001, RUF100  (a broken file raises anything)
        raise InputError(f"The spreadsheet cannot be read: {error}.", where=where) from error
    try:
        names = [s.title for s in book.worksheets]
        if sheet is not None and sheet not in names:
            raise InputError(
                f"The spreadsheet has no sheet {sheet!r}; it has: {', '.join(names)}.", where=where
            )
        taken = [sheet] if sheet is not None else names
        first: list[list[str]] | None = None
        for name in taken:
            rows = [[_text(cell) for cell in row] for row in book[name].iter_rows(values_only=True)]
            first = rows if first is None else first
            if header_row(rows, {}) is not None:
                return rows, [f"Sheet {name!r} was read."] if len(names) > 1 else []
        return first or [], []
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001, RUF100
        raise InputError(f"The spreadsheet cannot be read: {error}.", where=where) from error
    finally:
        book.close()


def _check_size(path: str | Path) -> None:
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(info.file_size for info in packed.infolist())
    except (OSError, zipfile.BadZipFile) as error:
        raise InputError(
            "This is not an .xlsx spreadsheet.", hint="Save it as .xlsx or CSV.", where=str(path)
        ) from error
    if size > _MOST_UNPACKED_BYTES:
        raise InputError("The spreadsheet unpacks to more than 1 GB.", where=str(path))


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime) and value.time() == dt.time():
        return value.date().isoformat()
    return str(value).strip()
