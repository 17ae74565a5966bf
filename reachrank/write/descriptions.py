"""Say inside the file what each column means, in which unit and within which limits.

Uses the schema extension of the GeoPackage standard (OGC 12-128r14, annex F.9): the tables
``gpkg_data_columns`` and ``gpkg_data_column_constraints``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from pathlib import Path

from reachrank.description import description
from reachrank.schema import LAYERS

_TABLES = """
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
  min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
"""
_DEFINITION = "http://www.geopackage.org/spec121/#extension_schema"
_EXTENSIONS = [
    (table, None, "gpkg_schema", _DEFINITION, "read-write")
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints")
]


def describe_columns(path: Path, layers: Iterable[str], *, us: bool) -> None:
    """Add titles, meanings with units, and value limits for all columns of the layers."""
    with closing(sqlite3.connect(path)) as db, db:
        db.executescript(_TABLES)
        db.executemany("INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)", _EXTENSIONS)
        ranges: dict[str, tuple[float, float]] = {}
        for layer in layers:
            present = {row[1] for row in db.execute(f'PRAGMA table_info("{layer}")')}
            for column in LAYERS[layer]:
                told = description(column, us=us)
                if told.column not in present:
                    continue
                db.execute(
                    "INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, ?)",
                    (layer, told.column, told.title, told.title, told.text, told.constraint),
                )
                if told.constraint and told.constraint != "bank_side":
                    ranges[told.constraint] = (column.least or 0.0, column.greatest or 0.0)
        db.executemany(
            "INSERT INTO gpkg_data_column_constraints VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            list(_constraint_rows(ranges)),
        )


def _constraint_rows(ranges: Mapping[str, tuple[float, float]]) -> Iterator[tuple[object, ...]]:
    for side in ("left", "right"):
        yield "bank_side", "enum", side, None, None, None, None, f"{side}, looking downstream"
    for name, (least, greatest) in sorted(ranges.items()):
        yield name, "range", None, least, 1, greatest, 1, f"{least:g} to {greatest:g}"
