"""Tables as Arrow arrays, which GDAL takes whole columns of, many times as fast as row by row."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import nanoarrow as na
import numpy as np
import pandas as pd
import shapely
from nanoarrow.ipc import InputStream, StreamWriter
from numpy.typing import NDArray

from reachrank.running.mapped import let_go

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from typing_extensions import Buffer

    from reachrank.context import Table

ROWS = 8_192
"""Rows of one batch: the text of a batch must stay under 2 GB, and one batch alone is in memory."""


def parts_of(table: Table) -> Iterator[Table]:
    """Yield the rows of a table, some thousand at a time; one part of none for an empty table."""
    for first in range(0, max(1, len(table)), ROWS):
        yield table.iloc[first : first + ROWS]
        let_go()


class ArrowRows:
    """A table as a stream of Arrow record batches, each made when it is asked for.

    What takes it calls ``__arrow_c_stream__`` (the Arrow PyCapsule interface) once. The library
    that makes the arrays reads streams from files alone, so this is a file to it: one whose next
    bytes are the next batch in Arrow's format for streams.

    Parameters
    ----------
    parts
        The rows, some thousand at a time and at least one part: see `parts_of`.
    finish
        Gives some of them as they are to be written: columns as
        `reachrank.write.conform.conform` gives them. NaN and other missing values become nulls.
    geometry_name
        Name of the column of geometries, which are given as well-known binary.

    Attributes
    ----------
    error
        What ``finish`` raised, which the reader of the stream cannot hand on as it was.
    """

    def __init__(
        self, parts: Iterable[Table], finish: Callable[[Table], Table], geometry_name: str
    ) -> None:
        self.error: Exception | None = None
        self._parts = iter(parts)
        self._finish = finish
        self._geometry_name = geometry_name
        self._made = io.BytesIO()
        self._writer = StreamWriter.from_writable(self._made)
        self._left = memoryview(b"")

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        stream = InputStream.from_readable(self)
        return stream.__arrow_c_stream__(requested_schema=requested_schema)

    def readinto(self, wanted: Buffer) -> int:
        """Fill a buffer with the next bytes of the stream; return how many there were."""
        if not self._left:
            self._left = memoryview(self._more())
        room = memoryview(wanted).cast("B")
        done = min(len(room), len(self._left))
        room[:done] = self._left[:done]
        self._left = self._left[done:]
        return done

    def _more(self) -> bytes:
        part = next(self._parts, None)
        if part is not None:
            try:
                rows = self._finish(part)
            except Exception as error:
                self.error = error
                raise
            self._writer.write_array(_batch(rows, self._geometry_name))
        else:
            self._writer.close()  # writes the end of the stream, the second time nothing
        made = self._made.getvalue()
        self._made.seek(0)
        self._made.truncate()
        return made


def _batch(table: Table, geometry_name: str) -> Any:
    geometry = table.geometry.name if isinstance(table, gpd.GeoDataFrame) else None
    fields, arrays = {}, []
    for name in table.columns:
        kind, buffers, nulls = _column(table[name], is_geometry=name == geometry)
        fields[geometry_name if name == geometry else str(name)] = kind
        arrays.append(na.c_array_from_buffers(kind, len(table), buffers, null_count=nulls))
    return na.c_array_from_buffers(na.struct(fields), len(table), [None], children=arrays)


def _column(values: pd.Series[Any], *, is_geometry: bool) -> tuple[Any, list[Any], int]:
    """Return one column's Arrow type, buffers and count of nulls."""
    missing = values.isna().to_numpy()
    nulls = int(missing.sum())
    valid = _bits(~missing) if nulls else None
    if is_geometry:
        parts = shapely.to_wkb(values.to_numpy()).tolist()
        return na.binary(), [valid, *_bytes([part or b"" for part in parts])], nulls
    if pd.api.types.is_bool_dtype(values.dtype):
        yes = values.to_numpy(np.bool_, na_value=False) if nulls else values.to_numpy(np.bool_)
        return na.bool_(), [valid, _bits(yes)], nulls
    if pd.api.types.is_integer_dtype(values.dtype):
        return na.int64(), [valid, values.fillna(0).to_numpy(np.int64)], nulls
    if pd.api.types.is_float_dtype(values.dtype):
        return na.float64(), [valid, values.to_numpy(np.float64, na_value=np.nan)], nulls
    given = np.asarray(values, dtype=object)
    if nulls:
        given = np.where(missing, "", given)
    texts = given.tolist()
    if values.dtype == object and any(isinstance(one, bytes) for one in texts):
        return na.binary(), [valid, *_bytes([one or b"" for one in texts])], nulls
    whole = "".join(texts)
    if whole.isascii():
        return na.string(), [valid, _starts(texts), whole.encode()], nulls
    return na.string(), [valid, *_bytes([one.encode() for one in texts])], nulls


def _bits(values: NDArray[np.bool_]) -> NDArray[np.uint8]:
    return np.packbits(values, bitorder="little")


def _bytes(parts: Sequence[bytes]) -> tuple[NDArray[np.int32], bytes]:
    return _starts(parts), b"".join(parts)


def _starts(parts: Sequence[bytes] | Sequence[str]) -> NDArray[np.int32]:
    starts = np.zeros(len(parts) + 1, np.int32)
    np.cumsum(np.fromiter(map(len, parts), np.int32, len(parts)), out=starts[1:])
    return starts
