"""Run stages on one batch of streams after the other, several at a time, and join what they make.

The result does not depend on how the streams are dealt out, nor on how many batches run at a time:
a batch has findings of its own, and everything is joined in the order of the streams.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import geopandas as gpd
import numpy as np
import pandas as pd

from reachrank.grouped import rows_by_group
from reachrank.progress import part, silent
from reachrank.running.kept_rows import leave, with_kept_rows
from reachrank.running.kept_work import made_or_kept
from reachrank.running.mapped import mapped
from reachrank.running.memory import give_back
from reachrank.running.turns import short_turns

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from reachrank.context import Context, Table, Tables
    from reachrank.findings import Findings
    from reachrank.progress import Progress

Made: TypeAlias = "tuple[dict[str, Table], Findings]"
"""What a batch has made, by layer, and what it has found."""
Stages = Sequence[tuple[str, "Callable[[Tables, Context], Tables]"]]
"""Name and function of each stage."""
BATCH_KM, GREATEST_BATCH_KM = 12.0, 48.0
"""Stream kilometres in one batch, in a short run and in a long one: at 1 m cells and a 100 m
corridor about 10 and 40 MB of elevation."""
LEAST_BATCHES = 30
"""A run has so many before they grow beyond `BATCH_KM`: many, so that all processes have work to
the end, and few, since each takes some time whatever its length."""
LONG_ROWS, GIVE_BACK_COLUMNS = 100_000, 4
"""While tables of so many rows are joined, free memory is given back every few columns."""


def batches_of_streams(
    tables: Mapping[str, Table], batch_km: float | None = None
) -> Iterator[set[str]]:
    """Yield sets of stream ids, catchment after catchment, each about ``batch_km`` long at most.

    By default the length follows from that of all streams. A network without any stream gives one
    empty batch, so that every layer is still made.
    """
    edges = tables["edges"]
    lengths_km = edges.geometry.length / 1000.0
    if batch_km is None:
        batch_km = _usual_km(lengths_km.sum())
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


def _usual_km(total_km: float) -> float:
    return min(max(total_km / LEAST_BATCHES, BATCH_KM), GREATEST_BATCH_KM)


def piece_name(stage: str, number: int) -> str:
    """Return the name of what a batch makes, by its first stage and its number from 0."""
    return f"{stage}-{number + 1:05d}"


def streams_left(stages: Collection[str], tables: Mapping[str, Table], ctx: Context) -> set[str]:
    """Return the streams of the batches that are still to be made; ``stages`` are first ones."""
    kept, batches = ctx.kept, enumerate(batches_of_streams(tables))
    return {
        stream
        for number, streams in batches
        if not (kept and all(kept.has(piece_name(stage, number)) for stage in stages))
        for stream in streams
    }


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


@dataclass(frozen=True)
class Batch:
    """One batch of streams with what its stages are given; another process can be sent it.

    Attributes
    ----------
    piece
        Its name, the same in every run.
    streams
        Its streams; of those around them the `channel` is given too.
    stages
        Name and function of each; they follow each other.
    given
        Tables by layer, cut to the streams, without rows that were left on disk.
    drop
        Columns, by layer, that are not carried on.
    """

    piece: str
    streams: set[str]
    stages: Stages
    given: dict[str, Table]
    drop: Mapping[str, tuple[str, ...]]


def make(batch: Batch, ctx: Context, progress: Progress = silent) -> dict[str, Table]:
    """Run the stages of a batch and return the layers that they make."""
    from reachrank.write.conform import with_schema_types  # noqa: PLC0415

    given = {layer: _with_left_rows(layer, batch, ctx) for layer in batch.given}
    ctx.jobs = 1
    now: Tables = dict(given)
    for place, (name, run) in enumerate(batch.stages):
        ctx.progress = part(progress, place / len(batch.stages), (place + 1) / len(batch.stages))
        ctx.progress(0.0, name)
        now = run(now, ctx)
    return {
        layer: with_schema_types(_without(table, batch.drop.get(layer, ())))
        for layer, table in now.items()
        if table is not given.get(layer)
    }


def run_batches(
    stages: Stages,
    tables: Tables,
    ctx: Context,
    batches: Sequence[set[str]],
    *,
    reads: Collection[str],
    around: Callable[[set[str]], set[str]] | None = None,
    drop: Mapping[str, tuple[str, ...]] = {},
    left: Collection[str] = (),
) -> Tables:
    """Run stages on batches of streams and join what they made.

    Parameters
    ----------
    stages
        Name and function of each; they follow each other batch by batch.
    tables
        All tables of the run so far.
    ctx
        ``ctx.jobs`` batches run at a time, here and in ``ctx.workers``; findings are added in the
        order of the batches. What ``ctx.kept`` has of an earlier run is not made again.
    batches
        Stream ids.
    reads
        Layers that the stages read, all with a column ``stream_id``: they are cut to the batch.
    around
        Given a batch, which streams' `channel` the stages need besides its own.
    drop
        Columns, by layer, that are not carried on.
    left
        Layers whose rows stay on disk where the run keeps its work, see `kept_rows`.
    """
    rows = {layer: RowsOfStreams(tables[layer]) for layer in reads}
    total_km = tables["edges"].geometry.length.sum() / 1000.0
    is_long = _usual_km(total_km) >= GREATEST_BATCH_KM  # memory gets scarce

    def batch_of(number: int) -> Batch:
        streams = batches[number]
        near = around(streams) if around else set()
        given = {}
        for layer in reads:
            wanted = streams | near if layer == "channel" else streams
            given[layer] = tables[layer].take(rows[layer](wanted)).reset_index(drop=True)
        return Batch(piece_name(stages[0][0], number), streams, stages, given, drop)

    def work(number: int, progress: Progress) -> Callable[[], Made]:
        batch = batch_of(number)

        def take() -> Made:
            new, findings = made_or_kept(
                batch.piece, ctx, lambda own: make(batch, own, progress), without=left,
                in_files=is_long,
            )  # fmt: skip
            leave(batch.piece, new, left, batch.streams, ctx)
            return new, findings

        if ctx.workers and ctx.workers.make(batch, ctx):
            return take  # by whoever waits, so that the worker gets its next batch at once
        made = take()
        return lambda: made

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
    usual = _usual_km(sum(total))
    return sorted(range(len(batches)), key=lambda number: -max(total[number], usual))


def _each(
    work: Callable[[int, Progress], Callable[[], Made]],
    order: Sequence[int],
    message: str,
    ctx: Context,
) -> list[Made]:
    """Do every batch, at most ``ctx.jobs`` at a time, and tell how many are done."""
    done: dict[int, Made] = {}
    ctx.progress(0.0, message)
    if ctx.jobs <= 1 or len(order) == 1:
        for number in order:
            here = part(ctx.progress, len(done) / len(order), (len(done) + 1) / len(order))
            done[number] = work(number, here)()
    else:
        with short_turns(), ThreadPoolExecutor(ctx.jobs) as pool:
            futures = {pool.submit(work, number, silent): number for number in order}
            try:
                for future in as_completed(futures):
                    done[futures[future]] = future.result()()
                    ctx.progress(len(done) / len(order), message)
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise
    return [done[number] for number in range(len(order))]


def _with_left_rows(layer: str, batch: Batch, ctx: Context) -> Table:
    """Return the rows of a batch's streams, given and left on disk, in the order of the streams."""
    here = batch.given[layer]
    if not ctx.kept:
        return here
    streams = batch.streams

    def of_streams(kept: Table) -> Table:
        return kept if kept is here else kept[kept["stream_id"].isin(streams)]

    return _in_order(with_kept_rows(here, layer, streams, ctx, of_streams))


def _without(table: Table, columns: tuple[str, ...]) -> Table:
    """Return a table without some columns; without its geometry it is a plain one."""
    if not columns:
        return table
    return pd.DataFrame(table).drop(columns=list(columns), errors="ignore")


def _joined(parts: list[Table]) -> Table:
    """Put the batches of one layer together, in the order of the streams' names.

    Column by column, and what a column was put together from is let go: two whole tables at once
    would be the most that a run ever needs.
    """
    with_rows = [table for table in parts if len(table)] or list(parts[:1])
    parts.clear()
    if len(with_rows) == 1:
        return _in_order(with_rows[0].copy())  # its columns may lie in files, as no other does
    first = with_rows[0].iloc[:0]
    columns = [dict(table.items()) for table in with_rows]
    with_rows.clear()
    order = None
    if "stream_id" in first:
        stream_id = pd.concat([part["stream_id"] for part in columns], ignore_index=True)
        if not stream_id.is_monotonic_increasing:
            order = stream_id.to_numpy().argsort(kind="stable")
    joined: dict[str, pd.Series] = {}
    for number, name in enumerate(first.columns, 1):
        values = pd.concat([part.pop(name) for part in columns], ignore_index=True)
        joined[name] = values if order is None else values.take(order).reset_index(drop=True)
        if len(values) > LONG_ROWS:
            if isinstance(values.dtype, np.dtype):
                joined[name] = pd.Series(mapped(joined[name].to_numpy()), copy=False)
            del values
            if number % GIVE_BACK_COLUMNS == 0:
                give_back()
    table = pd.DataFrame(joined, columns=first.columns, copy=False)
    if isinstance(first, gpd.GeoDataFrame):
        return gpd.GeoDataFrame(table, geometry=first.geometry.name)
    return table


def _in_order(table: Table) -> Table:
    if "stream_id" in table and not table["stream_id"].is_monotonic_increasing:
        table = table.take(table["stream_id"].to_numpy().argsort(kind="stable"))
    return table.reset_index(drop=True)
