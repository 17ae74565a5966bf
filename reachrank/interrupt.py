"""Ctrl-C ends the program soon, also while a library is busy with a long piece of work."""

from __future__ import annotations

import _thread
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from types import FrameType

GRACE_S = 0.8
"""So long the program may take to come to an end by itself."""
AGAIN_S = 0.02
"""After so long a Ctrl-C is told again that a library must not be broken off by."""
MAKES_CODE = ("numba.", "llvmlite.")
"""Libraries that must not be broken off in making or loading compiled code: what they leave half
made is called later all the same, and brings the process down."""
STOPPED = 130


@contextmanager
def ending_soon(last_words: Callable[[], str]) -> Iterator[None]:
    """End the process a moment after Ctrl-C if the block has not ended by then.

    Python tells its code of a Ctrl-C between two of its own steps; inside of a compiled kernel, or
    while threads come to an end, that may take long. A thread listens for the signal itself, and
    tells again of one that came while a library made code.

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
    usual = signal.getsignal(signal.SIGINT)
    is_over = threading.Event()
    held: list[int] = []

    def mind(number: int, frame: FrameType | None) -> None:
        if _makes_code(frame):
            held.append(number)
        elif callable(usual):
            usual(number, frame)

    def listen() -> None:
        with suppress(OSError), closing(here):
            while told := here.recv(1):
                until = time.monotonic() + GRACE_S
                while told[0] == signal.SIGINT and not is_over.wait(AGAIN_S):
                    if time.monotonic() > until:
                        leave(last_words())
                    if held:
                        held.clear()
                        _tell_again()

    if callable(usual):
        signal.signal(signal.SIGINT, mind)
    threading.Thread(target=listen, daemon=True, name="reachrank-interrupt").start()
    try:
        yield
    finally:
        is_over.set()
        if callable(usual):
            signal.signal(signal.SIGINT, usual)
        signal.set_wakeup_fd(before)
        there.close()  # ends the thread


def _tell_again() -> None:
    if hasattr(signal, "pthread_kill"):  # ends what the main thread waits for, too
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)
    else:
        _thread.interrupt_main()


def _makes_code(frame: FrameType | None) -> bool:
    while frame is not None:
        if str(frame.f_globals.get("__name__")).startswith(MAKES_CODE):
            return True
        frame = frame.f_back
    return False


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
