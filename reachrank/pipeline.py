"""The order of the stages; the only file that knows it.

Every stage but the first and the last is a package of that name with ``run(tables, ctx) ->
tables``. The stages that look at pixels work one stream at a time, so they run in batches of
streams: no moment of the run holds more of the DEM than one batch needs. Sections must know the
channels beside them, so they are cut when all channels are found.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from importlib import import_module
from typing import TYPE_CHECKING

import pandas as pd

from reachrank.errors import UsageError
from reachrank.progress import Progress, part, silent

if TYPE_CHECKING:
    from reachrank.context import Context, Inputs, Table, Tables
    from reachrank.settings import Settings

STAGES = (
    "read", "network", "channel", "planform", "sections", "reaches",
    "exposure", "hazard", "priority", "repairs", "write",
)  # fmt: skip
BATCHED = (("channel", "planform"), ("sections",))
"""Stages that run in batches of streams; those of one group follow each other batch by batch."""
_SEEN_WHOLE = {"sections": ("channel_points",)}
BATCH_KM = 60.0
"""Stream kilometres in one batch: at 1 m cells and a 100 m corridor about 50 MB of elevation."""

SHARE = {
    "network": 0.12, "channel": 0.32, "planform": 0.05, "sections": 0.31, "reaches": 0.03,
    "exposure": 0.03, "hazard": 0.05, "priority": 0.05, "repairs": 0.04,
}  # fmt: skip
"""Share of the time after reading, for the progress bar alone."""


def rank_tables(
    inputs: Inputs,
    settings: Settings,
    *,
    progress: Progress = silent,
    jobs: int = 1,
    keep_points: bool = False,
) -> tuple[Tables, Context]:
    """Run every stage from reading to repairs and return all layers and the run's context.

    Parameters
    ----------
    inputs, settings
        What to read and how to rank it.
    progress
        Called with the fraction done (0 to 1) and the name of the stage.
    jobs
        Threads that a stage may use.
    keep_points
        Keep the layer ``channel_points``, the largest one, which nothing after the sections needs.
    """
    tables, ctx = open_inputs(inputs, settings, progress=part(progress, 0.0, 0.05), jobs=jobs)
    ctx.progress = part(progress, 0.05, 1.0)
    return rank_opened(tables, ctx, keep_points=keep_points), ctx


def rank_opened(tables: Tables, ctx: Context, *, keep_points: bool = False) -> Tables:
    """Run the stages from network to repairs on inputs that have been opened."""
    whole = ctx.progress
    with ctx.dem:  # forgets the elevations that it keeps when the last stage is done
        for names in (("network",), *BATCHED, *((name,) for name in STAGES[5:-1])):
            ctx.progress = _share_of(names, whole)
            if names in BATCHED:
                tables = run_by_stream(names, tables, ctx)
            else:
                tables = run_stage(names[0], tables, ctx)
            if names == ("sections",) and not keep_points:
                del tables["channel_points"]
    ctx.progress = whole
    return tables


def open_inputs(
    inputs: Inputs, settings: Settings, *, progress: Progress = silent, jobs: int = 1
) -> tuple[Tables, Context]:
    """Run the stage ``read``, which makes the first tables and the context of the others."""
    from reachrank.hazard.bankfull import chosen_curve  # noqa: PLC0415  (not at start-up)
    from reachrank.read import open_inputs as read  # noqa: PLC0415

    chosen_curve(inputs.curve, settings.hazard)  # a wrong name is told now, not after an hour
    progress(0.0, "read")
    return read(inputs, settings, progress=progress, jobs=jobs)


def run_stage(name: str, tables: Tables, ctx: Context) -> Tables:
    """Run one stage after ``read`` on the whole of its input."""
    if name not in STAGES[1:-1]:
        raise UsageError(f"There is no stage {name!r}.", hint=f"Stages: {', '.join(STAGES[1:-1])}.")
    if any(name in names for names in BATCHED):
        return run_by_stream((name,), tables, ctx)
    ctx.progress(0.0, name)
    new: Tables = import_module(f"reachrank.{name}").run(tables, ctx)
    if name == "hazard":  # the years that a bank has left need its hazard
        add_years = getattr(import_module("reachrank.exposure"), "add_years", None)
        new = add_years(new, ctx) if add_years else new
    return new


def run_by_stream(names: Sequence[str], tables: Tables, ctx: Context) -> Tables:
    """Run stages on one batch of streams after the other, and join what they made.

    A batch is told by the layer `edges`; `channel_points` are given whole to the sections and by
    stream to the stages that make or change them. The result does not depend on how the streams
    are dealt out.
    """
    whole = ctx.progress
    made: dict[str, list[Table]] = {}
    batches = list(batches_of_streams(tables))
    try:
        for number, batch in enumerate(batches):
            here = part(whole, number / len(batches), (number + 1) / len(batches))
            now = _only_streams(tables, batch, whole=_SEEN_WHOLE.get(names[0], ()))
            given = dict(now)
            for place, name in enumerate(names):
                ctx.progress = part(here, place / len(names), (place + 1) / len(names))
                ctx.progress(0.0, name)
                now = import_module(f"reachrank.{name}").run(now, ctx)
            for layer, table in now.items():
                if table is not given.get(layer):
                    made.setdefault(layer, []).append(table)
    finally:
        ctx.progress = whole
    joined = {layer: _joined(parts) for layer, parts in made.items()}
    if "profiles" in joined and "sections" in joined:  # profiles name their stream by the section
        place = pd.Index(joined["sections"]["section_id"]).get_indexer(
            joined["profiles"]["section_id"]
        )
        joined["profiles"] = joined["profiles"].iloc[place.argsort(kind="stable")]
    return {**tables, **{layer: t.reset_index(drop=True) for layer, t in joined.items()}}


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


def _only_streams(tables: Tables, streams: set[str], whole: Sequence[str]) -> Tables:
    return {
        layer: table[table["stream_id"].isin(streams)].reset_index(drop=True)
        if "stream_id" in table and layer not in whole
        else table
        for layer, table in tables.items()
    }


def _joined(parts: Sequence[Table]) -> Table:
    """Put the batches of one layer together, in the order of the streams' names."""
    from reachrank.write.conform import with_schema_types  # noqa: PLC0415

    with_rows = [table for table in parts if len(table)] or list(parts[:1])
    joined = pd.concat([with_schema_types(table) for table in with_rows], ignore_index=True)
    return joined.sort_values("stream_id", kind="stable") if "stream_id" in joined else joined


def _share_of(names: Sequence[str], progress: Progress) -> Progress:
    order = list(SHARE)
    before = sum(SHARE[name] for name in order[: order.index(names[0])])
    return part(progress, before, before + sum(SHARE[name] for name in names))
