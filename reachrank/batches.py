"""Run stages on one batch of streams after the other, several at a time, and join what they make.

The result does not depend on how the streams are dealt out, nor on how many batches run at a time:
a batch has findings of its own, and everything is joined in the order of the streams.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from reachrank.grouped import rows_by_group
from reachrank.kept_work import made_or_kept
from reachrank.memory import give_back
from reachrank.progress import part, silent
from reachrank.turns import short_turns

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reachrank.context import Context, Table, Tables
    from reachrank.findings import Findings
    from reachrank.progress import Progress

BATCH_KM = 12.0
"""Stream kilometres in one batch: at 1 m cells and a 100 m corridor about 10 MB of elevation."""


def batches_of_streams(
    tables: Mapping[str, Table], batch_km: float = BATCH_KM
) -> Iterator[set[str]]:
    """Yield sets of stream ids, catchment after catchment, each about ``batch_km`` long at most.

    A network without any stream gives one empty batch, so that every layer is still made.
    """
    edges = tables["edges"]
    lengths_km = edges.geometry.length / 1000.0
    by_stream = lengths_km.groupby([edges["catchment"], edges["stream_id"]], sort=True).sum()
    batch: set[str] = set()
    batch_length_km = 0.0
    for (_, stream), length_km in by_stream.items():
        if batch and batch_length_km + length_km > batch_km:
            yield batch
            batch, batch_length_km = set(), 0.0
        batch.add(str(stream))
        batch_length_km += length_km
    yield batch


class RowsOfStreams:
    """Which rows of a table belong to which stream, found once for all batches."""

    def __init__(self, table: Table) -> None:
        codes, names = pd.factorize(table["stream_id"])
        self._rows, self._starts = rows_by_group(codes, len(names))
        self._number = {str(name): number for number, name in enumerate(names)}

    def __call__(self, streams: set[str]) -> NDArray[np.int64]:
        """Return the numbers of the rows of some streams, in the table's order."""
        numbers = [self._number[stream] for stream in streams if stream in self._number]
        parts = [self._rows[self._starts[n] : self._starts[n + 1]] for n in numbers]
        return np.sort(np.concatenate(parts)) if parts else np.empty(0, np.int64)


def run_batches(
    stages: Sequence[tuple[str, Callable[[Tables, Context], Tables]]],
    tables: Tables,
    ctx: Context,
    batches: Sequence[set[str]],
    *,
    around: Callable[[set[str]], set[str]] | None = None,
) -> Tables:
    """Run stages on batches of streams and join what they made.

    Parameters
    ----------
    stages
        Name and function of each; they follow each other batch by batch.
    tables
        Tables with a column ``stream_id`` are cut to the batch, others are given whole.
    ctx
        ``ctx.jobs`` batches run at a time; findings are added in the order of the batches. What
        ``ctx.kept`` has of an earlier run is not made again.
    batches
        Stream ids.
    around
        Given a batch, which streams' `channel_points` the stages need besides its own.
    """
    from reachrank.write.conform import with_schema_types  # noqa: PLC0415

    rows = {layer: RowsOfStreams(table) for layer, table in tables.items() if "stream_id" in table}

    def work(number: int, progress: Progress) -> tuple[dict[str, Table], Findings]:
        piece = f"{stages[0][0]}-{number + 1:05d}"
        return made_or_kept(piece, ctx, lambda own: make(batches[number], own, progress))

    def make(batch: set[str], own: Context, progress: Progress) -> dict[str, Table]:
        given: dict[str, Table] = {}
        for layer, table in tables.items():
            given[layer] = table
            if layer in rows:
                near = around(batch) if around and layer == "channel_points" else set()
                given[layer] = table.take(rows[layer](batch | near)).reset_index(drop=True)
        own.jobs = 1
        now: Tables = dict(given)
        for place, (name, run) in enumerate(stages):
            own.progress = part(progress, place / len(stages), (place + 1) / len(stages))
            own.progress(0.0, name)
            now = run(now, own)
        return {
            layer: with_schema_types(table)
            for layer, table in now.items()
            if table is not given.get(layer)
        }

    done = _each(work, _longest_first(tables["edges"], batches), stages[0][0], ctx)
    made: dict[str, list[Table]] = {}
    for new, findings in done:
        for layer, table in new.items():
            made.setdefault(layer, []).append(table)
        ctx.findings.rows.extend(findings.rows)
    done.clear()  # so that the batches of a layer go as soon as it has been joined
    joined = {layer: _joined(made.pop(layer)) for layer in list(made)}
    give_back()
    return {**tables, **joined}


def _longest_first(edges: Table, batches: Sequence[set[str]]) -> list[int]:
    """Return the order to begin the batches in: first those of one stream longer than a batch.

    The others keep their order, so that neighbours share what was read of the DEM.
    """
    length_km = (edges.geometry.length / 1000.0).groupby(edges["stream_id"]).sum().to_dict()
    total = [sum(length_km.get(stream, 0.0) for stream in batch) for batch in batches]
    return sorted(range(len(batches)), key=lambda number: -max(total[number], BATCH_KM))


def _each(
    work: Callable[[int, Progress], tuple[dict[str, Table], Findings]],
    order: Sequence[int],
    message: str,
    ctx: Context,
) -> list[tuple[dict[str, Table], Findings]]:
    """Do every batch, at most ``ctx.jobs`` at a time, and tell how many are done."""
    done: dict[int, tuple[dict[str, Table], Findings]] = {}
    ctx.progress(0.0, message)
    if ctx.jobs <= 1 or len(order) == 1:
        for number in order:
            here = part(ctx.progress, len(done) / len(order), (len(done) + 1) / len(order))
            done[number] = work(number, here)
    else:
        with short_turns(), ThreadPoolExecutor(ctx.jobs) as pool:
            futures = {pool.submit(work, number, silent): number for number in order}
            try:
                for future in as_completed(futures):
                    done[futures[future]] = future.result()
                    ctx.progress(len(done) / len(order), message)
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise
    return [done[number] for number in range(len(order))]


def _joined(parts: list[Table]) -> Table:
    """Put the batches of one layer together, in the order of the streams' names."""
    with_rows = [table for table in parts if len(table)] or list(parts[:1])
    joined = pd.concat(with_rows, ignore_index=True) if len(with_rows) > 1 else with_rows[0]
    with_rows.clear()
    parts.clear()  # gone before they are ordered, which takes as much again
    if "stream_id" in joined and not joined["stream_id"].is_monotonic_increasing:
        order = joined["stream_id"].to_numpy().argsort(kind="stable")
        joined = joined.take(order)
    return joined.reset_index(drop=True)
