"""A process beside the run that does parts of its work: what it does from start to end.

It is started by `workers`, hears from there what to make or to write, and puts it where
the run keeps its work. It goes when the other side has gone, however that came about.
"""

from __future__ import annotations

import os
import pickle
import queue
import threading
from multiprocessing.connection import Connection
from multiprocessing.reduction import recv_handle
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from typing import TypeAlias

    from reachrank.context import Context
    from reachrank.running.batches import Batch
    from reachrank.running.beside import Work
    from reachrank.running.kept_work import KeptWork
    from reachrank.write.early import Order

    Heard: TypeAlias = queue.Queue[Any]


def serve(descriptor: int) -> None:
    """Do what is asked for over a connection, until its other side is closed."""
    line = Connection(descriptor)
    heard: Heard = queue.Queue(1)  # who sends more waits
    threading.Thread(target=_listen, args=(line, heard), daemon=True).start()
    # What all pieces need, opened while the run is still reading.
    from reachrank.pipeline import load_batched  # noqa: PLC0415
    from reachrank.running.memory import fewer_collections, give_back  # noqa: PLC0415
    from reachrank.running.workers import program  # noqa: PLC0415

    load_batched()
    line.send(program())
    with fewer_collections():
        ctx, kept = _opened(*heard.get())
        while True:
            word, what = pickle.loads(heard.get())  # noqa: S301  (from the run, see `workers`)
            if word == "make":
                batch, left = what
                line.send(_is_made(batch, left, ctx, kept))
                continue
            give_back()  # batches, and what is done once, leave much behind
            line.send(_is_written(what, heard, ctx) if word == "write" else _done(what, ctx))
            del what
            give_back()


def _listen(line: Connection, heard: Heard) -> None:
    """Hear of the run, then of one thing to do after the other; end the process at last.

    What is heard is opened elsewhere: two threads that load the same modules may meet half of one.
    """
    try:
        told = line.recv_bytes()
        heard.put((told, recv_handle(line)))
        while True:
            heard.put(line.recv_bytes())
    except (EOFError, OSError):
        pass  # nobody is left to ask
    finally:
        os._exit(0)


def _opened(told: bytes, descriptor: int) -> tuple[Context, KeptWork]:
    """Return the context of the run with its elevations in reach, and where it keeps its work."""
    from reachrank.running.kept_work import KeptWork  # noqa: PLC0415

    ctx, folder = pickle.loads(told)  # noqa: S301
    ctx.dem.take_up(descriptor)
    ctx.kept = KeptWork(Path(folder), ctx)
    return ctx, ctx.kept


def _is_made(batch: Batch, left: dict[str, dict[str, str]], ctx: Context, kept: KeptWork) -> bool:
    """Make a batch and keep it; False where that cannot be done here, for whatever reason.

    The run then makes it itself, and tells of what went wrong, if it does so there too.
    """
    from reachrank.running.batches import make  # noqa: PLC0415
    from reachrank.running.kept_work import make_and_keep  # noqa: PLC0415

    for layer, piece_of in left.items():
        for stream, piece in piece_of.items():
            kept.rows_of(layer).add(piece, (stream,))
    try:
        make_and_keep(batch.piece, ctx, lambda own: make(batch, own))
    except Exception:
        return False
    return kept.has(batch.piece)


def _is_written(order: Order, heard: Heard, ctx: Context) -> bool:
    """Write the layers whose rows are heard until the end; False where that fails."""
    from reachrank.write.early import write_early  # noqa: PLC0415

    parts = iter(lambda: pickle.loads(heard.get()), None)  # noqa: S301
    try:
        write_early(order, parts, ctx)
    except Exception:
        for _ in parts:  # the other side sends all in any case
            pass
        return False
    return True


def _done(work: Work, ctx: Context) -> tuple[Any, list[dict[str, object]]] | None:
    """Do something and return what came of it with its findings; None where that fails."""
    from reachrank.running.beside import done_with  # noqa: PLC0415

    try:
        return done_with(work, ctx)
    except Exception:
        return None
