"""Spoil inputs by the thousand; each must end in an answer, a finding or a clear error.

Run it with ``python benchmarks/fuzz.py [--cases 5000] [--first 0] [--jobs 2]``. Every case is made
from its number alone, so that ``--first N --cases 1`` makes it again. Workers run the command in
their own process; one that dies (a crash in a library), takes longer than 60 s or more memory than
3 GB is a fault and is replaced.

Faults: an exit code other than 0, 2, 3, 4; a traceback; a hang; a file left behind; numbers that
cannot be right; control signs on the terminal; another answer where nothing that matters differs.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import sys
import tempfile
import time
import traceback
from collections import Counter
from multiprocessing.connection import Connection, wait
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

LIMIT_S = 60.0
LIMIT_BYTES = 3_000_000_000
MAKING = "making the case"


def work(pipe: Connection, home: str) -> None:
    """Run the cases whose numbers come through the pipe."""
    # The folder of tests is put in reach above.
    from robust.cases import deal  # noqa: PLC0415
    from robust.judge import faults, rank_sound, scratch_folder  # noqa: PLC0415
    from robust.scenario import make  # noqa: PLC0415

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # what C libraries print themselves
    sound = make(Path(home))
    expected = Path(home) / "expected.gpkg"
    rank_sound(sound, expected)  # compiles the kernels, outside of the time limit
    pipe.send(("ready", "", [], 0))
    while True:
        number = pipe.recv()
        with scratch_folder() as folder:
            before = peak_bytes()
            try:
                case = deal(number, sound, Path(folder))
            except Exception:
                pipe.send(("done", "no such case", [traceback.format_exc()[-800:]], -2))
                continue
            pipe.send(("kind", case.kind, [], 0))
            try:
                code, found = faults(
                    case.argv, case.out, sound=expected if case.same else None,
                    is_ranking=case.is_ranking,
                )  # fmt: skip
            except Exception:
                code, found = -1, [f"the judge failed: {traceback.format_exc()[-1500:]}"]
            if peak_bytes() > max(LIMIT_BYTES, before):
                found.append(f"took {peak_bytes() / 1e9:.1f} GB")
        pipe.send(("done", case.kind, found, code))


def peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


class Worker:
    """A process that runs cases, and what it is at."""

    def __init__(self, home: Path) -> None:
        self.home = home
        home.mkdir(parents=True, exist_ok=True)
        fresh = tempfile.mkdtemp(dir=home)  # what a worker that died left may not be written over
        self.pipe, theirs = multiprocessing.Pipe()
        self.process = multiprocessing.get_context("spawn").Process(
            target=work, args=(theirs, fresh), daemon=True
        )
        self.process.start()
        theirs.close()
        self.number, self.kind, self.since_s, self.is_ready = -1, "", time.monotonic(), False

    def give(self, number: int) -> None:
        """Hand over the number of a case."""
        self.number, self.kind, self.since_s = number, MAKING, time.monotonic()
        self.pipe.send(number)

    def end(self) -> None:
        """End the process."""
        self.process.kill()
        self.process.join()
        self.pipe.close()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--home", type=Path, default=None, help="where the sound files go")
    chosen = parser.parse_args()
    home = chosen.home or Path(tempfile.mkdtemp(prefix="reachrank-fuzz-home-"))
    numbers = iter(range(chosen.first, chosen.first + chosen.cases))
    workers = [Worker(home / str(k)) for k in range(chosen.jobs)]
    codes: Counter[int | str] = Counter()
    kinds: Counter[str] = Counter()
    bad: list[tuple[int, str, list[str]]] = []
    slowest = (0.0, -1, "")
    start_s = time.monotonic()

    def tell(worker: Worker, found: list[str], code: int | str) -> None:
        nonlocal slowest
        took_s = time.monotonic() - worker.since_s
        slowest = max(slowest, (took_s, worker.number, worker.kind))
        codes[code] += 1
        kinds[" ".join(worker.kind.split()[:2])] += 1
        if found:
            bad.append((worker.number, worker.kind, found))
            print(f"--- case {worker.number}: {worker.kind}", *found, sep="\n    ", flush=True)

    idle = 0
    while workers and idle < len(workers):
        ready = wait([worker.pipe for worker in workers], timeout=1.0)
        for k, worker in enumerate(workers):
            try:
                if worker.pipe in ready:
                    what, kind, found, code = worker.pipe.recv()
                    worker.kind = kind or worker.kind
                    if what == "done":
                        tell(worker, found, code)
                    if what in ("done", "ready"):
                        worker.is_ready = True
                        number = next(numbers, None)
                        worker.number = -1
                        if number is None:
                            idle += 1
                        else:
                            worker.give(number)
                    continue
                late = worker.number >= 0 and time.monotonic() - worker.since_s > LIMIT_S
                if not late:
                    continue
                tell(worker, [f"not done after {LIMIT_S:.0f} s"], "hang")
            except (EOFError, ConnectionError, OSError):
                worker.process.join()
                if not worker.is_ready:
                    print(f"A worker could not start (exit {worker.process.exitcode}).")
                    return 1
                if worker.kind == MAKING:
                    print(f"--- case {worker.number} could not be made: the maker died", flush=True)
                    codes["not made"] += 1
                else:
                    tell(worker, [f"the process died ({worker.process.exitcode})"], "crash")
            worker.end()
            workers[k] = Worker(worker.home)
    for worker in workers:
        worker.end()
    took_s = time.monotonic() - start_s
    total = sum(codes.values()) - codes["not made"]
    print(f"\n{total} cases in {took_s:.0f} s; {len(bad)} with faults")
    print("ended with: " + ", ".join(f"{code}: {n}" for code, n in sorted(codes.items(), key=str)))
    print(f"slowest {slowest[0]:.1f} s (case {slowest[1]}, {slowest[2]})")
    for kind, count in sorted(kinds.items()):
        print(f"  {count:5d}  {kind}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
