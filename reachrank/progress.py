"""One progress hook: any ``callable(fraction, message)``."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]


def silent(fraction: float, message: str) -> None:
    """Report nothing."""


def part(progress: Progress, start: float, stop: float) -> Progress:
    """Return a hook that reports 0..1 as ``start``..``stop`` of a longer piece of work."""

    def report(fraction: float, message: str) -> None:
        progress(start + (stop - start) * min(max(fraction, 0.0), 1.0), message)

    return report
