"""Put a file where it was asked for: written aside, then moved into place in one step.

A reader of the target sees the old file or the new one, never half of one. Nothing is
overwritten unless told, and a run that fails leaves what was there untouched.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import socket
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from glob import escape
from pathlib import Path

from reachrank.errors import OutputError, ReachrankError, UsageError

_SIDECARS = ("-wal", "-shm", "-journal")
_DAY_S = 86_400.0
_OF_THE_DISK = frozenset(
    (errno.ENOSPC, errno.EIO, errno.EROFS, errno.EACCES, errno.EPERM, errno.EFBIG, errno.ENODEV,
     errno.ESTALE, errno.EDQUOT)
)  # fmt: skip
_NOT_WRITTEN = (
    "DataLayerError", "DataSourceError", "FeatureError", "FileCreateError", "FileSizeError",
)  # fmt: skip
"""What pyogrio and XlsxWriter raise when the file system refuses; named, to load neither here."""

_IN_HAND: set[Path] = set()
_LANDED: list[Path] = []
"""Files that this process is writing, and those that it has put into place."""


@dataclass
class Aside:
    """A file being written next to its target; ``landed`` is where it ended up."""

    path: Path
    landed: Path


def check_target(
    target: Path,
    *,
    overwrite: bool,
    inputs: Iterable[str | Path] = (),
    kind: str = "a GeoPackage",
    ending: str = ".gpkg",
) -> None:
    """Raise before the work starts if the result could not be put there after it."""
    if target.suffix.lower() != ending:
        raise UsageError(
            f"The result is {kind}, but its name is {target.name!r}.",
            hint=f"Let it end in {ending}.",
        )
    if not target.parent.is_dir():
        raise OutputError(
            f"There is no folder {str(target.parent)!r}.", hint="Make it first.", where=str(target)
        )
    if target.is_dir():
        raise OutputError("The target is a folder.", where=str(target))
    for given in inputs:
        with suppress(OSError):
            if target.exists() and os.path.samefile(target, given):
                raise UsageError(
                    f"{target} is an input of this run.", hint="Give the result another name."
                )
    if target.exists() and not overwrite:
        raise OutputError(
            "The file exists.", hint="Give another name, or --overwrite to replace it.",
            where=str(target),
        )  # fmt: skip
    if not os.access(target.parent, os.W_OK):
        raise OutputError(
            f"The folder {str(target.parent)!r} cannot be written to.", where=str(target)
        )


@contextmanager
def aside(
    target: Path, *, overwrite: bool = False, kind: str = "a GeoPackage", ending: str = ".gpkg"
) -> Iterator[Aside]:
    """Give a path to write to; when the block ends well, move that file to ``target``.

    Raises
    ------
    OutputError
        If the target exists and may not be replaced, or is held open by another program. The
        finished file then stays beside it as ``NAME.new.gpkg``, and the message says so. If the
        block itself fails, the unfinished file is deleted and the error goes on; where the disk
        was at fault (full, gone, not writable) it goes on as an `OutputError`.
    """
    check_target(target, overwrite=overwrite, kind=kind, ending=ending)
    _clear_leavings(target)
    here = Aside(_name_aside(target), target)
    _IN_HAND.add(here.path)
    try:
        yield here
        _flush(here.path)
        _move(here, overwrite=overwrite)
        _LANDED.append(here.landed)
    except ReachrankError:
        raise
    except Exception as error:
        why = _of_the_disk(error)
        if not why:
            raise
        raise OutputError(
            f"The result could not be written: {why}.",
            hint="Is the disk full, or the network drive away?",
            where=str(target),
        ) from error
    finally:
        _delete(here.path)
        _IN_HAND.discard(here.path)


def begin() -> None:
    """Forget what this process has written before, for a new command."""
    _LANDED.clear()


def give_up() -> str:
    """Delete the files that are being written, and return what a stopped program should say."""
    for path in tuple(_IN_HAND):
        _delete(path)
    if _LANDED:
        return f"Stopped. {_LANDED[-1]} had been written."
    return "Stopped. Nothing was written."


def _delete(path: Path) -> None:
    for sidecar in ("", *_SIDECARS):
        with suppress(OSError):
            Path(f"{path}{sidecar}").unlink()


def _move(here: Aside, *, overwrite: bool) -> None:
    target = here.landed
    if target.exists() and not overwrite:
        _keep_beside(here, "has appeared while this run went on")
    if target.exists() and _is_held(target):
        _keep_beside(here, "is open in another program")
    try:
        os.replace(here.path, target)
    except PermissionError:
        _keep_beside(here, "is open in another program")
    except OSError as error:
        raise OutputError(
            f"Could not move the result into place: {error}.", where=str(target)
        ) from error


def _keep_beside(here: Aside, why: str) -> None:
    target = here.landed
    for number in range(1, 100):
        new = target.with_name(f"{target.stem}.new{'' if number == 1 else number}{target.suffix}")
        if new.exists() and _is_held(new):
            continue
        with suppress(PermissionError):
            os.replace(here.path, new)
            here.landed = new
            raise OutputError(f"{target.name} {why}; the finished result is in {new}.")
    raise OutputError(f"{target.name} {why}, and there was no place beside it.", where=str(target))


def _of_the_disk(error: BaseException | None) -> str:
    """Return what the disk said, ``""`` where an error was not the disk's."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in _OF_THE_DISK:
            return error.strerror or str(error)
        if isinstance(error, sqlite3.OperationalError) or type(error).__name__ in _NOT_WRITTEN:
            return re.sub(r"\s+", " ", str(error))[:200].rstrip(".")
        error = error.__cause__ or error.__context__
    return ""


def _is_held(path: Path) -> bool:
    """Tell whether another program has the database open, as far as side files and locks show it.

    A database that is open in write-ahead mode has a ``-wal`` file beside it. Were the database
    replaced under it, that log would be applied to the wrong file. Leaving that mode only works
    when nobody else has the file open, and then removes the log. A lock says that somebody is
    about to write a journal, which would be applied to the wrong file as well.
    """
    has_sidecar = any(Path(f"{path}{ending}").exists() for ending in _SIDECARS)
    try:
        with closing(sqlite3.connect(path, timeout=0.2, isolation_level=None)) as db:
            if has_sidecar:
                db.execute("PRAGMA journal_mode=DELETE").fetchone()
            db.execute("BEGIN EXCLUSIVE")
            db.execute("ROLLBACK")
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
            return True
        # not a database at all, or not writable: the side files decide
    return any(Path(f"{path}{ending}").exists() for ending in _SIDECARS)


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _name_aside(target: Path) -> Path:
    token = f"{_host()}-{os.getpid()}-{secrets.token_hex(3)}"
    return target.with_name(f".{target.stem}.{token}.part{target.suffix}")


def _host() -> str:
    return "".join(c for c in socket.gethostname() if c.isalnum())[:20] or "host"


def _clear_leavings(target: Path) -> None:
    """Delete unfinished files of runs that died: of a dead process here, or older than a day."""
    for path in target.parent.glob(f".{escape(target.stem)}.*.part{target.suffix}*"):
        host, _, rest = path.name.removeprefix(f".{target.stem}.").partition("-")
        process = rest.partition("-")[0]
        with suppress(OSError):
            old = time.time() - path.stat().st_mtime > _DAY_S
            if old or (host == _host() and process.isdigit() and _is_dead(int(process))):
                path.unlink()


def _is_dead(process: int) -> bool:
    if os.name != "posix":  # there, signal 0 would end the process instead of asking after it
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False
