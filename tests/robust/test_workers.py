"""Processes that work beside a long run change nothing in it, however they end."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from operator import methodcaller
from pathlib import Path

import pyogrio
import pytest
from robust.judge import differences, run
from robust.stopping import held_at, stop

from reachrank.running import batches, kept_work, workers
from reachrank.schema import PUBLIC_LAYERS
from reachrank.write import early
from reachrank.write.early import EarlyLayers

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="threads alone on Windows")
ALL_EARLY = tuple(name for names in early.LAYERS.values() for name in names)
READY_S = 60.0


@pytest.fixture
def whole(sound, tmp_path):
    out = tmp_path / "whole.gpkg"
    assert run(sound.argv(out))[0] == 0
    return out


@pytest.fixture
def met(monkeypatch):
    """Keep small inputs' work too, in small batches, and begin when all workers are ready."""
    monkeypatch.setattr(kept_work, "KEEP_FROM_KM", 0.0)
    monkeypatch.setattr(batches.batches_of_streams, "__defaults__", (0.1,))
    begin, all_met = workers.Workers.begin, []

    def begin_together(self, ctx):
        begin(self, ctx)
        all_met.append(self)
        until = time.monotonic() + READY_S
        while not all(worker.is_ready for worker in self._all) and time.monotonic() < until:
            time.sleep(0.05)

    monkeypatch.setattr(workers.Workers, "begin", begin_together)
    return all_met


def same(out, whole):
    assert differences(out, whole) == []
    for name in PUBLIC_LAYERS:
        a, b = (pyogrio.read_dataframe(path, layer=name) for path in (out, whole))
        assert a.equals(b), name
    listed = [pyogrio.list_layers(path).tolist() for path in (out, whole)]
    assert listed[0] == listed[1]


@pytest.fixture
def taken(monkeypatch):
    """Which layers of each run another process has written."""
    move_to, all_taken = EarlyLayers.move_to, []

    def noted(self, path, tables):
        all_taken.append(move_to(self, path, tables))
        return all_taken[-1]

    monkeypatch.setattr(EarlyLayers, "move_to", noted)
    return all_taken


@pytest.mark.parametrize("jobs", [2, 4])
def test_the_same_file_with_workers(sound, tmp_path, whole, met, taken, jobs):
    out = tmp_path / "out.gpkg"
    assert run(sound.argv(out, "--jobs", str(jobs)))[0] == 0
    assert met[0].made > 0
    assert met[0].done == 2  # exposures are measured and ranks drawn beside the stages
    assert taken == [ALL_EARLY]
    same(out, whole)
    assert [path.name for path in tmp_path.iterdir() if path != whole] == ["out.gpkg"]


def test_the_same_file_in_us_units(sound, tmp_path, met, taken):
    whole, out = tmp_path / "whole.gpkg", tmp_path / "out.gpkg"
    assert run(sound.argv(whole, "--units", "us"))[0] == 0
    assert run(sound.argv(out, "--units", "us", "--jobs", "2"))[0] == 0
    assert taken == [(), ALL_EARLY]
    same(out, whole)


@pytest.mark.parametrize("message", ["channel", "sections", "priority"])
def test_a_run_that_goes_on_has_workers_too(sound, tmp_path, whole, met, taken, message):
    """What lies near the streams that are left is read before, so that they have elevations."""
    out = tmp_path / "out.gpkg"
    stop(held_at(message, sound.argv(out), keep=True))
    assert run(sound.argv(out, "--jobs", "2", "--resume"))[0] == 0
    assert (met[-1].made > 0) == (message != "priority")  # all batches were made by then
    assert taken[-1] == ALL_EARLY
    same(out, whole)


@pytest.mark.parametrize("how", ["dies", "fails", "repairs fail", "tables change"])
def test_early_layers_that_do_not_come(sound, tmp_path, whole, met, taken, monkeypatch, how):
    """The run writes them itself."""
    out, write = tmp_path / "out.gpkg", workers.Worker.write

    def write_and_die(self, order, parts):
        if how == "dies":
            os.kill(self.pid, signal.SIGKILL)
        if how == "fails":
            order = (str(tmp_path / "no folder" / "early.gpkg"), *order[1:])
        return write(self, order, parts)

    monkeypatch.setattr(workers.Worker, "write", write_and_die)
    if how == "repairs fail":  # which this process writes; the worker has code of its own
        monkeypatch.setattr(early, "write_early", lambda *_: (tmp_path / "no").rmdir())
    if how == "tables change":
        move_to = EarlyLayers.move_to  # the one that notes
        monkeypatch.setattr(
            EarlyLayers, "move_to",
            lambda self, path, tables: move_to(self, path, {**tables, "sections": None}),
        )  # fmt: skip
    assert run(sound.argv(out, "--jobs", "2"))[0] == 0
    assert taken == [()]
    same(out, whole)


@pytest.mark.parametrize("how", ["dies", "fails", "cannot be sent"])
def test_what_goes_on_beside_and_does_not_come(sound, tmp_path, whole, met, monkeypatch, how):
    """The run does it in a thread."""
    out, do = tmp_path / "out.gpkg", workers.Worker.do

    def do_and_die(self, work):
        if how == "dies":
            os.kill(self.pid, signal.SIGKILL)
        if how == "cannot be sent":
            return do(self, lambda _ctx: None)
        return do(self, work if how == "dies" else methodcaller("no_such_method"))

    monkeypatch.setattr(workers.Worker, "do", do_and_die)
    assert run(sound.argv(out, "--jobs", "2"))[0] == 0
    assert [one.done for one in met] == [0]
    same(out, whole)


def test_whoever_waits_for_a_worker_is_told_that_none_will_come():
    """Also where it is let go, or dies, while somebody waits."""
    all_of_them = workers.Workers()
    assert all_of_them.take() is None
    all_of_them.start(1)
    busy, got = all_of_them._all[0], []
    all_of_them.put_back(busy)
    assert all_of_them.take() is busy
    waiting = threading.Thread(target=lambda: got.append(all_of_them.do(str)), daemon=True)
    waiting.start()
    waiting.join(0.2)
    assert waiting.is_alive()
    all_of_them.close()
    waiting.join(READY_S)
    assert got == [None]
    all_of_them.put_back(busy)  # one that has been let go stays away
    assert all_of_them.take(wait=False) is None


def test_a_worker_that_dies(sound, tmp_path, whole, met, monkeypatch):
    out, make = tmp_path / "out.gpkg", workers.Worker.make

    def make_and_die(self, batch, left):
        done = make(self, batch, left)
        os.kill(self.pid, signal.SIGKILL)
        return done

    monkeypatch.setattr(workers.Worker, "make", make_and_die)
    assert run(sound.argv(out, "--jobs", "3"))[0] == 0
    assert 0 < met[0].made <= 2
    same(out, whole)


def test_a_worker_that_cannot(sound, tmp_path, whole, met, monkeypatch):
    """What a worker has no elevations for, or fails at, the run does itself."""
    from reachrank.read.dem import Dem

    out = tmp_path / "out.gpkg"
    nothing = os.open(tmp_path / "empty", os.O_CREAT | os.O_RDWR)
    monkeypatch.setattr(Dem, "lay_down", lambda self: nothing)
    assert run(sound.argv(out, "--jobs", "3"))[0] == 0
    assert [one.made for one in met] == [0]
    same(out, whole)


def test_another_program_is_not_asked(monkeypatch):
    worker = workers.Worker()
    try:
        monkeypatch.setattr(workers, "program", lambda: ("elsewhere", {}))
        assert worker._line.poll(READY_S)
        with pytest.raises(EOFError):
            _ = worker.is_ready
    finally:
        worker.close()


def children(pid: int) -> set[int]:
    tasks = Path(f"/proc/{pid}/task").iterdir()
    return {int(one) for task in tasks for one in (task / "children").read_text().split()}


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processes are told by /proc")
@pytest.mark.parametrize("how", ["ctrl-c", "kill"])
def test_no_process_is_left(sound, tmp_path, how):
    process = held_at("sections", sound.argv(tmp_path / "out.gpkg", "--jobs", "3"), keep=True)
    own = children(process.pid)
    assert len(own) == 2
    if how == "kill":
        process.kill()
        process.communicate()
    else:
        stop(process)
    until = time.monotonic() + 5.0
    while (left := {one for one in own if Path(f"/proc/{one}").exists()}) and (
        time.monotonic() < until
    ):
        time.sleep(0.05)
    assert not left
