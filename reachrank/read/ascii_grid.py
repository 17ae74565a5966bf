"""Is a grid written in letters whole? One that is cut short keeps its reader busy for ever."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from reachrank.errors import InputError

DRIVERS = ("AAIGrid", "GRASSASCIIGrid")
_CHUNK = 8_000_000
_SPACE = np.zeros(256, np.bool_)
_SPACE[list(b" \t\r\n\v\f")] = True
_NUMBER = np.zeros(256, np.bool_)
# -1.#QNAN and 1.#INF are old ways to write no number
_NUMBER[list(b"0123456789+-.,eEdD*naNAifIF#Qq")] = True


def check_whole(path: str, cells: int) -> None:
    """Raise `InputError` unless the grid holds as many numbers as its head promises.

    One pass over the bytes, about half a gigabyte a second.
    """
    count = 0
    is_between = True
    with Path(path).open("rb") as file:
        file.seek(_end_of_head(path))
        while chunk := file.read(_CHUNK):
            letters = np.frombuffer(chunk, np.uint8)
            space = _SPACE[letters]
            if not (space | _NUMBER[letters]).all():
                odd = letters[~(space | _NUMBER[letters])][0]
                raise InputError(
                    f"Among the numbers of this grid stands the letter {chr(odd)!r}.",
                    hint="Was it damaged on the way? Get it again.",
                    where=path,
                )
            before = np.concatenate([[is_between], space[:-1]])
            count += int((before & ~space).sum())
            is_between = bool(space[-1])
    if count < cells:
        raise InputError(
            f"This grid is cut short: it has {count:,} numbers, its head promises {cells:,}.",
            hint="Get it again.",
            where=path,
        )


def _end_of_head(path: str) -> int:
    """Return where the numbers begin: after the lines that begin with a word."""
    at = 0
    with Path(path).open("rb") as file:
        for _ in range(30):
            line = file.readline(4096)
            if not line.lstrip()[:1].isalpha() or line.lstrip()[:3].lower() in (b"nan", b"inf"):
                break
            at = file.tell()
    return at
