"""Look up a few rows of a ranked GeoPackage by place, without reading the whole file.

A GeoPackage is an SQLite database with a spatial index of its own (OGC 12-128r14, annex F.3), so
one question needs a few pages of the file and none of the table libraries.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from types import TracebackType
from typing import Any

import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.errors import ShapelyError
from shapely.geometry.base import BaseGeometry

from reachrank.errors import CHANGED, InputError
from reachrank.read.trust import check_database, check_path, head
from reachrank.schema import LAYERS
from reachrank.units import us_name

Box = tuple[float, float, float, float]
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_WIDEN = 4.0


@dataclass(frozen=True)
class Row:
    """One feature: its columns in metric names and units, its geometry in the CRS of the file."""

    values: dict[str, Any]
    geometry: BaseGeometry | None

    def __getitem__(self, name: str) -> Any:
        """Return a column, None where the file has no such column."""
        return self.values.get(name)


def geometry_of(blob: bytes | None) -> BaseGeometry | None:
    """Return the geometry of a GeoPackage blob, None for nothing or an empty one.

    The header is two letters, a version, flags, the CRS number and, as the flags say, a box of 0
    to 64 bytes; then comes well-known binary (OGC 12-128r14, 2.1.3).
    """
    if not blob or blob[:2] != b"GP" or blob[3] & 0b0001_0000:
        return None
    start = 8 + _ENVELOPE_BYTES.get(blob[3] >> 1 & 0b111, 0)
    geometry: BaseGeometry = shapely.from_wkb(blob[start:])
    return geometry


class Lookup:
    """A ranked GeoPackage opened read-only for single questions; use it in a ``with`` block."""

    def __init__(self, path: str | Path) -> None:
        where = str(path)
        check_path(where)
        if not head(where, 16).startswith(b"SQLite format 3"):
            raise InputError("This is not a GeoPackage.", where=where)
        check_database(where)
        self.where = where
        self._db = sqlite3.connect(f"{Path(where).resolve().as_uri()}?mode=ro", uri=True)
        self._db.row_factory = sqlite3.Row
        try:
            self.layers = {
                str(row[0]) for row in self._db.execute("SELECT table_name FROM gpkg_contents")
            }
        except sqlite3.Error as error:
            self._db.close()
            raise InputError(f"This is not a GeoPackage ({error}).", where=where) from error

    def __enter__(self) -> Lookup:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._db.close()

    def require(self, *layers: str) -> None:
        """Raise `InputError` unless the file has these layers."""
        missing = [name for name in layers if name not in self.layers]
        if missing:
            raise InputError(
                f"The file has no layer {', '.join(missing)}.",
                hint="Give a file that `reachrank rank` wrote.",
                where=self.where,
            )

    def facts(self) -> dict[str, str]:
        """Return the layer ``run_info`` as a mapping, empty where the file has none."""
        if "run_info" not in self.layers:
            return {}
        rows = self._ask("SELECT run_info.key, run_info.value FROM run_info")
        return {str(row[0]): str(row[1]) for row in rows}

    def crs(self, layer: str) -> CRS:
        """Return the CRS of a layer."""
        rows = self._ask(
            "SELECT s.definition FROM gpkg_geometry_columns AS g JOIN gpkg_spatial_ref_sys AS s "
            "ON s.srs_id = g.srs_id WHERE g.table_name = ?",
            (layer,),
        )
        if not rows or not rows[0][0] or rows[0][0] == "undefined":
            raise InputError(f"The layer {layer} does not say its CRS.", where=self.where)
        try:
            return CRS.from_wkt(str(rows[0][0]))
        except CRSError as error:
            raise InputError(
                f"The CRS of the layer {layer} is not understood: {error}.", where=self.where
            ) from error

    def box(self, layer: str) -> Box | None:
        """Return west, south, east, north of a layer, None for an empty one."""
        rows = self._ask(
            "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = ?", (layer,)
        )
        if not rows or None in tuple(rows[0]):
            return None
        if not all(isinstance(value, (int, float)) and isfinite(value) for value in rows[0]):
            raise InputError(f"The extent of the layer {layer} is damaged.", where=self.where)
        west, south, east, north = (float(value) for value in rows[0])
        return west, south, east, north

    def count(self, layer: str, column: str) -> int:
        """Return how many rows have a value in a column."""
        name = self._column(layer, column)
        if name is None:
            return 0
        query = f"SELECT count({_quoted(name)}) FROM {_quoted(layer)}"  # noqa: S608
        return int(self._ask(query)[0][0])

    def rows(self, layer: str, column: str, value: object) -> list[Row]:
        """Return the rows whose column has a value, in the order of the file."""
        name = self._column(layer, column)
        return list(self._rows(layer, f"WHERE {_quoted(name)} = ?", (value,))) if name else []

    def all_rows(self, layer: str) -> list[Row]:
        """Return every row, in the order of the file."""
        return list(self._rows(layer, "ORDER BY rowid", ()))

    def within(self, layer: str, box: Box) -> list[Row]:
        """Return the rows whose box touches a box, in the order of the file."""
        column = self._geometry_column(layer)
        if column is None:
            return []
        index = f"rtree_{layer}_{column}"
        if self._ask("SELECT 1 FROM sqlite_master WHERE name = ?", (index,)):
            condition = (
                f"WHERE rowid IN (SELECT id FROM {_quoted(index)} "  # noqa: S608  (a name of the file)
                "WHERE maxx >= ? AND maxy >= ? AND minx <= ? AND miny <= ?) ORDER BY rowid"
            )
            return list(self._rows(layer, condition, box))
        area = shapely.box(*box)
        return [
            row
            for row in self._rows(layer, "ORDER BY rowid", ())
            if row.geometry is not None and row.geometry.envelope.intersects(area)
        ]

    def nearest(self, layer: str, point: BaseGeometry, first: float) -> list[tuple[float, Row]]:
        """Return rows near a point with their distances, the nearest first; empty for no rows.

        Looks ``first`` units around the point and widens until the nearest row lies within what
        was looked through, so that nothing nearer can have been missed.
        """
        whole = self.box(layer)
        if whole is None:
            return []
        x, y = point.x, point.y
        most = max(abs(x - whole[0]), abs(x - whole[2])) + max(abs(y - whole[1]), abs(y - whole[3]))
        reach = first
        while True:
            near = sorted(
                (
                    (float(shapely.distance(row.geometry, point)), place, row)
                    for place, row in enumerate(
                        self.within(layer, (x - reach, y - reach, x + reach, y + reach))
                    )
                    if row.geometry is not None
                ),
                key=lambda found: found[:2],
            )
            if (near and near[0][0] <= reach) or reach > most:
                return [(distance, row) for distance, _, row in near]
            reach *= _WIDEN

    def _rows(self, layer: str, condition: str, values: tuple[object, ...]) -> Iterator[Row]:
        geometry = self._geometry_column(layer)
        for row in self._select(layer, condition, values):
            own = {k: row[k] for k in row.keys() if k != geometry}  # noqa: SIM118
            if any(isinstance(value, float) and not isfinite(value) for value in own.values()):
                raise InputError(
                    f"The layer {layer} holds a number without end, which no ranking writes;"
                    " another program has changed the file.",
                    where=self.where,
                )
            try:
                shape = geometry_of(row[geometry]) if geometry else None
            except (LookupError, TypeError, ShapelyError) as error:
                raise InputError(
                    f"The layer {layer} holds a damaged shape ({error}).", where=self.where
                ) from error
            yield Row(_metric(own, layer, self.where), shape)

    def _select(
        self, layer: str, condition: str, values: tuple[object, ...] = ()
    ) -> list[sqlite3.Row]:
        return self._ask(f"SELECT * FROM {_quoted(layer)} {condition}", values)  # noqa: S608

    def _ask(self, query: str, values: tuple[object, ...] = ()) -> list[sqlite3.Row]:
        try:
            with closing(self._db.execute(query, values)) as found:
                return found.fetchall()
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise InputError(f"The file cannot be read: {error}.", where=self.where) from error

    def _geometry_column(self, layer: str) -> str | None:
        rows = self._ask(
            "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (layer,)
        )
        return str(rows[0][0]) if rows else None

    def _column(self, layer: str, name: str) -> str | None:
        has = {row[1] for row in self._ask(f"PRAGMA table_info({_quoted(layer)})")}
        return next((known for known in (name, us_name(name)[0]) if known in has), None)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


_KINDS: dict[str, tuple[type, ...]] = {
    "str": (str,), "int": (int,), "float": (int, float), "bool": (int,), "bytes": (bytes, str),
}  # fmt: skip
"""What the database gives for each kind of column."""


def _metric(values: dict[str, Any], layer: str, where: str) -> dict[str, Any]:
    """Return the columns in metric names and units, whichever the file has, None for one it lacks.

    Raises
    ------
    InputError
        For a value of another kind, or none where there is always one: no ranking writes that.
    """
    if layer not in LAYERS:
        return values
    out = dict(values)
    for column in LAYERS[layer]:
        customary, factor = us_name(column.name)
        if customary != column.name and customary in out and column.name not in out:
            value = out.pop(customary)
            out[column.name] = value / factor if isinstance(value, (int, float)) else value
        value = out.setdefault(column.name, None)
        if column.required if value is None else not isinstance(value, _KINDS[column.kind]):
            raise InputError(
                f"The layer {layer} has {value!r} in the column {column.name}.",
                hint=CHANGED,
                where=where,
            )
    return out
