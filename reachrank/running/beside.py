"""Work of one stage that goes on in a thread while the stages after it run."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reachrank.context import Tables


class Beside:
    """What a run has going on beside its stages, and how it gets into the tables."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1)
        self._begun: list[tuple[Future[Any], Callable[[Tables, Any], Tables]]] = []

    def begin(self, work: Callable[[], Any], put: Callable[[Tables, Any], Tables]) -> None:
        """Do some work from now on; at the end ``put`` puts what it returned into the tables.

        The stages in between must need nothing of that.
        """
        self._begun.append((self._pool.submit(work), put))

    def end(self, tables: Tables) -> Tables:
        """Wait for the work and return the tables with what it made; raise what it raised."""
        for future, put in self._begun:
            tables = put(tables, future.result())
        self._begun.clear()
        return tables

    def close(self) -> None:
        """Begin nothing more; a run that is interrupted does not wait for what has begun."""
        self._pool.shutdown(wait=False, cancel_futures=True)
