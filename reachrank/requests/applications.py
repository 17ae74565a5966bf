"""Read a stack of applications: a text table, a spreadsheet or a layer; every row once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from reachrank.errors import InputError, UsageError
from reachrank.read.source import Source, parse_source
from reachrank.read.trust import check_path, head, is_xml
from reachrank.requests.headings import MEANINGS, bare, header_row, recognise
from reachrank.requests.rules import ColumnRules
from reachrank.requests.text_table import read_text_table
from reachrank.requests.workbook import read_workbook

_TEXT_ENDINGS = (".csv", ".txt", ".tsv", ".tab")
KEPT = "kept_"
"""Columns carried along begin with this, so that they cannot be taken for ours."""


@dataclass(frozen=True)
class Applications:
    """A stack of applications.

    Attributes
    ----------
    rows
        One row each, all text, ``""`` for nothing: application_id, longitude, latitude, x, y,
        coordinates, address, parcel.
    geometry
        Points or areas of a layer, None for a table; in the layer's own CRS.
    kept
        The columns to carry along, as written, named ``kept_...``.
    notes
        What was done to read them, in sentences.
    """

    rows: pd.DataFrame
    geometry: gpd.GeoSeries | None
    kept: pd.DataFrame
    notes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.rows)


def read_applications(
    spec: str, columns: ColumnRules | None = None, keep: Sequence[str] = ()
) -> Applications:
    """Read applications.

    Parameters
    ----------
    spec
        A CSV or other text table, an .xlsx spreadsheet (``file|layername=SHEET`` for a sheet), or
        any layer of points or areas that is read as an input.
    columns
        Columns named by the rules; the others are recognised by their headings.
    keep
        Headings of columns to carry along, for instance the applicant's name.

    Raises
    ------
    InputError
        For a file that cannot be read, or where nothing says where the places are.
    """
    columns = columns or ColumnRules()
    source = parse_source(spec)
    check_path(source.path)
    ending = Path(source.path).suffix.lower()
    if ending == ".xls":
        raise InputError(
            "Old .xls spreadsheets are not read.", hint="Save it as .xlsx or CSV.",
            where=source.path,
        )  # fmt: skip
    if ending in _TEXT_ENDINGS and not is_xml(source.path):
        rows, notes = read_text_table(source.path)
        return _from_rows(rows, notes, columns, keep, source.path)
    if ending in (".xlsx", ".xlsm") or head(source.path, 4) == b"PK\x03\x04":
        rows, notes = read_workbook(source.path, source.layer)
        return _from_rows(rows, notes, columns, keep, source.path)
    return _from_layer(source, columns, keep)


def from_frame(
    raw: pd.DataFrame,
    columns: ColumnRules | None = None,
    keep: Sequence[str] = (),
    *,
    geometry: gpd.GeoSeries | None = None,
    notes: Sequence[str] = (),
    where: str = "",
) -> Applications:
    """Make applications from a table whose column names are the headings."""
    headings = [str(name) for name in raw.columns]
    places = _places(headings, columns or ColumnRules(), where)
    if geometry is None and not _says_where(places):
        raise InputError(
            "No column says where the places are: no coordinates, address or parcel.",
            hint="Name the columns in the rules, group [columns]; the headings are: "
            f"{', '.join(headings) or 'none'}.",
            where=where,
        )
    text = raw.map(_cell) if len(raw.columns) else raw
    made = {
        meaning: text.iloc[:, places[meaning]].to_numpy(dtype=object)
        if meaning in places
        else np.full(len(raw), "", dtype=object)
        for meaning in MEANINGS
    }
    kept: dict[str, object] = {}
    for wanted in keep:
        place = _place(headings, wanted)
        if place is None:
            raise UsageError(
                f"--keep names a column {wanted!r} that the applications do not have.",
                hint=f"They have: {', '.join(headings)}.",
            )
        kept[_kept_name(headings[place], kept)] = text.iloc[:, place].to_numpy(dtype=object)
    rows = pd.DataFrame(made, index=range(len(raw)), dtype=object)
    if geometry is not None:
        geometry = geometry.reset_index(drop=True)
    return Applications(rows, geometry, pd.DataFrame(kept, index=rows.index), tuple(notes))


def _from_rows(
    rows: list[list[str]],
    notes: list[str],
    columns: ColumnRules,
    keep: Sequence[str],
    where: str,
) -> Applications:
    top = header_row(rows, asdict(columns))
    if top is None:
        raise InputError(
            "No row of headings was recognised.",
            hint="Name the columns in the rules, group [columns].",
            where=where,
        )
    if top:
        above = sum(any(cell for cell in row) for row in rows[:top])
        if above:
            notes = [*notes, f"Lines above the headings, taken for a title: {above}."]
    body = [row for row in rows[top + 1 :] if any(cell.strip() for cell in row)]
    blank = len(rows) - top - 1 - len(body)
    if blank:
        notes = [*notes, f"Empty rows, not counted: {blank}."]
    width = max([len(rows[top]), *(len(row) for row in body)])
    headings = [*rows[top], *[""] * (width - len(rows[top]))]
    padded = [[*row, *[""] * (width - len(row))] for row in body]
    raw = pd.DataFrame(padded, columns=headings, dtype=object)
    return from_frame(raw, columns, keep, notes=notes, where=where)


def _from_layer(source: Source, columns: ColumnRules, keep: Sequence[str]) -> Applications:
    from reachrank.read.vector import open_layer, read_layer  # noqa: PLC0415  (slow to load)

    layer = open_layer(source)
    table = read_layer(layer, layer.columns)
    raw = pd.DataFrame(table.drop(columns=table.geometry.name)).reset_index(drop=True)
    return from_frame(raw, columns, keep, geometry=table.geometry, where=layer.where)


def _places(headings: list[str], columns: ColumnRules, where: str) -> dict[str, int]:
    places = recognise(headings)
    for meaning, wanted in asdict(columns).items():
        if not wanted or meaning not in MEANINGS:
            continue
        place = _place(headings, wanted)
        if place is None:
            raise InputError(
                f"The applications have no column {wanted!r} (rule columns.{meaning}).",
                hint=f"They have: {', '.join(headings)}.",
                where=where,
            )
        places[meaning] = place
    return places


def _place(headings: list[str], wanted: str) -> int | None:
    for same in (lambda a, b: a == b, lambda a, b: bool(bare(a)) and bare(a) == bare(b)):
        for place, heading in enumerate(headings):
            if same(heading.strip(), wanted.strip()):
                return place
    return None


def _says_where(places: Mapping[str, int]) -> bool:
    return (
        {"longitude", "latitude"} <= places.keys()
        or {"x", "y"} <= places.keys()
        or bool({"coordinates", "address", "parcel"} & places.keys())
    )


def _kept_name(heading: str, taken: Mapping[str, object]) -> str:
    stem = KEPT + ("".join(c if c.isalnum() else "_" for c in heading).strip("_")[:50] or "column")
    number, name = 2, stem
    while name.lower() in {known.lower() for known in taken}:
        name, number = f"{stem}_{number}", number + 1
    return name


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, (float, np.floating)):
        if np.isnan(value):
            return ""
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    return str(value).strip()
