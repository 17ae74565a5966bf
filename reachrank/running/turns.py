"""Work for several threads, and how often they take turns."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

TURN_S = 0.0001
"""How long a thread keeps the interpreter while others wait for it."""

_lock = threading.Lock()
_inside = 0
_usual_s = 0.005


@contextmanager
def short_turns() -> Iterator[None]:
    """Let threads take turns often: a kernel lasts a millisecond, the usual turn five of them.

    With the usual turn, a thread that comes back from its kernel waits for the interpreter longer
    than it has computed, and two threads are no faster than one. The usual turn comes back when
    the last of those who asked has ended.
    """
    global _inside, _usual_s  # noqa: PLW0603  (the interpreter has one such setting)
    with _lock:
        if not _inside:
            _usual_s = sys.getswitchinterval()
            sys.setswitchinterval(TURN_S)
        _inside += 1
    try:
        yield
    finally:
        with _lock:
            _inside -= 1
            if not _inside:
                sys.setswitchinterval(_usual_s)


def in_threads(
    work: Callable[[Item], Result], items: Sequence[Item], jobs: int
) -> Iterator[Result]:
    """Yield what is made of each item, in their order; one that is interrupted leaves the rest."""
    if jobs <= 1 or len(items) == 1:
        yield from map(work, items)
        return
    with short_turns(), ThreadPoolExecutor(jobs) as pool:
        try:
            yield from pool.map(work, items)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
