"""Keep what the long stages of a run have made, so that a stopped run can go on from there.

A folder beside the result holds one file for the network and one for each batch of streams, plain
arrays without anything that could run as code (no pickles), and ``run.json``: inputs by their
fingerprints, settings and versions. Work is only taken up where all of them are the same, so a run
that goes on gives what an unbroken one would have given, to the last digit.
"""

from __future__ import annotations

import io
import json
import math
import os
import re
import shutil
import threading
import zipfile
import zlib
from contextlib import suppress
from copy import copy
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.errors import BugError, UsageError
from reachrank.findings import Findings
from reachrank.running.kept_rows import KeptRows
from reachrank.running.mapped import mapped
from reachrank.settings.load import settings_json
from reachrank.write.run_info import versions

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

    from numpy.typing import NDArray
    from pyproj import CRS

    from reachrank.context import Context, Table

KEEP_FROM_KM = 100.0
"""Runs on fewer kilometres of stream are over before keeping their work would help."""
_MARK = "run.json"
_UNDER_WAY: list[Path] = []
"""Folders of the runs of this process that are not over."""
_NUMBERS = re.compile(r"[<>|][biuf][1248]")
"""Types of arrays that are kept, as numpy names them."""
_ALIGN = 16
"""Every array begins at a multiple of so many bytes."""
_DAMAGED = (
    OSError, ValueError, KeyError, TypeError, IndexError, AttributeError, OverflowError,
    RuntimeError, zipfile.BadZipFile, zlib.error, shapely.errors.ShapelyError,
)  # fmt: skip
"""What reading a file raises that another program has changed."""


def folder_of(out: Path) -> Path:
    """Return the folder that keeps the work of the run that writes ``out``."""
    return out.with_name(f"{out.name}.unfinished")


def begin() -> None:
    """Forget the runs that this process has not ended, for a new command."""
    _UNDER_WAY.clear()


def last_words() -> str:
    """Return what a stopped program should say of the work that it leaves, ``""`` for none."""
    for folder in _UNDER_WAY:
        pieces = len(list(folder.glob("*.zip")))
        if pieces:
            return f"{pieces} pieces of the work are kept; --resume goes on from there."
    return ""


def identity(ctx: Context) -> dict[str, str]:
    """Return all that decides the numbers of a run, by name."""
    files = {key: value for key, value in ctx.facts.items() if key.startswith("input.")}
    return {
        **files,
        "units": ctx.facts.get("units", ""),
        "options": json.dumps(
            {
                "curve": ctx.inputs.curve,
                "dem_units": ctx.inputs.dem_units,
                "structures": len(ctx.inputs.structures),
            }
        ),
        "settings": settings_json(ctx.settings),
        "versions": json.dumps(versions()),
    }


def open_kept(
    out: Path, streams: gpd.GeoDataFrame, ctx: Context, *, resume: bool
) -> KeptWork | None:
    """Return where a run keeps its work: what a stopped run has left, or a new folder.

    None where the run is too short for it to help; leavings of an earlier run go either way.
    """
    if resume:
        return KeptWork.go_on(out, ctx)
    is_long = float(streams.length.sum()) > 1000.0 * KEEP_FROM_KM
    kept = KeptWork(folder_of(out), ctx)
    kept.forget()
    return KeptWork.begin(out, ctx) if is_long else None


def made_or_kept(
    piece: str,
    ctx: Context,
    make: Callable[[Context], dict[str, Table]],
    without: Collection[str] = (),
    *,
    in_files: bool = False,
) -> tuple[dict[str, Table], Findings]:
    """Return the tables and findings of a piece of a run: what was kept, or made now and kept.

    Parameters
    ----------
    piece
        Its name, the same in every run.
    make
        Makes the tables, given a context whose findings are the piece's own.
    without
        Layers that come without rows where they were kept.
    in_files
        Have long columns lie in files: they cannot be written to then. What is made now is taken up
        from the disk for it.
    """
    if ctx.kept and (taken := ctx.kept.take(piece, without, in_files=in_files)):
        return taken
    made, findings = make_and_keep(piece, ctx, make)
    if in_files and ctx.kept and (taken := ctx.kept.take(piece, without, in_files=True)):
        return taken
    return made, findings


def make_and_keep(
    piece: str, ctx: Context, make: Callable[[Context], dict[str, Table]]
) -> tuple[dict[str, Table], Findings]:
    """Make a piece of a run and keep it, if this run keeps its work; see `made_or_kept`."""
    own = copy(ctx)
    own.findings = Findings()
    made = make(own)
    if ctx.kept:
        ctx.kept.keep(piece, made, own.findings)
    return made, own.findings


class KeptWork:
    """The kept work of one run.

    Safe for several threads that keep and take up different pieces. Keeping never stops a run: on
    a full disk it ends, and only going on later is lost.
    """

    def __init__(self, folder: Path, ctx: Context) -> None:
        self.folder = folder
        self._crs = ctx.crs
        self._dem = ctx.dem
        self._rows: dict[str, KeptRows] = {}
        self._bare: dict[str, Table] = {}
        self._lock = threading.Lock()
        self._is_full = False

    @classmethod
    def begin(cls, out: Path, ctx: Context) -> KeptWork:
        """Begin anew in a folder that is not there yet; where it is, nothing is kept."""
        kept = cls(folder_of(out), ctx)
        try:
            kept.folder.mkdir()
            text = json.dumps(identity(ctx), ensure_ascii=False, indent=1)
            _write_whole(kept.folder / _MARK, text.encode())
        except OSError:
            kept._is_full = True
        _UNDER_WAY.append(kept.folder)
        return kept

    @classmethod
    def go_on(cls, out: Path, ctx: Context) -> KeptWork:
        """Take up what a stopped run has left.

        Raises
        ------
        UsageError
            If there is nothing to go on from, or inputs, settings or versions are not the same.
        """
        kept = cls(folder_of(out), ctx)
        try:
            before = json.loads((kept.folder / _MARK).read_text("utf-8"))
        except (OSError, ValueError):
            raise UsageError(
                f"There is no stopped run of {out} to go on from.", hint="Run without --resume."
            ) from None
        now = identity(ctx)
        changed = [key for key in now | before if now.get(key) != before.get(key)]
        if changed:
            what = ", ".join(key.removeprefix("input.") for key in changed)
            raise UsageError(
                f"The run that was stopped had other {what}; going on would mix the two.",
                hint="Run without --resume, which starts anew.",
            )
        _UNDER_WAY.append(kept.folder)
        return kept

    def take(
        self, piece: str, without: Collection[str] = (), *, in_files: bool = False
    ) -> tuple[dict[str, Table], Findings] | None:
        """Return the tables and findings of a piece, or None where it has not been kept.

        Of the layers ``without`` it returns the columns alone; that they are as they were written
        is seen when their rows are asked for. ``in_files``: see `made_or_kept`.
        """
        try:
            with zipfile.ZipFile(self.folder / f"{piece}.zip") as file:
                about = json.loads(file.read("about.json"))
                tables = {}
                for layer, told in about["tables"].items():
                    if layer in without and layer in self._bare:
                        tables[layer] = self._bare[layer]
                        continue
                    tables[layer] = self._layer(file, told, layer, in_files=in_files)
                    if layer in without:
                        tables[layer] = self._bare[layer] = tables[layer].iloc[:0].copy()
                findings = self._layer(file, about["findings"], "findings")
            absurd = {int(number) for number in about["absurd"]}
        except _DAMAGED:
            return None  # not there, or not as it was written: this piece is made again
        self._dem.absurd.update(absurd)
        return tables, Findings.from_frame(findings)

    def has(self, piece: str) -> bool:
        """Return whether a piece lies on the disk."""
        return (self.folder / f"{piece}.zip").is_file()

    def layer(self, piece: str, layer: str) -> Table | None:
        """Return one table of a piece, or None where it is not there as it was written."""
        try:
            with zipfile.ZipFile(self.folder / f"{piece}.zip") as file:
                about = json.loads(file.read("about.json"))
                return self._layer(file, about["tables"][layer], layer)
        except _DAMAGED:
            return None

    def rows_of(self, layer: str) -> KeptRows:
        """Return which rows of a layer were left in the pieces."""
        with self._lock:
            return self._rows.setdefault(layer, KeptRows(self, layer))

    def _layer(
        self, file: zipfile.ZipFile, told: Mapping[str, Any], layer: str, *, in_files: bool = False
    ) -> Table:
        # arrays over it can be written to, as any that the stages make
        whole = np.frombuffer(bytearray(file.read(f"{layer}.arrays")), np.uint8)
        arrays = _arrays_in(mapped(whole) if in_files else whole, told["arrays"])
        return _table(told, arrays, self._crs)

    def keep(self, piece: str, tables: Mapping[str, Table], findings: Findings) -> None:
        """Keep a piece; a file is there whole or not at all."""
        if self._is_full:
            return
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as file:
            about = {
                "tables": {name: _put_layer(file, name, table) for name, table in tables.items()},
                "findings": _put_layer(file, "findings", findings.to_frame(self._crs)),
                "absurd": sorted(self._dem.absurd),  # told at the end, see `reachrank.read.dem`
            }
            file.writestr("about.json", json.dumps(about))
        try:
            _write_whole(self.folder / f"{piece}.zip", made.getbuffer())
        except OSError:
            self._is_full = True

    def forget(self) -> None:
        """Delete what was kept: the run is over, or begins anew."""
        if self.folder in _UNDER_WAY:
            _UNDER_WAY.remove(self.folder)
        if (self.folder / _MARK).is_file() or self._is_ours():
            shutil.rmtree(self.folder, ignore_errors=True)

    def _is_ours(self) -> bool:
        # a folder that somebody else gave this name is left alone
        with suppress(OSError):
            return self.folder.is_dir() and not any(self.folder.iterdir())
        return False


def _write_whole(path: Path, data: bytes | memoryview) -> None:
    beside = path.with_suffix(".part")
    with beside.open("wb") as file:
        file.write(data)
    os.replace(beside, path)


def _put_layer(file: zipfile.ZipFile, name: str, table: Table) -> dict[str, Any]:
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


def _arrays_in(whole: NDArray[np.uint8], places: Mapping[str, Any]) -> dict[str, NDArray[Any]]:
    """Return the arrays that `_put_layer` has written."""
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
