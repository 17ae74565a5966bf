"""Write layers into one GeoPackage 1.2, each with what its columns mean.

Version 1.2 because desktop programs still in use open later ones only in part. Which layers,
in which coordinates and units, is decided by the callers in `ranked` and `step`.
"""

from __future__ import annotations

import sqlite3
import warnings
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import closing
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio

from reachrank.errors import OutputError
from reachrank.interrupt import held_back
from reachrank.schema import LAYERS
from reachrank.write.arrow import ArrowRows, parts_of
from reachrank.write.descriptions import describe_columns

if TYPE_CHECKING:
    from reachrank.context import Table

VERSION = "1.2"
_USER_VERSION = 10200
_APPLICATION_ID = 0x47504B47  # "GPKG", OGC 12-128r14 requirement 2
GEOMETRY = "geom"
_GEOMETRY = {"LineString": "LineString", "Any": "Unknown", "None": None}


def _as_it_is(_name: str, rows: Table) -> Table:
    return rows


def write_layers(
    path: Path,
    layers: Mapping[str, Table],
    *,
    us: bool = False,
    finish: Callable[[str, Table], Table] = _as_it_is,
    there: Collection[str] = (),
) -> None:
    """Write tables in the order given, and describe their columns.

    Parameters
    ----------
    path
        A file that does not exist yet, or holds the layers ``there``.
    layers
        Layer name to table; names are those of `reachrank.schema`.
    us
        The tables have U.S. customary columns; the descriptions then say so.
    finish
        Given a layer's name and some of its rows, returns them as they are to be written, in
        conformance with the schema; so that a large layer is never there twice as a whole.
    there
        Layers that have been written by `write_layer` before.
    """
    for name, table in layers.items():
        if name not in there:
            write_layer(path, name, parts_of(table), partial(finish, name))
    if there:
        _put_in_order(path, layers)
    describe_columns(path, layers, us=us)


def write_layer(
    path: Path, name: str, parts: Iterator[Table], finish: Callable[[Table], Table]
) -> None:
    """Add one layer to a file; ``parts`` are its rows, at least one part even if there are none."""
    layer = LAYERS[name]
    first = next(parts)
    has_geometry = layer.geometry != "None"
    rows = ArrowRows(chain([first], parts), finish, GEOMETRY)
    crs = _crs_text(finish(first.iloc[:0])) if has_geometry else None
    with warnings.catch_warnings(), held_back():
        # A layer whose features may have any geometry, or none, is what we want here.
        warnings.filterwarnings("ignore", message=".*[Gg]eometry type.*")
        try:
            pyogrio.write_arrow(
                rows,
                path,
                layer=name,
                driver="GPKG",
                geometry_type=_GEOMETRY[layer.geometry],
                geometry_name=GEOMETRY if has_geometry else None,
                crs=crs,
                dataset_options={"VERSION": VERSION},
                layer_options={
                    "IDENTIFIER": name,
                    "DESCRIPTION": layer.meaning,
                    **({"GEOMETRY_NAME": GEOMETRY} if has_geometry else {}),
                },
            )
        except Exception:
            if rows.error is not None:
                raise rows.error from None
            raise


def _put_in_order(path: Path, names: Iterable[str]) -> None:
    """Let programs list the layers in this order, which is that of the rows that name them."""
    with closing(sqlite3.connect(path)) as db, db:
        for table in ("gpkg_contents", "gpkg_geometry_columns"):
            db.execute(f"UPDATE {table} SET rowid = -rowid")  # noqa: S608  (two fixed words)
            db.executemany(
                f"UPDATE {table} SET rowid = ? WHERE table_name = ?",  # noqa: S608
                [(number, name) for number, name in enumerate(names, 1)],
            )


def _crs_text(table: Table) -> str | None:
    crs = table.crs if isinstance(table, gpd.GeoDataFrame) else None
    if crs is None:
        return None
    epsg = crs.to_epsg()
    return f"EPSG:{epsg}" if epsg else str(crs.to_wkt("WKT1_GDAL"))


def check_file(path: Path, layers: Mapping[str, Table]) -> None:
    """Read a written file back and raise `OutputError` unless it holds what it should.

    The database's own check of every page, the file's marks, the layers, and their row counts.
    """
    with closing(sqlite3.connect(path)) as db:
        faults = [row[0] for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
        if db.execute("PRAGMA foreign_key_check").fetchone():
            faults.append("a foreign key points nowhere")
        if db.execute("PRAGMA application_id").fetchone()[0] != _APPLICATION_ID:
            faults.append("the file does not call itself a GeoPackage")
        if db.execute("PRAGMA user_version").fetchone()[0] != _USER_VERSION:
            faults.append(f"the file is not version {VERSION}")
        written = {row[0] for row in db.execute("SELECT table_name FROM gpkg_contents")}
        for name, table in layers.items():
            if name not in written:
                faults.append(f"layer {name} is missing")
                continue
            rows = db.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608  (names of the schema)
            if rows != len(table):
                faults.append(f"layer {name} has {rows} rows, not {len(table)}")
    if faults:
        raise OutputError(
            f"The written file did not pass its check: {'; '.join(faults)}.",
            hint="Is the disk full, or the network drive away?",
            where=str(path),
        )


def to_output_crs(table: Table, crs: object) -> Table:
    """Return the layer in another CRS; a table without geometry is returned as it is."""
    if not isinstance(table, gpd.GeoDataFrame) or table.crs == crs:
        return table
    return table.to_crs(crs)
