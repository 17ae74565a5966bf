"""Work of one stage that goes on while the stages after it run.

In another process where the run has one (see `workers`), which does not wait for this one's Python;
else in a thread.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from copy import copy
from typing import TYPE_CHECKING, Any, TypeAlias

from reachrank.findings import Findings
from reachrank.progress import silent

if TYPE_CHECKING:
    from reachrank.context import Context, Tables

Work: TypeAlias = "Callable[[Context], Any]"
"""What is to be done in a run of which the context is given; another process can be sent it, so it
is a function of a module, with all that it needs bound to it."""
Put: TypeAlias = "Callable[[Tables, Any], Tables]"
"""Puts what came of it into the tables of the run."""
Done: TypeAlias = tuple[Any, list[dict[str, object]]]
"""What came of it, and the rows of its findings."""


class Beside:
    """What a run has going on beside its stages, and how it gets into the tables."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1)
        self._begun: list[tuple[Future[Done], Put, Context, int]] = []
        self._is_closed = False

    def begin(self, work: Work, put: Put, ctx: Context) -> None:
        """Do some work from now on; at the end ``put`` puts what came of it into the tables.

        The stages in between must need nothing of that. What it finds is told where it would stand
        if nothing had run meanwhile.
        """
        place = len(ctx.findings.rows)
        self._begun.append((self._pool.submit(self._do, work, ctx), put, ctx, place))

    def end(self, tables: Tables) -> Tables:
        """Wait for the work and return the tables with what it made; raise what it raised."""
        told = 0
        for future, put, ctx, place in self._begun:
            made, findings = future.result()
            here = place + told  # what was told of the work before it stands before it
            ctx.findings.rows[here:here] = findings
            told += len(findings)
            tables = put(tables, made)
        self._begun.clear()
        return tables

    def close(self) -> None:
        """Begin nothing more; a run that is interrupted does not wait for what has begun."""
        self._is_closed = True
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _do(self, work: Work, ctx: Context) -> Done:
        done = ctx.workers.do(work) if ctx.workers else None
        if self._is_closed:
            raise CancelledError
        return done or done_with(work, ctx)


def done_with(work: Work, ctx: Context) -> Done:
    """Do some work in the context of a run, and return what it found apart from the run's own."""
    own = copy(ctx)
    own.findings, own.progress = Findings(), silent
    return work(own), own.findings.rows
