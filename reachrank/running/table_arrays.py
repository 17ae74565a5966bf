"""Tables as plain arrays in a zip file, and back: nothing in it could run as code (no pickles).

Of each table the file has one entry, ``NAME.arrays``: numbers, one array behind the other. What
they are and where each begins is told apart, as JSON.
"""

from __future__ import annotations

import math
import re
import zipfile
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.errors import BugError
from reachrank.running.mapped import mapped

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from pyproj import CRS

    from reachrank.context import Table

_NUMBERS = re.compile(r"[<>|][biuf][1248]")
"""Types of arrays that are kept, as numpy names them."""
_ALIGN = 16
"""Every array begins at a multiple of so many bytes."""


def put_table(file: zipfile.ZipFile, name: str, table: Table) -> dict[str, Any]:
    """Write a table's arrays one behind the other; return what they are and where each begins."""
    arrays: dict[str, NDArray[Any]] = {}
    told = _describe(table, arrays)
    places, end = {}, 0
    with file.open(f"{name}.arrays", "w", force_zip64=True) as entry:
        for key, values in arrays.items():
            plain = np.ascontiguousarray(values)
            places[key] = [plain.dtype.str, list(plain.shape), end]
            entry.write(plain.data if plain.size else b"")
            gap = -plain.nbytes % _ALIGN
            entry.write(b"\0" * gap)
            end += plain.nbytes + gap
    return {**told, "arrays": places}


def take_table(
    file: zipfile.ZipFile, name: str, told: Mapping[str, Any], crs: CRS, *, in_file: bool = False
) -> Table:
    """Return a table that `put_table` has written; ``told`` is what that returned.

    Its columns can be written to, as any that the stages make; not so with ``in_file``, which has
    long ones lie in files, see `reachrank.running.mapped`.

    Raises
    ------
    KeyError, OSError, ValueError and others
        Where the file is not as it was written.
    """
    whole = np.frombuffer(bytearray(file.read(f"{name}.arrays")), np.uint8)
    return _table(told, _arrays_in(mapped(whole) if in_file else whole, told["arrays"]), crs)


def _arrays_in(whole: NDArray[np.uint8], places: Mapping[str, Any]) -> dict[str, NDArray[Any]]:
    """Return the arrays that `put_table` has written."""
    arrays: dict[str, NDArray[Any]] = {}
    for key, (kind, shape, first) in places.items():
        if not _NUMBERS.fullmatch(kind):
            raise ValueError("An array of anything but numbers is none of ours.")
        arrays[key] = np.frombuffer(whole.data, kind, math.prod(shape), first).reshape(shape)
    return arrays


def _describe(table: Table, arrays: dict[str, NDArray[Any]]) -> dict[str, Any]:
    """Put a table's columns into arrays; return their names and types."""
    geometry = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    columns = []
    for number, name in enumerate(table.columns):
        values, key = table[name], str(number)
        if name == geometry:
            kind = _put_shapes(arrays, key, values.to_numpy())
        elif isinstance(values.dtype, pd.api.extensions.ExtensionDtype):
            kind = str(values.dtype)
            if kind in ("str", "string"):
                _put_text(arrays, key, values)
            elif kind in ("Int64", "boolean"):
                arrays[f"{key}.missing"] = values.isna().to_numpy()
                plain = values.fillna(False if kind == "boolean" else 0)
                arrays[key] = plain.to_numpy("bool" if kind == "boolean" else "int64")
            else:
                raise BugError(f"A column of type {kind} ({name}) cannot be kept.")
        elif values.dtype == object:
            kind = "object"
            _put_text(arrays, key, values)
        else:
            kind = str(values.dtype)
            arrays[key] = values.to_numpy()
        columns.append([str(name), kind])
    return {"rows": len(table), "geometry": geometry, "columns": columns}


def _table(told: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]], crs: CRS) -> Table:
    columns: dict[str, Any] = {}
    for number, (name, kind) in enumerate(told["columns"]):
        key = str(number)
        if kind == "lines":
            columns[name] = _lines(arrays[key], arrays[f"{key}.starts"])
        elif kind == "geometry":
            columns[name] = shapely.from_wkb(np.array(_take_bytes(arrays, key), dtype=object))
        elif kind in ("object", "str", "string"):
            text = _shared(_take_bytes(arrays, key))
            if f"{key}.runs" in arrays:
                text = _in_runs(text, arrays[f"{key}.runs"], told["rows"])
            columns[name] = pd.Series(text, dtype=kind)
        elif kind in ("Int64", "boolean"):
            columns[name] = pd.Series(arrays[key]).astype(kind).mask(arrays[f"{key}.missing"])
        else:
            columns[name] = arrays[key]
    frame = pd.DataFrame(columns, index=pd.RangeIndex(told["rows"]), copy=False)
    if told["geometry"] is None:
        return frame
    return gpd.GeoDataFrame(frame, geometry=told["geometry"], crs=crs)


def _shared(parts: list[bytes | None]) -> NDArray[np.object_]:
    """Return texts; of equal ones each the same object, as the ids of streams are."""
    known = {part: part.decode() for part in set(parts) if part is not None}
    texts = np.empty(len(parts), dtype=object)
    texts[:] = [None if part is None else known[part] for part in parts]
    return texts


def _in_runs(texts: NDArray[np.object_], runs: NDArray[np.int64], rows: int) -> NDArray[np.object_]:
    """Return a column from its texts and how often each stands there; `ValueError` for others."""
    fits = len(runs) == len(texts) and ((runs >= 0) & (runs <= rows)).all()
    if not fits or runs.sum() != rows:
        raise ValueError("The runs of a column are not as long as the table.")
    return np.repeat(texts, runs)


def _put_shapes(arrays: dict[str, NDArray[Any]], key: str, shapes: NDArray[np.object_]) -> str:
    """Put geometries into arrays, lines (nearly all of them) as coordinates; return the kind."""
    if len(shapes) and (shapely.get_type_id(shapes) == shapely.GeometryType.LINESTRING).all():
        _, arrays[key], (arrays[f"{key}.starts"],) = shapely.to_ragged_array(shapes)
        return "lines"
    _put_bytes(arrays, key, list(shapely.to_wkb(shapes)))
    return "geometry"


def _lines(xy: NDArray[np.float64], starts: NDArray[np.int64]) -> NDArray[np.object_]:
    """Return lines from coordinates and where each begins; `ValueError` where they do not fit."""
    if starts[0] != 0 or starts[-1] != len(xy) or (np.diff(starts) < 0).any():
        raise ValueError("Lines begin outside of their coordinates.")
    made: NDArray[np.object_] = shapely.from_ragged_array(
        shapely.GeometryType.LINESTRING, xy, (starts,)
    )
    return made


def _put_text(arrays: dict[str, NDArray[Any]], key: str, values: pd.Series[Any]) -> None:
    """Put a column of texts into arrays; ids stand in runs, and of a run one is enough."""
    column = np.asarray(values, dtype=object)
    missing = pd.isna(column)
    if missing.any():
        column = np.where(missing, "", column)
    is_first = np.ones(len(column), np.bool_)
    is_first[1:] = (column[1:] != column[:-1]) | (missing[1:] != missing[:-1])
    if 2 * np.count_nonzero(is_first) < len(column):
        first = np.flatnonzero(is_first)
        arrays[f"{key}.runs"] = np.diff(first, append=len(column))
        column, missing = column[first], missing[first]
    given = column.tolist()
    try:
        whole = "".join(given)
    except TypeError as error:
        raise BugError(
            f"The column {values.name} holds what is not text and cannot be kept."
        ) from error
    raw = whole.encode()
    parts = given if len(raw) == len(whole) else [one.encode() for one in given]
    length = np.fromiter(map(len, parts), np.int64, len(parts))
    length[missing] = -1
    arrays[f"{key}.length"] = length
    arrays[key] = np.frombuffer(raw, np.uint8)


def _put_bytes(arrays: dict[str, NDArray[Any]], key: str, parts: list[bytes | None]) -> None:
    arrays[f"{key}.length"] = np.array(
        [-1 if part is None else len(part) for part in parts], np.int64
    )
    arrays[key] = np.frombuffer(b"".join(part or b"" for part in parts), np.uint8)


def _take_bytes(arrays: Mapping[str, NDArray[Any]], key: str) -> list[bytes | None]:
    whole, length = arrays[key].tobytes(), arrays[f"{key}.length"]
    ends = np.cumsum(np.maximum(length, 0))
    return [
        None if n < 0 else whole[end - n : end]
        for n, end in zip(length.tolist(), ends.tolist(), strict=True)
    ]
