"""Make a table match its layer in the schema, or say exactly where it does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from reachrank.errors import BugError
from reachrank.schema import LAYERS, Column, Kind, Layer

if TYPE_CHECKING:
    from reachrank.context import Table

DTYPES: dict[Kind, str] = {
    "str": "string",
    "int": "Int64",
    "float": "float64",
    "bool": "boolean",
    "bytes": "object",
}
"""One pandas type per kind, each with a real null."""

_SLACK = 1e-9
"""Rounding allowed at a limit, relative: an angle of 90.00000000001 degrees is 90 degrees."""


def conform(table: Table, layer: Layer, *, whole: bool) -> Table:
    """Return the table with the schema's columns, order and types; the geometry comes last.

    Parameters
    ----------
    table
        One layer as the stages made it.
    layer
        What the schema says of it.
    whole
        True for a finished layer: every declared column is there (null where no stage gave it),
        required ones without a null. False for a layer between stages: only the columns that
        exist so far.

    Raises
    ------
    BugError
        For a column that the schema does not know, a wrong type, a value outside its limits, a
        null in a required column, or the wrong geometry. All faults are listed at once.
    """
    faults = [
        f"unknown column {name}" for name in _attribute_names(table) if name not in layer.names
    ]
    columns: dict[str, pd.Series] = {}
    for column in layer:
        if column.name in table.columns:
            columns[column.name] = _typed(table[column.name], column, faults)
        elif whole and column.required:
            faults.append(f"column {column.name} is missing")
        elif whole:
            nothing = np.nan if column.kind == "float" else None
            columns[column.name] = pd.Series(nothing, table.index, dtype=DTYPES[column.kind])
    for name, values in columns.items():
        faults.extend(_outside(values, layer[name], whole=whole))
    faults.extend(_wrong_geometry(table, layer))
    if faults:
        raise BugError(
            f"The layer {layer.name} breaks its own description: {'; '.join(faults)}.",
            hint="This is a mistake in reachrank, not in your data; please report it.",
        )
    if layer.geometry != "None" and isinstance(table, gpd.GeoDataFrame):
        columns["geometry"] = table.geometry
    frame = pd.DataFrame(columns, index=table.index, copy=False).reset_index(drop=True)
    return frame if layer.geometry == "None" else gpd.GeoDataFrame(frame, copy=False)


def with_schema_types(table: Table) -> Table:
    """Return the table with its declared columns in the types that stages hand on.

    Text is ``object`` with None, whole numbers ``Int64``, numbers ``float64``, yes or no ``bool``,
    or ``boolean`` where some are missing: as `reachrank.read.read_tables` gives them. Parts of a
    layer that were made separately can then be joined without pandas guessing a type from a part
    that happens to be empty or all null.
    """
    kinds = {column.name: column.kind for layer in LAYERS.values() for column in layer}
    new = table.copy(deep=False)  # whole columns are put in, none is changed
    for name in _attribute_names(table):
        kind = kinds.get(name)
        if kind is None:
            continue
        values = table[name]
        if kind == "float":
            if values.dtype != np.float64:
                new[name] = values.to_numpy("float64", na_value=np.nan)
        elif kind in ("str", "bytes"):
            new[name] = _with_none(values)
        elif kind == "bool" and not values.isna().any():
            new[name] = values.astype("bool")
        else:
            new[name] = values.astype(DTYPES[kind])
    return new


def _with_none(values: pd.Series) -> pd.Series:
    """Return text as objects, None for every missing one."""
    plain = values.astype("object")
    given = plain.to_numpy()
    missing = pd.isna(given)
    if all(one is None for one in given[missing]):
        return plain
    own = given.copy()
    own[missing] = None
    return pd.Series(own, index=plain.index, dtype="object")


def _attribute_names(table: Table) -> list[str]:
    geometry = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    return [str(name) for name in table.columns if name != geometry]


def _typed(values: pd.Series, column: Column, faults: list[str]) -> pd.Series:
    try:
        if column.kind == "float":
            if values.dtype == np.float64:
                return values
            return pd.Series(values.to_numpy("float64", na_value=np.nan), values.index)
        if column.kind == "str" and not _is_text(values):
            raise TypeError("not all text")
        return values.astype(DTYPES[column.kind])
    except (TypeError, ValueError) as error:
        faults.append(f"column {column.name} is not {column.kind} ({error})")
        return values.astype("object")


def _is_text(values: pd.Series) -> bool:
    return bool(values.isna().all()) or pd.api.types.infer_dtype(values, skipna=True) == "string"


def _outside(values: pd.Series, column: Column, *, whole: bool) -> list[str]:
    faults = []
    if whole and column.required and values.isna().any():
        faults.append(f"{int(values.isna().sum())} nulls in {column.name}")
    if column.kind not in ("int", "float") or values.dtype == object:
        return faults
    numbers = values.dropna().to_numpy("float64")
    if not np.isfinite(numbers).all():
        faults.append(f"{column.name} is not finite")
        return faults
    for limit, sign in ((column.least, 1.0), (column.greatest, -1.0)):
        if limit is None or not numbers.size:
            continue
        worst = (numbers * sign).min() * sign
        if (worst - limit) * sign < -_SLACK * max(1.0, abs(limit)):
            faults.append(f"{column.name} is {worst:g}, its limit is {limit:g}")
    return faults


def _wrong_geometry(table: Table, layer: Layer) -> list[str]:
    if layer.geometry == "None":
        return ["it has geometry but should not"] if isinstance(table, gpd.GeoDataFrame) else []
    if not isinstance(table, gpd.GeoDataFrame):
        return ["it has no geometry column"]
    if layer.geometry == "Any":
        return []
    kinds = set(table.geometry.geom_type.dropna().unique()) - {layer.geometry}
    empty = int((table.geometry.isna() | table.geometry.is_empty).sum())
    return [f"geometry of type {', '.join(sorted(kinds))}"] * bool(kinds) + [
        f"{empty} rows without geometry"
    ] * bool(empty)
