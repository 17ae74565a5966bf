"""Ctrl-C ends the program soon, also while a library is busy with a long piece of work."""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from types import FrameType

GRACE_S = 0.8
"""So long the program may take to come to an end by itself."""
STOPPED = 130


@contextmanager
def ending_soon(last_words: Callable[[], str]) -> Iterator[None]:
    """End the process a moment after Ctrl-C if the block has not ended by then.

    Python tells its code of a Ctrl-C between two of its own steps; inside of a compiled kernel, or
    while threads come to an end, that may take long. A thread listens for the signal itself.

    Parameters
    ----------
    last_words
        Called before the end: tidies up, and returns what to say.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # a program around this one minds its own signals
        return
    here, there = socket.socketpair()
    there.setblocking(False)
    before = signal.set_wakeup_fd(there.fileno(), warn_on_full_buffer=False)
    is_over = threading.Event()

    def listen() -> None:
        with suppress(OSError), closing(here):
            while told := here.recv(1):
                if told[0] == signal.SIGINT and not is_over.wait(GRACE_S):
                    leave(last_words())

    threading.Thread(target=listen, daemon=True, name="reachrank-interrupt").start()
    try:
        yield
    finally:
        is_over.set()
        signal.set_wakeup_fd(before)
        there.close()  # ends the thread


@contextmanager
def held_back() -> Iterator[None]:
    """Let a Ctrl-C take effect when the block is over.

    Around a library that calls Python back: an interruption in there gets lost on its way out, and
    the library may take it for the end of what it was given.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield
        return
    came: list[tuple[int, FrameType | None]] = []
    signal.signal(signal.SIGINT, lambda number, frame: came.append((number, frame)))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if came:
            before(*came[0])


def leave(words: str) -> None:
    """Say the last words and end the process, whatever its threads are at."""
    with suppress(OSError, ValueError):
        sys.stdout.flush()
    with suppress(OSError):
        os.write(2, f"{words}\n".encode())
    os._exit(STOPPED)
