"""Fingerprints of input files, so that a ranked file says what it was made from."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

from reachrank.errors import InputError

WHOLE_BYTES = 64_000_000
"""Files of up to this size together are hashed whole; of more of them, larger ones by pieces."""
_PIECE = 1_000_000


def fingerprint(paths: Sequence[str]) -> str:
    """Return one line that says what one or several files held.

    Files are hashed with SHA-256. Where they are larger than `WHOLE_BYTES` together, the beginning,
    middle and end of each count, with its size and time of change, because reading it all would
    take as long as the run: a megabyte each of one file, less of each where there are many.
    """
    files = [file for path in paths for file in _files(path)]
    if not files:
        return "not a local file"
    whole = hashlib.sha256()
    stats = [_stat(file) for file in files]
    size = sum(told.st_size for told in stats)
    most, piece = _largest_whole(size, len(files))
    for file, told in zip(files, stats, strict=True):
        try:
            with file.open("rb") as stream:
                if told.st_size <= most:
                    digest = hashlib.file_digest(stream, "sha256").digest()
                else:
                    digest = _by_pieces(stream, told.st_size, told.st_mtime_ns, piece)
        except OSError as error:
            raise _unreadable(file, error) from error
        whole.update(digest if len(files) > 1 else b"")
    text = whole.hexdigest() if len(files) > 1 else digest.hex()
    name = files[0].name if len(files) == 1 else f"{len(files)} files"
    is_whole = all(told.st_size <= most for told in stats)
    kind = "sha256" if is_whole else "sha256 of pieces"
    return f"{name}, {size} bytes, {kind} {text}"


def _stat(file: Path) -> os.stat_result:
    try:
        return file.stat()
    except OSError as error:
        raise _unreadable(file, error) from error


def _unreadable(file: Path, error: OSError) -> InputError:
    return InputError(f"The file cannot be read: {error.strerror}.", where=str(file))


def _largest_whole(size: int, count: int) -> tuple[int, int]:
    """Return the size up to which a file is hashed whole, and that of the pieces of larger ones."""
    if size <= WHOLE_BYTES:
        return WHOLE_BYTES, _PIECE
    piece = min(_PIECE, WHOLE_BYTES // (3 * count))
    return 3 * piece, piece


def _by_pieces(stream: BinaryIO, size: int, changed_ns: int, piece: int) -> bytes:
    made = hashlib.sha256(f"{size} {changed_ns}".encode())
    for place in (0, (size - piece) // 2, size - piece):
        stream.seek(place)
        made.update(stream.read(piece))
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
