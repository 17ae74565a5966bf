"""Memory that is free goes back to the system."""

from __future__ import annotations

import ctypes
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from reachrank.running.mapped import let_go

COLLECT_EVERY = 50_000
"""New objects from one search for unused cycles to the next."""
MOST_SECTIONS_WORKER = 600_000
"""With more (2,400 km) a run does without another process once the sections are cut: with it it
would need more than 1.5 GB."""
MOST_SECTIONS_BESIDE = 1_000_000
"""With more (4,000 km) nothing goes on beside the stages: exposures are measured before hazards,
and ranks drawn before repairs are found."""


@contextmanager
def fewer_collections() -> Iterator[None]:
    """Search for unused cycles of objects rarely, and not among what has been loaded before.

    A run makes tens of thousands of small tables and hardly any cycles: at the usual rate a
    twentieth of its time goes into looking for them.
    """
    usual = gc.get_threshold()
    gc.freeze()
    gc.set_threshold(COLLECT_EVERY, usual[1], usual[2])
    try:
        yield
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()


def give_back() -> None:
    """Hand free memory back to the system, where the C library keeps it otherwise (glibc).

    Many small tables that were made by several threads leave holes between what is kept. Nothing
    depends on it but the size of the process.
    """
    let_go()
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
