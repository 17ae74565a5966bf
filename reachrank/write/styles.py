"""Put into the GeoPackage how each layer looks, so that QGIS shows it so without a click.

QGIS keeps styles in a table ``layer_styles`` beside the layers; one marked as default is applied
when the layer is opened. Other programs pass it by.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from reachrank.schema import LAYERS
from reachrank.settings.priority import PrioritySettings
from reachrank.write.styles_qml import qml

_TABLE = """
CREATE TABLE IF NOT EXISTS layer_styles (
  "id" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "f_table_catalog" TEXT(256),
  "f_table_schema" TEXT(256), "f_table_name" TEXT(256), "f_geometry_column" TEXT(256),
  "styleName" TEXT(30), "styleQML" TEXT, "styleSLD" TEXT, "useAsDefault" BOOLEAN,
  "description" TEXT, "owner" TEXT(30), "ui" TEXT(30),
  "update_time" DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')));
"""
"""The table as QGIS itself makes it."""
_CONTENTS = """
INSERT OR IGNORE INTO gpkg_contents (table_name, data_type, identifier, description, srs_id)
VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers, read by QGIS.', 0)
"""
_ROW = """
INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column,
  styleName, styleQML, styleSLD, useAsDefault, description, owner, ui, update_time)
VALUES ('', '', ?, ?, 'default', ?, '', 1, '', '', NULL, '2000-01-01T00:00:00.000Z')
"""
# A fixed day: the same run gives the same bytes, and a style saved later by the user is newer.


def add_styles(path: Path, layers: Iterable[str], *, us: bool) -> None:
    """Add a default style for each layer: signs, labels, scales, and titles of columns.

    Parameters
    ----------
    path
        A GeoPackage with these layers.
    layers
        Names of the schema.
    us
        Whether its columns are U.S. customary.
    """
    with closing(sqlite3.connect(path)) as db, db:
        db.executescript(_TABLE)
        db.execute(_CONTENTS)
        breaks = _class_breaks(db)
        for name in layers:
            layer = LAYERS[name]
            columns = [str(row[1]) for row in db.execute(f'PRAGMA table_info("{name}")')]
            found = db.execute(
                "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
            ).fetchone()
            geometry = str(found[0]) if found else ""
            db.execute(_ROW, (name, geometry, qml(layer, columns, us=us, class_breaks=breaks)))


def _class_breaks(db: sqlite3.Connection) -> tuple[float, ...]:
    """Return where the classes begin by the settings that the file keeps, else the usual ones."""
    try:
        row = db.execute("SELECT value FROM run_info WHERE key = 'settings'").fetchone()
        return tuple(float(v) for v in json.loads(row[0])["priority"]["class_breaks"])
    except (sqlite3.Error, TypeError, ValueError, KeyError):
        return PrioritySettings().class_breaks
