"""Keep a compiled library's own printing off stdout, where only results belong.

HiGHS writes to the file descriptor, past Python's ``sys.stdout``; so the descriptor is turned.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def stdout_silenced() -> Iterator[None]:
    """Send what is written to file descriptor 1 nowhere while the block runs.

    The descriptor belongs to the whole process: use it around a call that does not share the
    process with threads that print.
    """
    with suppress(AttributeError, ValueError, OSError):
        sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # no stdout at all, as in a window without a console
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
