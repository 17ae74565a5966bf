"""Fingerprints of input files, so that a ranked file says what it was made from."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path

from reachrank.errors import InputError

WHOLE_BYTES = 64_000_000
"""Files up to this size are hashed whole; larger ones by three pieces, size and time."""
_PIECE = 1_000_000


def fingerprint(paths: Sequence[str]) -> str:
    """Return one line that says what one or several files held.

    Files are hashed with SHA-256; of a file larger than `WHOLE_BYTES` the first, middle and last
    megabyte count, with its size and time of change, because reading it all would take as long
    as the run.
    """
    files = [file for path in paths for file in _files(path)]
    if not files:
        return "not a local file"
    whole = hashlib.sha256()
    size = 0
    partial = False
    for file in files:
        try:
            told = file.stat()
            size += told.st_size
            with file.open("rb") as stream:
                if told.st_size <= WHOLE_BYTES:
                    digest = hashlib.file_digest(stream, "sha256").digest()
                else:
                    partial = True
                    digest = _by_pieces(stream, told.st_size, told.st_mtime_ns)
        except OSError as error:
            raise InputError(
                f"The file cannot be read: {error.strerror}.", where=str(file)
            ) from error
        whole.update(digest if len(files) > 1 else b"")
    text = whole.hexdigest() if len(files) > 1 else digest.hex()
    name = files[0].name if len(files) == 1 else f"{len(files)} files"
    kind = "sha256 of pieces" if partial else "sha256"
    return f"{name}, {size} bytes, {kind} {text}"


def _by_pieces(stream: object, size: int, changed_ns: int) -> bytes:
    made = hashlib.sha256(f"{size} {changed_ns}".encode())
    for place in (0, (size - _PIECE) // 2, size - _PIECE):
        stream.seek(place)  # type: ignore[attr-defined]
        made.update(stream.read(_PIECE))  # type: ignore[attr-defined]
    return made.digest()


def _files(path: str) -> Iterator[Path]:
    """Yield the files behind a path: itself, a shapefile's parts, or what a folder holds."""
    at = Path(path)
    if at.is_dir():
        yield from sorted(p for p in at.iterdir() if p.is_file() and p.suffix != ".lock")
    elif at.suffix.lower() == ".shp":
        parts = (at.with_suffix(ending) for ending in (".shp", ".dbf", ".prj"))
        yield from (part for part in parts if part.exists())
    elif at.exists():
        yield at
