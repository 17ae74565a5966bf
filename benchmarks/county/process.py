"""Run a program to its end and say what it took: wall time, processor time, memory, stages."""

from __future__ import annotations

import json
import os
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

_EVERY_S = 0.1
_KINDS = ("RssAnon", "RssFile", "RssShmem")


@dataclass(frozen=True)
class Took:
    """What one run took.

    Peak memory is of the process and its children together, sampled ten times a second:
    ``peak_mb`` all that is resident, ``peak_own_mb`` without pages of mapped files, which the
    system can drop. ``stages`` has seconds by progress message.
    """

    wall_s: float
    user_s: float
    system_s: float
    peak_mb: float
    peak_own_mb: float
    stages: Mapping[str, float]
    output: str


def run(command: Sequence[str], more_env: Mapping[str, str] | None = None) -> Took:
    """Run a command; its stderr is read as progress in JSON lines.

    Raises
    ------
    RuntimeError
        If it fails, with what it said.
    """
    start = time.perf_counter()
    process = subprocess.Popen(
        list(command), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, **(more_env or {})},
    )  # fmt: skip
    heard: list[tuple[float, str]] = []
    said: list[str] = []
    peaks = [0.0, 0.0]

    def listen() -> None:
        for line in process.stderr or ():
            try:
                heard.append((time.perf_counter() - start, json.loads(line)["message"]))
            except (ValueError, KeyError, TypeError):
                said.append(line)

    stop = threading.Event()
    threads = [
        threading.Thread(target=listen),
        threading.Thread(target=_watch, args=(process.pid, peaks, stop)),
    ]
    for thread in threads:
        thread.start()
    output = process.stdout.read() if process.stdout else ""
    _, status, usage = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - start
    stop.set()
    for thread in threads:
        thread.join()
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)}\n{output}{''.join(said)}")
    return Took(
        wall_s, usage.ru_utime, usage.ru_stime, max(peaks[0], usage.ru_maxrss / 1024.0), peaks[1],
        _stages(heard, wall_s), output,
    )  # fmt: skip


def _watch(pid: int, peaks: list[float], stop: threading.Event) -> None:
    while not stop.wait(_EVERY_S):
        anonymous, mapped, shared = _memory_mb(pid)
        peaks[0] = max(peaks[0], anonymous + mapped + shared)
        peaks[1] = max(peaks[1], anonymous + shared)


def _memory_mb(pid: int) -> list[float]:
    """Return resident MB of a process and its children: own, mapped from files, shared."""
    total = [0.0, 0.0, 0.0]
    waiting = [pid]
    while waiting:
        at = Path(f"/proc/{waiting.pop()}")
        try:
            for line in (at / "status").read_text().splitlines():
                name, _, value = line.partition(":")
                if name in _KINDS:
                    total[_KINDS.index(name)] += float(value.split()[0]) / 1024.0
            for task in (at / "task").iterdir():
                waiting += [int(child) for child in (task / "children").read_text().split()]
        except (OSError, ValueError):
            continue
    return total


def _stages(heard: list[tuple[float, str]], wall_s: float) -> dict[str, float]:
    """Return seconds by message: from a message to the next one. What is before is start-up."""
    stages: dict[str, float] = {}
    marks = [(0.0, "start"), *heard, (wall_s, "")]
    for (since, message), (until, _) in pairwise(marks):
        stages[message] = stages.get(message, 0.0) + until - since
    return stages
