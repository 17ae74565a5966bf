"""Vector files: find the layer, read it in bulk, say clearly what is wrong with it."""

from __future__ import annotations

import difflib
import os
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import fiona
import geopandas as gpd
import pandas as pd
import pyogrio
from pyproj import CRS
from pyproj.exceptions import CRSError

from reachrank.errors import InputError
from reachrank.read.gdal import quiet, reading_vectors
from reachrank.read.source import Source
from reachrank.read.trust import check_database, check_path, head, is_address, is_xml

FORMATS = "GeoPackage, shapefile, GeoJSON, FlatGeobuf, file geodatabase, MapInfo, KML"
_DRIVERS = (
    "GPKG", "SQLite", "ESRI Shapefile", "GeoJSON", "GeoJSONSeq", "TopoJSON", "FlatGeobuf",
    "OpenFileGDB", "MapInfo File", "KML",
)  # fmt: skip
_HEAD_BYTES = 65_536
_POINTS_ELSEWHERE = re.compile(rb"<\s*(OGR|VRT|GDAL)|\"gdal_streamed_alg\"", re.IGNORECASE)
_LINKED_CRS = re.compile(
    rb'"crs"\s*:\s*\{[^{}]*(\{[^{}]*\}[^{}]*)?"type"\s*:\s*"(link|url)"', re.IGNORECASE
)


@dataclass(frozen=True)
class VectorLayer:
    """One layer of a vector file, opened and described but not read.

    ``box`` is west, south, east, north in the layer's own CRS; ``columns`` as in the file.
    """

    path: str
    name: str
    crs: CRS
    geometry: str
    count: int
    box: tuple[float, float, float, float] | None
    columns: tuple[str, ...]

    @property
    def where(self) -> str:
        """The layer as it is named in messages."""
        same = Path(self.path).stem == self.name
        return self.path if same else f"{self.path}|layername={self.name}"


def open_layer(source: Source, *, allow_remote: bool = False) -> VectorLayer:
    """Describe one layer of a vector file.

    Raises
    ------
    InputError
        For a file that is not there, not trusted, not a vector file, without a CRS, without that
        layer, or with several layers and none chosen.
    """
    path = _checked(source.path, allow_remote=allow_remote)
    with quiet(), reading_vectors(source.path, allow_remote=allow_remote):
        names = _layer_names(path, source.path)
        name = _choose(names, source)
        check_database(path, layers=[name], allow_remote=allow_remote)
        try:
            with fiona.open(path, layer=name, allow_unsupported_drivers=True) as layer:
                if layer.driver not in _DRIVERS and not allow_remote:
                    raise InputError(
                        f"Files of the kind {layer.driver} are not read.",
                        hint=f"Convert it: {FORMATS}.",
                        where=source.path,
                    )
        except fiona.errors.FionaError as error:
            raise InputError(f"It cannot be read: {error}.", where=str(source)) from error
        try:
            info = pyogrio.read_info(path, layer=name, force_total_bounds=True)
        except UnboundLocalError as error:  # its own, where the CRS's text is in no known letters
            raise InputError(
                "Its coordinate system cannot be read; is the file that names it damaged?",
                where=source.path,
            ) from error
    return VectorLayer(
        path,
        name,
        _crs(info, source),
        str(info["geometry_type"] or "None"),
        int(info["features"]),
        _box(info),
        tuple(str(column) for column in info["fields"]),
    )


def read_layer(
    layer: VectorLayer,
    columns: Sequence[str] = (),
    *,
    box: tuple[float, float, float, float] | None = None,
    skip: int = 0,
    count: int | None = None,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Read features in bulk; the index is the feature id of the file.

    Parameters
    ----------
    columns
        The columns wanted, besides the geometry.
    box
        Only features that touch it, in the layer's CRS.
    skip, count
        Leave out so many features, then read so many.
    """
    with reading_vectors(layer.where, allow_remote=allow_remote), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the file's texts and curves are turned into
        try:
            table = pyogrio.read_dataframe(
                layer.path,
                layer=layer.name,
                columns=list(columns),
                bbox=box,
                skip_features=skip,
                max_features=count,
                fid_as_index=True,
                on_invalid="ignore",
            )
        except (ValueError, UnicodeDecodeError) as error:
            raise InputError(f"It cannot be read: {error}.", where=layer.where) from error
    if not isinstance(table, gpd.GeoDataFrame):
        raise InputError("This is a table without geometry.", where=layer.where)
    return table.set_crs(layer.crs, allow_override=True)


def find_column(
    layer: VectorLayer, wanted: str, candidates: Sequence[str], setting: str
) -> str | None:
    """Return the column to use: the one a setting names, else the first candidate there is.

    Upper and lower case count as the same.

    Raises
    ------
    InputError
        Where the setting names a column that the layer does not have.
    """
    by_lower = {column.lower(): column for column in reversed(layer.columns)}
    if not wanted:
        return next((by_lower[c] for c in candidates if c in by_lower), None)
    if wanted in layer.columns:
        return wanted
    if wanted.lower() in by_lower:
        return by_lower[wanted.lower()]
    near = difflib.get_close_matches(wanted, layer.columns, n=1)
    raise InputError(
        f"The layer has no column {wanted!r} (setting {setting}).",
        hint=f"Did you mean {near[0]!r}?" if near else f"It has: {', '.join(layer.columns)}.",
        where=layer.where,
    )


NOTHING = frozenset({"", "nan", "inf", "-inf", "null", "<null>", "none", "n/a"})
"""What programs write into a text column for nothing or no number, in small letters."""


def words(column: pd.Series[Any]) -> list[str | None]:
    """Return a column as trimmed text; whole numbers lose a trailing ``.0``.

    None for nothing, also where a program before us has written it out.

    Examples
    --------
    >>> words(pd.Series(["Barn ", "<Null>", "nan", "2"]))
    ['Barn', None, None, '2']
    """
    texts: list[str | None] = []
    for value in column:
        if value is None or value is pd.NA or value != value:  # noqa: PLR0124  (not a number)
            texts.append(None)
            continue
        whole = isinstance(value, float) and value.is_integer()
        text = str(int(value)) if whole else str(value).strip()
        texts.append(None if text.lower() in NOTHING else text)
    return texts


def _checked(path: str, *, allow_remote: bool) -> str:
    check_path(path, allow_remote=allow_remote)
    if is_address(path):
        return path
    if not allow_remote:
        if Path(path).is_file():
            _check_content(path)
        check_database(path)
    return os.path.abspath(path)


def _check_content(path: str) -> None:
    if is_xml(path):
        text = head(path)
        if b"<kml" in text and b"<!DOCTYPE" not in text:
            return
        raise InputError(
            "This XML file is not read: it may describe a service or point to other files.",
            hint=f"Convert it: {FORMATS}.",
            where=path,
        )
    start = head(path, _HEAD_BYTES)
    if not start.startswith((b"SQLite", b"fgb\x03")) and _POINTS_ELSEWHERE.search(start):
        raise InputError(
            "This file describes other files or a process and not features.",
            hint=f"Convert it: {FORMATS}.",
            where=path,
        )
    _check_linked_crs(path, start)
    known = (
        start.startswith((b"SQLite format 3", b"\x00\x00\x27\x0a", b"fgb\x03", b"!table"))
        or start.lstrip(b"\xef\xbb\xbf \t\r\n\x1e").startswith(b"{")
        or start.lower().startswith((b"version", b"!table"))
        or Path(path).suffix.lower() in (".dbf", ".shx", ".dat", ".mid", ".gdbtable")
    )
    if not known:
        raise InputError(
            "This is not a vector file that is read.", hint=f"Formats: {FORMATS}.", where=path
        )


def _check_linked_crs(path: str, start: bytes) -> None:
    """Raise `InputError` for GeoJSON whose coordinate reference system is an address."""
    if not start.lstrip(b"\xef\xbb\xbf \t\r\n\x1e").startswith(b"{"):
        return
    with Path(path).open("rb") as file:
        file.seek(max(0, Path(path).stat().st_size - _HEAD_BYTES))
        end = file.read()
    if _LINKED_CRS.search(start) or _LINKED_CRS.search(end):
        raise InputError(
            "Its coordinate reference system is a link, which is not followed.",
            hint="Save it in degrees (EPSG:4326), or as a GeoPackage.",
            where=path,
        )


def _layer_names(path: str, shown: str) -> list[str]:
    try:
        return list(fiona.listlayers(path))
    except (fiona.errors.FionaError, OSError) as error:
        raise InputError(f"It cannot be read as a vector file: {error}.", where=shown) from error


def _choose(names: list[str], source: Source) -> str:
    shown = ", ".join(sorted(names)[:20]) + (", ..." if len(names) > 20 else "")
    if not names:
        raise InputError("The file has no layers.", where=source.path)
    if source.layer is not None:
        if source.layer in names:
            return source.layer
        near = difflib.get_close_matches(source.layer, names, n=1)
        raise InputError(
            f"The file has no layer {source.layer!r}; it has: {shown}.",
            hint=f"Did you mean {near[0]!r}?" if near else "",
            where=source.path,
        )
    spatial = [name for name in names if name != "layer_styles"]
    if len(spatial) == 1:
        return spatial[0]
    raise InputError(
        f"The file has {len(names)} layers and none was chosen: {shown}.",
        hint=f"Write {source.path}|layername=NAME or {source.path}:NAME.",
        where=source.path,
    )


def _crs(info: dict[str, Any], source: Source) -> CRS:
    if not info["crs"]:
        raise InputError(
            "The layer does not say which coordinate reference system it is in.",
            hint="Assign the right one in a GIS (for a shapefile, the .prj file is missing).",
            where=str(source),
        )
    try:
        return CRS.from_user_input(info["crs"])
    except CRSError as error:
        raise InputError(
            f"The layer's coordinate reference system is not understood: {error}.",
            where=str(source),
        ) from error


def _box(info: dict[str, Any]) -> tuple[float, float, float, float] | None:
    box = info.get("total_bounds")
    if box is None or not all(abs(float(v)) < float("inf") for v in box):
        return None
    west, south, east, north = (float(v) for v in box)
    return west, south, east, north
