"""Other processes that make pieces of a long run beside it.

Threads of one process wait for each other wherever they are in Python; processes do not. A worker
is given one batch of streams at a time and leaves what it makes where the run keeps its work
(`kept_work`), so that what it has made is taken up like the work of a stopped run: there
whole or not at all. When all batches are made it does what goes on beside the stages after them
(`beside`) and writes the first layers (`reachrank.write.early`). Where a worker cannot do a thing,
has died, or is not ready yet, the run does it itself. The elevations that were read lie in one
scratch file that all read from.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from contextlib import contextmanager, suppress
from dataclasses import replace
from multiprocessing.connection import Pipe
from multiprocessing.reduction import send_handle
from typing import TYPE_CHECKING, Any

import reachrank
from reachrank.progress import silent

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from reachrank.context import Context, Table
    from reachrank.running.batches import Batch
    from reachrank.running.beside import Work
    from reachrank.write.early import Order

MOST = 7
"""No more workers: each takes 0.18 GB of memory of its own."""
EARLY_BYTES = 400_000
"""A stream layer that is larger than this surely has the hundred kilometres from which on a run
keeps its work: workers are started before it is opened, and load their libraries while the run
loads its own."""
_START = "import sys; from reachrank.running.worker import serve; serve(int(sys.argv[1]))"
_LOST = (EOFError, OSError)
"""What a connection raises whose other side has gone."""


def program() -> tuple[str, dict[str, str]]:
    """Return which program this is: a worker that is another one is not asked."""
    from reachrank.write.run_info import versions  # noqa: PLC0415  (not before workers start)

    return reachrank.__file__, versions()


class Worker:
    """One process and the connection to it."""

    def __init__(self) -> None:
        self._line, far = Pipe()
        self._is_ready = False
        self._talk = threading.Lock()
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", _START, str(far.fileno())],
                pass_fds=(far.fileno(),), start_new_session=True,  # Ctrl-C is for the run alone
                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )  # fmt: skip
        finally:
            far.close()

    @property
    def pid(self) -> int:
        """Number of the process."""
        return self._process.pid

    def begin(self, told: bytes, descriptor: int) -> None:
        """Tell of the run and hand over the scratch file."""
        with suppress(*_LOST):
            self._line.send_bytes(told)
            send_handle(self._line, descriptor, self.pid)

    @property
    def is_ready(self) -> bool:
        """Whether the process has opened what it needs, and it is the same program as this one."""
        if not self._is_ready and self._line.poll():
            if self._line.recv() != program():
                raise EOFError
            self._is_ready = True
        return self._is_ready

    def make(self, batch: Batch, left: dict[str, dict[str, str]]) -> bool:
        """Have a batch made; return whether it was.

        Raises
        ------
        EOFError, OSError
            Where the process has died.
        """
        with self._talk:
            self._line.send(("make", (batch, left)))
            return bool(self._line.recv())

    def write(self, order: Order, parts: Iterable[tuple[str, Table]]) -> bool:
        """Have layers written to a file, some rows after the other; return and raise as `make`.

        What the parts of an ``order`` are: `reachrank.write.early`.
        """
        with self._talk:
            self._line.send(("write", order))
            for part in parts:
                self._line.send(part)
            self._line.send(None)
            return bool(self._line.recv())

    def do(self, work: Work) -> tuple[Any, list[dict[str, object]]] | None:
        """Have something done; return what came of it and its findings, None where it failed.

        Raises
        ------
        EOFError, OSError
            Where the process has died.
        """
        with self._talk:
            self._line.send(("do", work))
            done: tuple[Any, list[dict[str, object]]] | None = self._line.recv()
            return done

    def close(self) -> None:
        """End the process, whatever it is at: what it has made is there whole or not at all."""
        self._process.kill()
        self._process.wait()
        with self._talk:  # a thread that was talking to it has been told by now
            self._line.close()


class Workers:
    """The workers of one run. Safe for several threads.

    Attributes
    ----------
    made, done
        How many batches workers have made, and how many other things they have done.
    """

    def __init__(self) -> None:
        self._all: list[Worker] = []
        self._idle: list[Worker] = []
        self._changed = threading.Condition()
        self.made = 0
        self.done = 0

    def start(self, count: int) -> None:
        """Start processes, so many in all that ``count`` are there besides this one."""
        can = bool(sys.executable) and os.name == "posix"  # elsewhere the run uses threads alone
        with suppress(OSError):  # no more processes for this user: fewer workers
            while can and len(self._all) < min(count, MOST):
                self._all.append(Worker())

    def start_early(self, count: int, streams: str) -> None:
        """Start processes before a layer is opened, if its file is that of a long run."""
        with suppress(OSError, ValueError):
            file = streams.partition("|")[0]  # what follows names a layer of it
            if os.path.getsize(file) > EARLY_BYTES:
                self.start(count)

    def begin(self, ctx: Context) -> None:
        """Tell the workers of a run whose elevations have been read."""
        if not self._all or ctx.kept is None:
            return
        try:
            descriptor = ctx.dem.lay_down()
        except OSError:  # a full disk: the run does without
            self.close()
            return
        from reachrank.findings import Findings  # noqa: PLC0415  (not before workers start)

        bare = replace(
            ctx, findings=Findings(), progress=silent, jobs=1,
            kept=None, workers=None, beside=None,
        )  # fmt: skip
        told = pickle.dumps((bare, str(ctx.kept.folder)))
        for worker in self._all:
            worker.begin(told, descriptor)
            self.put_back(worker)

    def make(self, batch: Batch, ctx: Context) -> bool:
        """Have a batch made and kept where a worker has nothing to do; return whether it was."""
        if ctx.kept is None or ctx.kept.has(batch.piece):
            return False
        worker, is_made = self.take(wait=False), False
        if worker is not None:
            left = {name: ctx.kept.rows_of(name).pieces_of(batch.streams) for name in batch.given}
            with self._lent(worker):
                is_made = worker.is_ready and worker.make(batch, left)
            self.made += is_made
        return is_made

    def do(self, work: Work) -> tuple[Any, list[dict[str, object]]] | None:
        """Have something done as soon as a worker has time; None where none can.

        Returns
        -------
        tuple or None
            What came of it, and the rows of its findings.
        """
        worker = self.take()
        done = None
        if worker is not None:
            with self._lent(worker):
                done = worker.do(work) if worker.is_ready else None
                self.done += done is not None
        return done

    def write(self, order: Order, parts: Iterable[tuple[str, Table]]) -> bool:
        """Have layers written as soon as a worker has time; return whether they were."""
        worker, is_written = self.take(), False
        if worker is not None:
            with self._lent(worker):
                is_written = worker.is_ready and worker.write(order, parts)
        return is_written

    def take(self, *, wait: bool = True) -> Worker | None:
        """Return a worker that has nothing to do, for as long as it takes to `put_back`.

        Waits for one where all have; None where there is none (any more).
        """
        with self._changed:
            while wait and self._all and not self._idle:
                self._changed.wait()
            return self._idle.pop(0) if self._idle else None

    def put_back(self, worker: Worker) -> None:
        """Let a worker be given something to do; one that has been let go meanwhile stays away."""
        with self._changed:
            if worker in self._all:
                self._idle.append(worker)
                self._changed.notify()

    @contextmanager
    def _lent(self, worker: Worker) -> Iterator[None]:
        """Put a worker back afterwards; let it go where it has died or anything else went wrong."""
        try:
            yield
        except Exception:  # what was asked for is not done, and the run does it
            with self._changed:
                if worker in self._all:
                    self._all.remove(worker)
                self._changed.notify_all()
            worker.close()
        else:
            self.put_back(worker)

    def close(self, but: int = 0) -> None:
        """Let workers go, at once; all, or all but so many that have nothing to do."""
        with self._changed:
            stay = self._idle[:but]
            go, self._all, self._idle = [w for w in self._all if w not in stay], stay, list(stay)
            self._changed.notify_all()
        for worker in go:
            worker.close()
