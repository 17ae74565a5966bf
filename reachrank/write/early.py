"""Layers that are final long before the run is over, written by another process meanwhile.

The sections are most of the file, and nothing that follows their hazard changes them: a worker (see
`reachrank.running.workers`) writes them while banks are compared and repairs are found. Their rows
are sent some thousand at a time, so that no process holds them twice. Where that goes wrong in any
way the run writes them itself, like the others.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator, Mapping
from contextlib import suppress
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from reachrank.write.arrow import parts_of

if TYPE_CHECKING:
    from reachrank.context import Context, Table
    from reachrank.running.workers import Worker, Workers
    from reachrank.write.ranked import Units

LAYERS = ("sections", "bends", "factors")
"""Layers that no stage changes after the one called `AFTER`."""
AFTER = "hazard"
ALSO = ("channel",)
"""What is needed besides their rows to write them, see `reachrank.running.carried`."""


Order: TypeAlias = "tuple[str, Units, Mapping[str, Table]]"
"""The file to write to, in which units, and the layers `ALSO`."""


class EarlyLayers:
    """Layers of one run that are written early, where there is a worker for it."""

    def __init__(self, units: Units) -> None:
        self._units = units
        self._sent: dict[str, Table] = {}
        self._path: Path | None = None
        self._is_written = False
        self._thread: threading.Thread | None = None

    def begin(self, stage: str, tables: Mapping[str, Table], ctx: Context) -> None:
        """Have the layers written, if this stage was the last to change them."""
        if ctx.workers is None or ctx.kept is None:
            return
        worker = ctx.workers.one() if stage == AFTER else None
        if worker is None:
            return
        self._sent = {name: tables[name] for name in LAYERS}
        self._path = ctx.kept.folder / "early.gpkg"  # what is left of it goes with the folder
        also = {name: tables[name] for name in ALSO}
        args = (worker, also, ctx.workers)
        self._thread = threading.Thread(target=self._send, args=args, daemon=True)
        self._thread.start()

    def _send(self, worker: Worker, also: dict[str, Table], workers: Workers) -> None:
        with suppress(EOFError, OSError):  # the worker has died
            parts = ((name, part) for name, table in self._sent.items() for part in parts_of(table))
            self._is_written = worker.write((str(self._path), self._units, also), parts)
        workers.close()  # there is nothing left to do for them

    def move_to(self, path: Path, tables: Mapping[str, Table]) -> tuple[str, ...]:
        """Wait for the layers, put their file at ``path``; return which layers it holds."""
        if self._thread is None or self._path is None:
            return ()
        self._thread.join()
        same = all(tables.get(name) is table for name, table in self._sent.items())
        if not (same and self._is_written):
            return ()
        os.replace(self._path, path)
        return LAYERS


def write_early(order: Order, parts: Iterator[Any], ctx: Context) -> None:
    """Write, in the worker, the layers whose names and rows come one part after the other."""
    from reachrank.write.geopackage import write_layer  # noqa: PLC0415
    from reachrank.write.ranked import finished  # noqa: PLC0415

    path, units, also = Path(order[0]), order[1], order[2]
    path.unlink(missing_ok=True)  # of a run that was stopped
    for name, own in groupby(parts, key=lambda part: part[0]):
        finish = partial(finished, name, tables=also, ctx=ctx, units=units)
        write_layer(path, name, (rows for _, rows in own), finish)
