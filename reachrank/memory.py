"""Memory that is free goes back to the system."""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress


def give_back() -> None:
    """Hand free memory back to the system, where the C library keeps it otherwise (glibc).

    Many small tables that were made by several threads leave holes between what is kept. Nothing
    depends on it but the size of the process.
    """
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
