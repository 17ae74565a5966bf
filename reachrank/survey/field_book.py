"""Read sections from a table: section id, station, elevation."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reachrank.errors import InputError
from reachrank.units import LENGTH_TO_M, LengthUnit

SECTION_WORDS = ("section", "section_id", "xs", "cross_section", "id")
STATION_WORDS = ("station", "offset", "distance", "chainage")
ELEVATION_WORDS = ("elevation", "elev", "z", "height", "level")


@dataclass(frozen=True)
class FieldSection:
    """One surveyed section: points from left to right looking downstream, metres."""

    section_id: str
    offset_m: NDArray[np.float64]
    elevation_m: NDArray[np.float64]


def read_field_book(path: str, unit: LengthUnit) -> list[FieldSection]:
    """Return the sections of a CSV file in the order in which they first appear.

    Parameters
    ----------
    path
        A text table with a header. Columns are known by name: section (or section_id, xs), station
        (or offset, distance) and elevation (or elev, z); a unit may follow, after an underscore or
        in brackets. Without a section column all rows are one section.
    unit
        Unit of stations and elevations: m, ft (international) or us-ft (survey).

    Raises
    ------
    InputError
        If there is no such file, a column is missing or a cell is not a number.
    """
    file = Path(path)
    if not file.is_file():
        raise InputError("There is no such file.", where=path)
    data = file.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    first = text.splitlines()[0] if text.strip() else ""
    delimiter = max(",;\t", key=first.count)
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise InputError("The table holds no rows below its header.", where=path)
    header = [_plain_word(cell) for cell in rows[0]]
    station = _column(header, STATION_WORDS, "station", path)
    elevation = _column(header, ELEVATION_WORDS, "elevation", path)
    section = next((header.index(w) for w in SECTION_WORDS if w in header), None)
    to_m = LENGTH_TO_M[unit]
    points: dict[str, list[tuple[float, float]]] = {}
    for number, row in enumerate(rows[1:], start=2):
        name = row[section].strip() if section is not None and section < len(row) else "1"
        x, z = (_number(row, k, number, path) for k in (station, elevation))
        points.setdefault(name, []).append((x * to_m, z * to_m))
    return [
        FieldSection(name, *(np.array(values) for values in zip(*own, strict=True)))
        for name, own in points.items()
    ]


def _plain_word(cell: str) -> str:
    word = cell.strip().lower().split("(")[0].split("[")[0].strip().replace(" ", "_")
    for unit in ("_m", "_ft", "_feet", "_metres", "_meters"):
        word = word.removesuffix(unit)
    return word


def _column(header: list[str], words: tuple[str, ...], what: str, path: str) -> int:
    for word in words:
        if word in header:
            return header.index(word)
    raise InputError(
        f"The table has no column for the {what}; its columns are {', '.join(header)}.",
        hint=f"Name it {words[0]}.",
        where=path,
    )


def _number(row: list[str], column: int, number: int, path: str) -> float:
    cell = row[column].strip() if column < len(row) else ""
    try:
        value = float(cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise InputError(f"Row {number} holds {cell!r} where a number is needed.", where=path)
    return value
