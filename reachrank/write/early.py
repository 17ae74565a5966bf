"""Layers that are final before the run is over, written meanwhile.

The sections are most of the file, and nothing that follows their hazard changes them: a worker (see
`reachrank.running.workers`) writes them while banks are compared and repairs are found. Their rows
are sent some thousand at a time, so that no process holds them twice. While it then draws ranks the
run writes the repairs. Where any of that goes wrong all layers are written at the end.
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
from reachrank.write.profiles import Profiles, pick_profiles

if TYPE_CHECKING:
    from reachrank.context import Context, Table
    from reachrank.running.workers import Workers
    from reachrank.write.ranked import Units

LAYERS = {
    "hazard": ("sections", "factors"),
    "repairs": ("bends", "exposures", "repairs", "tie_ins", "materials", "profiles"),
}
"""Layers that nothing changes any more, by the stage after which that is so."""
ALSO = ("channel",)
"""What is needed besides their rows to write them, see `reachrank.running.carried`."""


Order: TypeAlias = "tuple[str, Units, Mapping[str, Table]]"
"""The file to write to, in which units, and the layers `ALSO`."""


class EarlyLayers:
    """Layers of one run that are written early, where there is a worker for the first of them.

    Attributes
    ----------
    profiles
        The profiles that will be written, once they have been chosen.
    """

    def __init__(self, units: Units, keep: Profiles) -> None:
        self._units = units
        self._keep = keep
        self.profiles: Table | None = None
        self._taken: dict[str, Table] = {}
        self._path: Path | None = None
        self._is_written = False
        self._thread: threading.Thread | None = None

    def after(self, stage: str, tables: Mapping[str, Table], ctx: Context) -> None:
        """Have the layers written, or write them, that no stage after this one changes."""
        if ctx.workers is None or ctx.kept is None:
            return
        if stage == "hazard":
            self._path = ctx.kept.folder / "early.gpkg"  # what is left of it goes with the folder
            with suppress(OSError):  # what cannot go makes writing fail, and all waits for the end
                self._path.unlink(missing_ok=True)  # of a run that was stopped
            args = (self._take(stage, tables), {name: tables[name] for name in ALSO}, ctx.workers)
            self._thread = threading.Thread(target=self._send, args=args)  # ends with its worker
            self._thread.start()
        elif stage == "repairs" and self._has_come():
            self.profiles = pick_profiles(tables, self._keep, ctx)
            taken = self._take(stage, {**tables, "profiles": self.profiles})
            self._is_written = False
            with suppress(Exception):  # it is told at the end, if it goes wrong there too
                write_early((str(self._path), self._units, tables), _parts(taken), ctx)
                self._is_written = True

    def _take(self, stage: str, tables: Mapping[str, Table]) -> dict[str, Table]:
        taken = {name: tables[name] for name in LAYERS[stage]}
        self._taken.update(taken)
        return taken

    def _send(self, taken: dict[str, Table], also: dict[str, Table], workers: Workers) -> None:
        self._is_written = workers.write((str(self._path), self._units, also), _parts(taken))

    def _has_come(self) -> bool:
        """Wait for what a worker writes; return whether all has been written."""
        if self._thread is not None:
            self._thread.join()
        return self._is_written

    def move_to(self, path: Path, tables: Mapping[str, Table]) -> tuple[str, ...]:
        """Wait for the layers, put their file at ``path``; return which layers it holds."""
        is_same = all(tables.get(name) is table for name, table in self._taken.items())
        if not (self._has_come() and is_same and self._path):
            return ()
        os.replace(self._path, path)
        return tuple(self._taken)


def _parts(tables: Mapping[str, Table]) -> Iterator[tuple[str, Table]]:
    return ((name, part) for name, table in tables.items() for part in parts_of(table))


def write_early(order: Order, parts: Iterator[Any], ctx: Context) -> None:
    """Write the layers whose names and rows come one part after the other."""
    from reachrank.write.geopackage import write_layer  # noqa: PLC0415
    from reachrank.write.ranked import finished  # noqa: PLC0415

    path, units, also = Path(order[0]), order[1], order[2]
    for name, own in groupby(parts, key=lambda part: part[0]):
        finish = partial(finished, name, tables=also, ctx=ctx, units=units)
        write_layer(path, name, (rows for _, rows in own), finish)
