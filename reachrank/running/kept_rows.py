"""Rows of large layers that stay in the kept pieces of a run until somebody asks for them.

The points of all channels and the profiles of all sections are more than everything else together,
and of each only a few streams' rows are wanted at a time. A long run keeps every piece of its work
anyway (see `reachrank.running.kept_work`), so these rows need not be held in memory too.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import pandas as pd

from reachrank.errors import OutputError

if TYPE_CHECKING:
    from reachrank.context import Context, Table, Tables
    from reachrank.running.kept_work import KeptWork


class KeptRows:
    """Rows of one layer, by the streams whose pieces hold them. Safe for several threads."""

    def __init__(self, kept: KeptWork, layer: str) -> None:
        self._kept = kept
        self._layer = layer
        self._piece_of: dict[str, str] = {}
        self._lock = threading.Lock()

    def add(self, piece: str, streams: Iterable[str]) -> None:
        """Note that a piece holds the rows of some streams."""
        with self._lock:
            self._piece_of.update(dict.fromkeys(streams, piece))

    def pieces_of(self, streams: set[str]) -> dict[str, str]:
        """Return which piece holds the rows of each of some streams."""
        with self._lock:
            return {one: self._piece_of[one] for one in streams if one in self._piece_of}

    def of_streams(self, streams: set[str], pick: Callable[[Table], Table]) -> list[Table]:
        """Return what ``pick`` takes of each piece that holds rows of some streams.

        Raises
        ------
        OutputError
            Where a piece is not as the run has written it.
        """
        found = []
        for piece in sorted(set(self.pieces_of(streams).values())):
            table = self._kept.layer(piece, self._layer)
            if table is None:
                raise OutputError(
                    "The work that this run keeps beside its result was changed while it ran.",
                    hint="Run again.",
                    where=str(self._kept.folder),
                )
            found.append(pick(table))
        return found


def leave(piece: str, made: Tables, layers: Iterable[str], streams: set[str], ctx: Context) -> None:
    """Take the rows of some layers out of what a piece has made, if they are kept on disk."""
    if ctx.kept is None or not ctx.kept.has(piece):
        return
    for layer in layers:
        if layer in made:
            ctx.kept.rows_of(layer).add(piece, streams)
            made[layer] = made[layer].iloc[:0].copy()  # a mere view would hold on to the rows


def with_kept_rows(
    table: Table, layer: str, streams: set[str], ctx: Context, pick: Callable[[Table], Table]
) -> Table:
    """Return what ``pick`` takes of a layer, of its rows in memory and of those left on disk.

    Parameters
    ----------
    table
        The rows in memory.
    layer
        Its name.
    streams
        The streams that may have wanted rows.
    ctx
        Context of the run.
    pick
        Given rows, returns the wanted ones.
    """
    kept = ctx.kept.rows_of(layer).of_streams(streams, pick) if ctx.kept else []
    tables = [one for one in (pick(table), *kept) if len(one)]
    if len(tables) < 2:
        return tables[0] if tables else table.iloc[:0]
    return pd.concat(tables, ignore_index=True)
