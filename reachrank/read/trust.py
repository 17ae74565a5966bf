"""Which inputs are opened at all: ordinary local files, and nothing that reaches elsewhere.

The libraries that read geodata also read addresses, archives, pipes, databases and files that
carry code or point to other files. A screening tool that is handed files by others must not follow
those by accident; with ``allow_remote`` the user takes that on himself.
"""

from __future__ import annotations

import re
import sqlite3
import stat
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from reachrank.errors import InputError
from reachrank.interrupt import held_back

HINT = "Copy it to a local file first, or pass --allow-remote if you trust it."
_ARCHIVES = (".zip", ".gz", ".tgz", ".tar", ".7z", ".rar", ".kmz", ".bz2", ".xz", ".zst")
_ALWAYS_ADDRESS = re.compile(r"^/vsi|^<|^\\\\\.\\")
_ADDRESS = re.compile(r"^[A-Za-z][A-Za-z0-9+.\-]+://|^[A-Za-z][A-Za-z0-9_]+:")

_QUOTED = re.compile(
    r"""--[^\n]*|/\*.*?(?:\*/|$)|'(?:[^']|'')*'|"(?:[^"]|"")*"|\[[^\]]*\]|`(?:[^`]|``)*`""", re.S
)
_STANDARD_FUNCTIONS = (
    "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY", "ST_IsEmpty", "ST_GeometryType", "ST_SRID",
    "ST_Area", "ST_Length", "ST_IsValid", "ST_MakeValid", "ST_Transform", "SetSRID",
)  # fmt: skip
_SQLITE_RECURSIVE = 33
"""The action code of SQLite's authorizer; the sqlite3 module gives it a name from 3.12 on."""
_STEPS, _STEPS_AT_ONCE = 200_000_000, 100_000
"""A million rows joined with a million by their key take 4 million steps; so many take a second."""
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
            hint=HINT,
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


def check_database(path: str, *, layers: Sequence[str] = (), allow_remote: bool = False) -> None:
    """Raise `InputError` where an SQLite file has views or virtual tables that reach elsewhere.

    Parameters
    ----------
    layers
        What will be read. Where one of them is a view, it must also be plain: no function but
        SQLite's own and the GeoPackage standard's, no recursion, and no more work than `_STEPS`.
    """
    if allow_remote or not head(path, 16).startswith(b"SQLite format 3"):
        return
    try:
        address = f"{Path(path).resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as db:
            rows = db.execute(
                "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"
            ).fetchall()
            for kind, name, sql in rows:
                _check_object(kind, name, _bare(str(sql)), path)
            for layer in layers:
                if any(kind == "view" and name.lower() == layer.lower() for kind, name, _ in rows):
                    _check_view(db, layer, path)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise InputError(f"The database cannot be read: {error}.", where=path) from error


def _bare(sql: str) -> str:
    """Return SQL without comments, its texts emptied and its names unquoted."""

    def shorten(found: re.Match[str]) -> str:
        token = found[0]
        if token.startswith(("--", "/*")):
            return " "
        return "''" if token.startswith("'") else token[1:-1]

    return _QUOTED.sub(shorten, sql)


def _check_object(kind: str, name: str, sql: str, path: str) -> None:
    module = re.search(r"^\s*CREATE\s+VIRTUAL\s+TABLE\b.*?\bUSING\s+(\w+)", sql, re.I | re.S)
    if module and module[1].lower() not in _PLAIN_MODULES:
        raise InputError(
            f"The table {name} reaches outside the file ({module[1]}).", hint=HINT, where=path
        )
    # What is computed when a view, or a column that is generated, is read; never a trigger.
    computed = re.search(r"\bAS\b", sql, re.I) if kind in ("view", "table") else None
    call = _RISKY_SQL.search(sql, computed.end()) if computed else None
    if call:
        raise InputError(
            f"The {kind} {name} calls {call[1]}, which reaches outside the file.",
            hint=HINT,
            where=path,
        )


def _check_view(db: sqlite3.Connection, name: str, path: str) -> None:
    """Let SQLite itself say what a view would do, with nothing at hand but its own functions."""
    for function in _STANDARD_FUNCTIONS:
        db.create_function(function, -1, lambda *_: 0)
    recursive = []

    def allow(action: int, *_: object) -> int:
        if action == _SQLITE_RECURSIVE:
            recursive.append(name)
        return sqlite3.SQLITE_OK

    db.set_authorizer(allow)
    steps = iter(range(_STEPS // _STEPS_AT_ONCE))
    db.set_progress_handler(lambda: int(next(steps, None) is None), _STEPS_AT_ONCE)
    quoted = name.replace('"', '""')
    try:
        with held_back():
            db.execute(f'EXPLAIN SELECT * FROM "{quoted}"').fetchone()  # noqa: S608
            why = "recursion" if recursive else ""
            if not why:
                db.execute(f'SELECT count(*) FROM "{quoted}"').fetchone()  # noqa: S608
    except sqlite3.Error as error:
        why = str(error)
    if why:
        raise InputError(
            f"The layer {name} is a view that is not run ({why}).",
            hint="Export it to a layer of its own, or pass --allow-remote if you trust it.",
            where=path,
        )
