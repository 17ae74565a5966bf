"""Kill and stop the ranking often; look whether the old file is whole or the new complete.

Run it with ``python benchmarks/crash.py [--kills 100] [--stops 100] [--seed 1]``. A run that
replaces an older result is killed (signal 9, no clean-up) at a random moment, every other time
while the result is being written, and two of four times it is a run that keeps its work and has
other processes beside it, as long ones do. After each kill the target must be the old file, byte
for byte, or a new one with every layer; SQLite must find it sound. At the end a run that is let
through must leave nothing but its result, a killed reader of elevations no scratch file, and no
process may be left. As many runs are stopped by Ctrl-C: each must end soon, and say in one line
that it was stopped or be done. Not for Windows.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing, suppress
from pathlib import Path

import numpy as np

from reachrank.interrupt import STOPPED
from reachrank.schema import PUBLIC_LAYERS

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

SCRATCH = """
import sys, time
import numpy as np
from reachrank.read.blocks import ChunkStore
store = ChunkStore(1_000_000)
for k in range(50):
    store.put((0, 0, k), np.full((512, 512), float(k), np.float32))
print(store.bytes_in_file, flush=True)
time.sleep(60)
"""
LONG = """
import time
from reachrank.running import batches, kept_work, workers
from reachrank.__main__ import run

kept_work.KEEP_FROM_KM = 0.0
batches.batches_of_streams.__defaults__ = (0.1,)
begin = workers.Workers.begin

def begin_together(self, ctx):
    begin(self, ctx)
    while not all(worker.is_ready for worker in self._all):
        time.sleep(0.01)

workers.Workers.begin = begin_together
run()
"""
"""The program, treating a short run as a long one."""


SOON_S = 1.5
"""A stopped run ends within a second by design; the rest is for a machine that is busy."""
STARTED_S = 0.8
"""Before, it is Python that is stopped, not yet the program."""


def start(argv: list[str], scratch: Path, *, is_long: bool = False) -> subprocess.Popen[bytes]:
    program = ["-c", LONG] if is_long else ["-m", "reachrank"]
    return subprocess.Popen(
        [sys.executable, *program, *argv, *(["--jobs", "3"] if is_long else [])],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        env={**os.environ, "TMPDIR": str(scratch)},
    )  # fmt: skip


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def state(target: Path, old: str) -> str:
    """Return ``old``, ``new``, or what is wrong with the target."""
    if not target.exists():
        return "gone"
    if digest(target) == old:
        return "old"
    try:
        with closing(sqlite3.connect(f"file:{target}?mode=ro", uri=True)) as db:
            sound = db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            held = {row[0] for row in db.execute("SELECT table_name FROM gpkg_contents")}
            rows = db.execute("SELECT count(*) FROM run_info").fetchone()[0]
    except sqlite3.Error as error:
        return f"unreadable ({error})"
    return "new" if sound and held >= set(PUBLIC_LAYERS) and rows else "half"


def leavings(folder: Path, target: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path != target)


def kill_once(
    argv: list[str], folder: Path, scratch: Path, wait_s: float, *, in_writing: bool, is_long: bool
) -> str:
    """Start a run, kill it, and say when it was hit."""
    run = start(argv, scratch, is_long=is_long)
    if in_writing:
        until = time.monotonic() + 120
        while run.poll() is None and time.monotonic() < until:
            if any(folder.glob(f".*-{run.pid}-*.part.gpkg")):
                break
            time.sleep(0.002)
        wait_s = wait_s * 0.06  # writing is a small part of a run
    try:
        run.communicate(timeout=wait_s)
    except subprocess.TimeoutExpired:
        run.send_signal(signal.SIGKILL)
        run.communicate()
        return (
            "killed while writing"
            if any(folder.glob(f".*-{run.pid}-*.part*"))
            else "killed elsewhere"
        )
    return "was done"


def scene(home: Path) -> tuple[list[str], Path, Path]:
    """Make inputs; return the arguments of a run, its target, and its folder for scratch files."""
    from robust.scenario import make  # noqa: PLC0415  (the folder of tests is put in reach above)

    target, scratch = home / "out" / "ranked.gpkg", home / "scratch"
    sound = make(home / "inputs")
    target.parent.mkdir()
    scratch.mkdir()
    return sound.argv(target), target, scratch


def kill_often(kills: int, seed: int, home: Path) -> tuple[Counter[str], list[str]]:
    """Return how the kills ended, and every fault."""
    argv, target, scratch = scene(home / "killed")
    folder, took_s = target.parent, took_with_each(argv, scratch)
    rng = np.random.default_rng(seed)
    counts: Counter[str] = Counter()
    faults = []
    for number in range(kills):
        target.write_bytes(target.read_bytes() + b"\0" * 512)  # so that old and new differ
        old = digest(target)
        is_long = number % 4 >= 2
        wait_s = float(rng.uniform(0.0, 1.1 * took_s[is_long]))
        how = kill_once(argv, folder, scratch, wait_s, in_writing=number % 2 == 1, is_long=is_long)
        found = state(target, old)
        counts[f"{'long run ' if is_long else ''}{how}: {found} file"] += 1
        if found not in ("old", "new"):
            faults.append(f"kill {number}, {how}: the target is {found}")
    counts["leavings after the kills"] = len(leavings(folder, target))
    last = start(argv, scratch)
    last.communicate()
    if last.returncode:
        faults.append("a run after the kills failed")
    if left := leavings(folder, target):
        faults.append(f"a run after the kills left {left}")
    faults += [f"scratch: {path.name}" for path in scratch.iterdir()]
    time.sleep(1.0)
    faults += [f"process {pid} is left" for pid in processes_with(scratch)]
    return counts, faults


def stop_once(argv: list[str], scratch: Path, wait_s: float, *, is_long: bool) -> tuple[str, float]:
    """Start a run, stop it by Ctrl-C; return how it ended, and how many seconds later."""
    run = start(argv, scratch, is_long=is_long)
    try:
        run.communicate(timeout=wait_s)
    except subprocess.TimeoutExpired:
        begun = time.monotonic()
        run.send_signal(signal.SIGINT)
        said = run.communicate()[1].decode().strip().splitlines()
        took_s = time.monotonic() - begun
        if run.returncode == STOPPED and said and said[-1].startswith("Stopped."):
            return "stopped", took_s
        return f"ended with {run.returncode}, {said[-1:]}" if run.returncode else "done", took_s
    return "done", 0.0


def stop_often(stops: int, seed: int, home: Path) -> tuple[Counter[str], list[str]]:
    """Return how the stops ended, and every fault."""
    argv, target, scratch = scene(home / "stopped")
    took_s = took_with_each(argv, scratch)
    rng = np.random.default_rng(seed)
    counts: Counter[str] = Counter()
    faults, latest_s = [], 0.0
    for number in range(stops):
        target.write_bytes(target.read_bytes() + b"\0" * 512)  # so that old and new differ
        old = digest(target)
        is_long = number % 2 == 1
        first_s = 0.7 * took_s[is_long] if number % 4 >= 2 else STARTED_S  # more of them at the end
        wait_s = float(rng.uniform(first_s, 1.05 * took_s[is_long]))
        how, late_s = stop_once(argv, scratch, wait_s, is_long=is_long)
        found = state(target, old)
        counts[f"{'long run ' if is_long else ''}{how}: {found} file"] += 1
        if (how, found) not in (("stopped", "old"), ("stopped", "new"), ("done", "new")):
            faults.append(f"stop {number} after {wait_s:.2f} s: {how}, the target is {found}")
        if late_s > SOON_S:
            faults.append(f"stop {number} after {wait_s:.2f} s: {late_s:.1f} s later")
        latest_s = max(latest_s, late_s)
    counts[f"ended {latest_s:.2f} s after Ctrl-C at the latest"] = stops
    return counts, faults


def took_with_each(argv: list[str], scratch: Path) -> dict[bool, float]:
    """Return the seconds that a run takes, by whether it is treated as a long one."""
    took_s = {}
    for is_long in (False, True):
        begun = time.monotonic()
        run = start(argv, scratch, is_long=is_long)
        run.communicate()
        assert run.returncode == 0
        took_s[is_long] = time.monotonic() - begun
    return took_s


def processes_with(scratch: Path) -> list[str]:
    """Return the processes that were given a scratch folder; none where the system does not say."""
    found = []
    for environment in Path("/proc").glob("[0-9]*/environ"):
        with suppress(OSError):
            if f"TMPDIR={scratch}\0".encode() in environment.read_bytes() + b"\0":
                found.append(environment.parent.name)
    return found


def kill_reader(home: Path) -> list[str]:
    """Kill a process that keeps elevations in a scratch file; nothing of it may stay."""
    scratch = home / "elevations"
    scratch.mkdir()
    run = subprocess.Popen(
        [sys.executable, "-c", SCRATCH], stdout=subprocess.PIPE,
        env={**os.environ, "TMPDIR": str(scratch)},
    )  # fmt: skip
    assert run.stdout is not None
    size = int(run.stdout.readline())
    run.send_signal(signal.SIGKILL)
    run.wait()
    run.stdout.close()
    return [f"of {size} bytes in scratch {p.name} stayed" for p in scratch.iterdir()]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--stops", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="reachrank-crash-") as name:
        begun = time.monotonic()
        counts, faults = kill_often(chosen.kills, chosen.seed, Path(name))
        faults += kill_reader(Path(name))
        print(f"{chosen.kills} kills in {time.monotonic() - begun:.0f} s")
        begun = time.monotonic()
        of_stops, more = stop_often(chosen.stops, chosen.seed, Path(name))
        print(f"{chosen.stops} stops in {time.monotonic() - begun:.0f} s")
    faults += more
    for what, count in [*sorted(counts.items()), *sorted(of_stops.items())]:
        print(f"  {count:4d}  {what}")
    for fault in faults:
        print(f"FAULT: {fault}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
