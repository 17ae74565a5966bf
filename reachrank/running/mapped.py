"""What lies in files without a name, mapped: long columns of numbers, and elevations.

A county has a million sections, and of their thirty columns a stage looks at a few. What nobody
looks at need not be memory of the process: the system has it in its own cache, or on the disk where
others need the room more.
"""

from __future__ import annotations

import mmap
import os
import sys
import tempfile
import threading
import weakref
from contextlib import suppress
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

LEAST_BYTES = 500_000
"""Shorter columns stay as they are."""
_IS_FREE = os.name == "posix" and sys.version_info >= (3, 13)
_WITHOUT_DESCRIPTOR: dict[str, Any] = {"trackfd": False} if _IS_FREE else {}
"""A county has more than a hundred maps at a time, and some systems let a process have 256 open
files: where Python can, a map is none of them."""
_MAPS: weakref.WeakSet[mmap.mmap] = weakref.WeakSet()
_LOCK = threading.Lock()
"""For the set: a thread may map more while another lets go."""


def mapped(values: NDArray[Any]) -> NDArray[Any]:
    """Return a copy of an array that lies in a file; it cannot be written to.

    A short one, one that holds no numbers, one that repeats a shorter one, and any where the system
    could not take the pages back or the disk is full, is returned as it is.
    """
    if values.dtype.kind not in "iufb" or values.nbytes < LEAST_BYTES or 0 in values.strides:
        return values
    if not hasattr(mmap, "MADV_DONTNEED"):
        return values
    with suppress(OSError), tempfile.TemporaryFile(prefix="reachrank-") as file:
        file.write(np.ascontiguousarray(values).data)
        file.flush()
        return np.frombuffer(map_of(file), values.dtype).reshape(values.shape)
    return values


def map_of(file: IO[bytes]) -> mmap.mmap:
    """Map a file as far as it has been written, to be read; the map outlives the file's name."""
    pages = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ, **_WITHOUT_DESCRIPTOR)
    with _LOCK:
        _MAPS.add(pages)
    return pages


def let_go() -> None:
    """Tell the system that nothing mapped is being looked at; what is comes back by itself."""
    if not hasattr(mmap, "MADV_DONTNEED"):
        return
    with _LOCK:
        maps = list(_MAPS)
    for pages in maps:
        with suppress(OSError, ValueError):
            pages.madvise(mmap.MADV_DONTNEED)
