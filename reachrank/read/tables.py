"""Read a ranked file, or the hand-over between two stages, back into tables."""

from __future__ import annotations

import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS

from reachrank.context import Table, Tables
from reachrank.errors import CHANGED, BugError, InputError
from reachrank.read.gdal import quiet, reading
from reachrank.read.trust import check_database, check_path, head
from reachrank.schema import LAYERS, Column, Layer
from reachrank.units import to_metric
from reachrank.write.conform import conform


def read_tables(path: str | Path, *, layers: tuple[str, ...] = ()) -> Tables:
    """Read every layer that the schema declares and the file has.

    Parameters
    ----------
    path
        A GeoPackage that reachrank wrote, in metric or U.S. customary columns.
    layers
        Only these; empty means all.

    Returns
    -------
    dict
        Layer name to table: text as ``object`` with None, whole numbers ``Int64``, numbers
        ``float64`` with NaN, yes or no ``bool`` (``boolean`` where some are missing). Columns in
        metric names and units, in the schema's order; the geometry in the CRS of the file.

    Raises
    ------
    InputError
        For a file that is not there, not a GeoPackage, holds none of the layers, or holds what
        such a layer cannot.
    """
    where = str(path)
    check_path(where)
    if not head(where, 16).startswith(b"SQLite format 3"):
        raise InputError("This is not a GeoPackage.", where=where)
    check_database(where)
    with quiet(), reading(where):
        found = {str(name) for name, _ in pyogrio.list_layers(where)}
        wanted = [name for name in LAYERS if name in found and (not layers or name in layers)]
        if not wanted:
            raise InputError(
                f"The file holds no layer of reachrank; it has: {', '.join(sorted(found))}.",
                hint="Give a file that `reachrank rank` or `reachrank step` wrote.",
                where=where,
            )
        missing = sorted(set(layers) - set(wanted))
        if missing:
            raise InputError(f"The file has no layer {', '.join(missing)}.", where=where)
        tables = {name: _read(where, LAYERS[name]) for name in wanted}
        info = tables.get("run_info")
        if info is None and "run_info" in found:
            info = _read(where, LAYERS["run_info"])
    if _check(tables, info, where):
        return {name: _with_all_columns(table, LAYERS[name]) for name, table in tables.items()}
    return tables


def _with_all_columns(table: Table, layer: Layer) -> Table:
    """Return a finished layer with the columns that somebody has taken out, empty."""
    new = {
        column.name: _of_kind(pd.Series(None, table.index, dtype=object), column.kind)
        for column in layer
        if column.name not in table.columns
    }
    return table.assign(**new) if new else table


def _check(tables: Tables, info: Table | None, where: str) -> bool:
    """Return whether the file is finished; `InputError` if it holds what no layer of ours can."""
    whole = False
    if info is not None:
        _conforms(info, LAYERS["run_info"], where, whole=True)
        whole = bool(((info["key"] == "stage") & (info["value"] == "write")).any())
    for name, table in tables.items():
        _conforms(table, LAYERS[name], where, whole=whole)
    if "profiles" in tables and "elevations" in tables["profiles"]:
        texts = tables["profiles"]["elevations"].dropna()
        if not texts.str.fullmatch(r"-?\d*(,-?\d*)*").all():
            raise InputError("The layer profiles holds a damaged profile.", where=where)
    return whole


def _conforms(table: Table, layer: Layer, where: str, *, whole: bool) -> None:
    try:
        conform(table, layer, whole=whole)
    except BugError as error:  # ours when we write it, not when we read it
        raise InputError(error.message, hint=CHANGED, where=where) from error


def _read(path: str, layer: Layer) -> Table:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # mixed geometry in one layer is meant
        raw = pyogrio.read_dataframe(path, layer=layer.name)
        crs = pyogrio.read_info(path, layer=layer.name)["crs"]
    table = to_metric(raw, layer.names)
    columns = {
        column.name: _restored(table[column.name], column, path)
        for column in layer
        if column.name in table.columns
    }
    frame = pd.DataFrame(columns, index=table.index)
    if layer.geometry == "None":
        return frame
    geometry = (
        table.geometry.to_numpy()
        if isinstance(table, gpd.GeoDataFrame)
        else np.full(len(table), None, dtype=object)
    )
    return gpd.GeoDataFrame(
        frame,
        geometry=gpd.GeoSeries(
            geometry, frame.index, crs=CRS.from_user_input(crs) if crs else None
        ),
    )


def _restored(values: pd.Series, column: Column, path: str) -> pd.Series:
    try:
        return _of_kind(values, column.kind)
    except (TypeError, ValueError) as error:
        raise InputError(
            f"The column {column.name} holds something else than {column.kind} ({error}).",
            where=path,
        ) from error


def _of_kind(values: pd.Series, kind: str) -> pd.Series:
    if kind == "float":
        return pd.to_numeric(values).astype("float64")
    if kind == "int":
        return values.astype("Int64")
    if kind == "bool":
        whole = values.astype("boolean")
        return whole if whole.isna().any() else whole.astype("bool")
    plain = values.astype(object)
    return plain.where(plain.notna(), None)
