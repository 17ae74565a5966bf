"""Which inputs are opened at all: ordinary local files, and nothing that reaches elsewhere.

The libraries that read geodata also read addresses, archives, pipes, databases and files that
carry code or point to other files. A screening tool that is handed files by others must not follow
those by accident; with ``allow_remote`` the user takes that on himself.
"""

from __future__ import annotations

import re
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as Xml

from reachrank.errors import InputError

_HINT = "Copy it to a local file first, or pass --allow-remote if you trust it."
_ARCHIVES = (".zip", ".gz", ".tgz", ".tar", ".7z", ".rar", ".kmz", ".bz2", ".xz", ".zst")
_ALWAYS_ADDRESS = re.compile(r"^/vsi|^<|^\\\\\.\\")
_ADDRESS = re.compile(r"^[A-Za-z][A-Za-z0-9+.\-]+://|^[A-Za-z][A-Za-z0-9_]+:")

# A mosaic of plain rasters: these elements name files, windows and numbers, nothing that runs.
_PLAIN_VRT = frozenset(
    [
        "VRTDataset",
        "SRS",
        "GeoTransform",
        "Metadata",
        "MDI",
        "VRTRasterBand",
        "Description",
        "UnitType",
        "Offset",
        "Scale",
        "NoDataValue",
        "HideNoDataValue",
        "ColorInterp",
        "Histograms",
        "HistItem",
        "HistMin",
        "HistMax",
        "BucketCount",
        "IncludeOutOfRange",
        "Approximate",
        "HistCounts",
        "CategoryNames",
        "ColorTable",
        "Entry",
        "SimpleSource",
        "ComplexSource",
        "AveragedSource",
        "NoDataFromMaskSource",
        "SourceFilename",
        "SourceBand",
        "SourceProperties",
        "SrcRect",
        "DstRect",
        "NODATA",
        "ScaleOffset",
        "ScaleRatio",
        "LUT",
        "UseMaskBand",
        "Overview",
        "OverviewList",
        "MaskBand",
        "BlockXSize",
        "BlockYSize",
        "Resampling",
        "OpenOptions",
        "OOI",
    ]
)
_RISKY_SQL = re.compile(
    r"\b(load_extension|ogr_geocode\w*|gdal_\w+|readfile|writefile|edit|fts3_tokenizer|eval|"
    r"import\w*|blobfromfile|xb_\w+|http\w*|shell\w*)\s*\(",
    re.IGNORECASE,
)
_PLAIN_MODULES = ("rtree", "rtree_i32", "fts3", "fts4", "fts5", "geopoly", "spatialindex",
                  "elementary", "knn", "knn2", "virtualspatialindex", "virtualelementary",
                  "virtualknn", "virtualknn2")  # fmt: skip


def is_address(path: str) -> bool:
    r"""Tell whether a path is an address or a connection string and not a plain file name.

    Examples
    --------
    >>> is_address("https://example.org/dem.tif"), is_address("/vsizip/a.zip/dem.tif")
    (True, True)
    >>> is_address(r"C:\data\dem.tif"), is_address("dem.tif")
    (False, False)
    """
    if _ALWAYS_ADDRESS.match(path):
        return True
    return bool(_ADDRESS.match(path)) and not Path(path).exists()


def check_path(path: str, *, allow_remote: bool = False) -> None:
    """Raise `InputError` unless the path is an ordinary local file or folder."""
    if allow_remote and is_address(path):
        return
    if is_address(path):
        raise InputError(
            "This is an address, an archive or a service and not a local file; it is not opened.",
            hint=_HINT,
            where=path,
        )
    if not path or path == "-":
        raise InputError("A pipe cannot be read as an input.", where=path)
    try:
        mode = Path(path).stat().st_mode
    except FileNotFoundError as error:
        raise InputError("There is no such file.", where=path) from error
    except (OSError, ValueError) as error:
        raise InputError(f"The file cannot be reached: {error}.", where=path) from error
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise InputError("This is a pipe or a device, not a file.", where=path)
    if path.lower().endswith(_ARCHIVES) and stat.S_ISREG(mode) and not allow_remote:
        raise InputError(
            "This is an archive; it is not opened.", hint="Unpack it first.", where=path
        )


def head(path: str, count: int = 4096) -> bytes:
    """Return the first bytes of a file; ``b""`` for a folder."""
    if Path(path).is_dir():
        return b""
    try:
        with Path(path).open("rb") as file:
            return file.read(count)
    except OSError as error:
        raise InputError(f"The file cannot be read: {error.strerror}.", where=path) from error


def is_xml(path: str) -> bool:
    """Tell whether a file begins like XML, whatever its name ends in."""
    return head(path, 64).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")


def check_mosaic(path: str, *, allow_remote: bool = False, _above: tuple[str, ...] = ()) -> None:
    """Raise `InputError` unless an XML raster is a plain mosaic of ordinary local rasters.

    Derived pixel functions, warps, raw bands, services and addresses are refused, in the file and
    in every file that it names.
    """
    if allow_remote:
        return
    real = str(Path(path).resolve())
    if real in _above or len(_above) > 8:
        raise InputError("This virtual mosaic names itself.", where=path)
    text = Path(path).read_bytes()
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise InputError("This XML declares entities; it is not opened.", where=path)
    try:
        root = Xml.fromstring(text)  # noqa: S314  (no entities: checked above)
    except Xml.ParseError as error:
        raise InputError(f"This is not a raster: broken XML ({error}).", where=path) from error
    _check_elements(root, path)
    for name in _named_files(root, path):
        try:
            check_path(name)
            if is_xml(name):
                check_mosaic(name, _above=(*_above, real))
        except InputError as error:
            raise InputError(
                f"This virtual mosaic points to {name!r}: {error.message}",
                hint=error.hint,
                where=path,
            ) from error


def _check_elements(root: Xml.Element, path: str) -> None:
    if root.tag != "VRTDataset":
        raise InputError(
            f"This file describes a service or a process ({root.tag}), not a raster.",
            hint=_HINT,
            where=path,
        )
    for element in root.iter():
        kind = element.get("subClass", "VRTSourcedRasterBand")
        if element.tag not in _PLAIN_VRT or kind != "VRTSourcedRasterBand":
            what = element.tag if element.tag not in _PLAIN_VRT else kind
            raise InputError(
                f"This virtual raster does more than put rasters side by side ({what}).",
                hint=_HINT,
                where=path,
            )


def _named_files(root: Xml.Element, path: str) -> Iterator[str]:
    seen = set()
    for element in root.iter("SourceFilename"):
        name = (element.text or "").strip()
        relative = element.get("relativeToVRT", "0") == "1" or element.get("relativetoVRT") == "1"
        if relative and not is_address(name):
            name = str(Path(path).parent / name)
        if name not in seen:
            seen.add(name)
            yield name


def check_database(path: str, *, allow_remote: bool = False) -> None:
    """Raise `InputError` where an SQLite file has views or virtual tables that reach elsewhere."""
    if allow_remote or not head(path, 16).startswith(b"SQLite format 3"):
        return
    try:
        address = f"{Path(path).resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as db:
            rows = db.execute(
                "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"
            ).fetchall()
    except sqlite3.Error as error:
        raise InputError(f"The database cannot be read: {error}.", where=path) from error
    for name, sql in rows:
        module = re.search(r"CREATE\s+VIRTUAL\s+TABLE\s.*?\sUSING\s+(\w+)", sql, re.I | re.S)
        if module and module[1].lower() not in _PLAIN_MODULES:
            raise InputError(
                f"The table {name} reaches outside the file ({module[1]}).", hint=_HINT, where=path
            )
        call = (
            _RISKY_SQL.search(sql)
            if re.match(r"\s*CREATE\s+(TEMP\w*\s+)?VIEW", sql, re.I)
            else None
        )
        if call:
            raise InputError(
                f"The view {name} calls {call[1]}, which reaches outside the file.",
                hint=_HINT,
                where=path,
            )
