"""The order of the stages; the only file that knows it.

Every stage but the first and the last is a package of that name with ``run(tables, ctx) ->
tables``. The stages that look at pixels work one stream at a time, so they run in batches of
streams, several at a time: no moment of the run holds more of the DEM than those need. Sections
must know the channels beside them, so they are cut when all channels are found.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import closing
from importlib import import_module
from typing import TYPE_CHECKING

from reachrank.errors import UsageError
from reachrank.progress import Progress, part, silent
from reachrank.running.batches import batches_of_streams, run_batches, streams_left
from reachrank.running.beside import Beside
from reachrank.running.carried import DROPPED, whole
from reachrank.running.kept_work import made_or_kept
from reachrank.running.mapped import let_go
from reachrank.running.memory import MOST_SECTIONS_BESIDE, MOST_SECTIONS_WORKER, give_back

if TYPE_CHECKING:
    from reachrank.context import Context, Inputs, Table, Tables
    from reachrank.settings import Settings

STAGES = (
    "read", "network", "channel", "planform", "sections", "reaches",
    "exposure", "hazard", "priority", "repairs", "write",
)  # fmt: skip
BATCHED = (("channel", "planform"), ("sections",))
"""Stages that run in batches of streams; those of one group follow each other batch by batch."""
READS = {"channel": ("edges",), "planform": ("channel", "channel_points"),
         "sections": ("channel", "channel_points")}  # fmt: skip
"""Layers that a group of batched stages reads, by its first stage."""
LEFT = ("channel_points", "profiles")
"""Layers whose rows stay on disk where a run keeps its work: `reachrank.running.kept_rows`."""
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
    tables = rank_opened(tables, ctx, keep_points=keep_points)
    return {name: whole(name, table, tables, ctx.crs) for name, table in tables.items()}, ctx


def rank_opened(
    tables: Tables,
    ctx: Context,
    *,
    keep_points: bool = False,
    after: Callable[[str, Tables, Context], None] = lambda _name, _tables, _ctx: None,
) -> Tables:
    """Run the stages from network to repairs on inputs that have been opened.

    ``after`` is called with the name of each stage that is over and the tables that there are then,
    without what still goes on in ``ctx.beside``.

    Sections and bends are without what `reachrank.running.carried` makes again, and where
    ``ctx.kept`` keeps the run's work the profiles stay there: `reachrank.write.write_ranked` puts
    in both.
    """
    told, whole = ctx.progress, _letting_go(ctx.progress)
    # at the end the DEM forgets the elevations that it keeps
    with ctx.dem, closing(Beside()) as beside:
        for names in (("network",), *BATCHED, *((name,) for name in STAGES[5:-1])):
            ctx.progress = _share_of(names, whole)
            has_room = len(tables.get("sections", ())) <= MOST_SECTIONS_BESIDE and ctx.jobs > 1
            ctx.beside = beside if has_room else None
            if names == ("priority",):
                tables = beside.end(tables)  # it needs the exposures
            if names in BATCHED:
                left = () if keep_points else LEFT
                tables = run_by_stream(names, tables, ctx, drop=DROPPED, left=left)
            elif names == ("network",):
                tables = _network(tables, ctx)
            else:
                tables = run_stage(names[0], tables, ctx)
            if names == ("sections",):
                if ctx.workers:
                    ctx.workers.close(but=int(len(tables["sections"]) <= MOST_SECTIONS_WORKER))
                ctx.dem.forget()
                if not keep_points:
                    del tables["channel_points"]
            give_back()  # most stages need much for a while
            after(names[-1], tables, ctx)
        tables = beside.end(tables)
    ctx.beside = None
    ctx.progress = told
    return tables


def _network(tables: Tables, ctx: Context) -> Tables:
    """Run the network stage, or take what a stopped run has made.

    Before, all of the DEM that the channels will need is read, file after file: every file is
    opened once, and the threads never wait for each other. Where water will be routed over all of
    the DEM, that is read first, and of it what lies near the streams is kept. A run that goes on
    reads what lies near the streams that are left.
    """
    from reachrank.channel.stage import corridor_half_width_m  # noqa: PLC0415  (not at start-up)
    from reachrank.network.stage import may_route  # noqa: PLC0415

    half_width_m = corridor_half_width_m(ctx.settings)

    def make(own: Context) -> dict[str, Table]:
        whole = own.progress
        lines = tables["streams"].geometry
        if may_route(tables["streams"], own):
            cells = int(own.settings.network.routing_greatest_cells)
            own.dem.read_ahead(cells, part(whole, 0.0, 0.6))
        own.dem.load(lines, half_width_m, part(whole, 0.0, 0.7))
        own.progress = part(whole, 0.7, 1.0)
        edges = run_stage("network", tables, own)["edges"]
        own.dem.drop_ahead()
        return {"edges": edges}

    goes_on = ctx.kept is not None and ctx.kept.has("network")
    made, findings = made_or_kept("network", ctx, make)
    ctx.findings.rows.extend(findings.rows)
    tables = {**tables, **made}
    if goes_on:
        left = streams_left([names[0] for names in BATCHED], tables, ctx)
        lines = made["edges"].geometry[made["edges"]["stream_id"].isin(left)]
        ctx.dem.load_some(lines, half_width_m, part(ctx.progress, 0.0, 0.7))
    if ctx.workers:
        ctx.workers.begin(ctx)
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
    return new


def run_by_stream(
    names: Sequence[str],
    tables: Tables,
    ctx: Context,
    *,
    drop: Mapping[str, tuple[str, ...]] = {},
    left: Collection[str] = (),
) -> Tables:
    """Run stages on one batch of streams after the other, and join what they made.

    A batch is told by the layer `edges`. The sections of a batch are also given the `channel` of
    the streams near by, which own the ground around them. For ``drop`` and
    ``left`` see `reachrank.running.batches.run_batches`.
    """
    stages = [(name, _run_of(name)) for name in names]
    around: Callable[[set[str]], set[str]] | None = None
    if names[0] == "sections":
        from reachrank.sections.neighbours import near_streams  # noqa: PLC0415

        around = near_streams(tables["channel"])
    batches = list(batches_of_streams(tables))
    new = run_batches(
        stages, tables, ctx, batches, reads=READS[names[0]], around=around, drop=drop, left=left
    )
    if "sections" in new and len(new.get("profiles", ())):
        from reachrank.write.profiles import in_order_of  # noqa: PLC0415  (not at start-up)

        new["profiles"] = in_order_of(new["sections"], new["profiles"])
    return new


def load_batched() -> None:
    """Load the code of the stages that run in batches."""
    for names in BATCHED:
        for name in names:
            _run_of(name)


def _run_of(name: str) -> Callable[[Tables, Context], Tables]:
    run: Callable[[Tables, Context], Tables] = import_module(f"reachrank.{name}").run
    return run


def _letting_go(progress: Progress) -> Progress:
    """Return what reports progress and lets columns go that nobody may look at any more."""

    def report(fraction: float, message: str) -> None:
        let_go()
        progress(fraction, message)

    return report


def _share_of(names: Sequence[str], progress: Progress) -> Progress:
    order = list(SHARE)
    before = sum(SHARE[name] for name in order[: order.index(names[0])])
    return part(progress, before, before + sum(SHARE[name] for name in names))
