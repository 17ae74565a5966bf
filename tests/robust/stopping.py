"""Stop the program by Ctrl-C at a stage that is surely still running."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Sequence

HELD = """
import sys, time
from reachrank.running import batches, kept_work
from reachrank.__main__ import main
from reachrank.commands import progress_display
stage, every_piece = sys.argv[1], sys.argv[2] == "keep"
if every_piece:
    kept_work.KEEP_FROM_KM, batches.BATCH_KM = 0.0, 0.1
    batches.batches_of_streams.__defaults__ = (0.1,)
said = progress_display._json_lines

def said_and_held():
    tell = said()
    def hook(fraction, message):
        tell(fraction, message)
        if message.startswith(stage):
            time.sleep(60)  # a small input would be done before the signal comes
    return hook

progress_display._json_lines = said_and_held
del sys.argv[1:3]
sys.exit(main())
"""
"""The program, held where it names a stage; with "keep" it keeps small inputs' work too."""


def held_at(stage: str, argv: Sequence[str], *, keep: bool = False) -> subprocess.Popen[str]:
    """Start the program and wait until it names a stage, where it is held until it is stopped."""
    words = [word if word != "none" else "jsonl" for word in argv]
    process = subprocess.Popen(
        [sys.executable, "-c", HELD, stage, "keep" if keep else "-", *words],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stderr is not None
    for line in process.stderr:
        if f'"message": "{stage}' in line:
            return process
    raise AssertionError(f"The program ended before it named {stage!r}.")


def stop(process: subprocess.Popen[str]) -> str:
    """Stop a program by Ctrl-C; return the last line it says."""
    process.send_signal(signal.SIGINT)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == 130, said
    return said.strip().splitlines()[-1]
