"""A run that is killed, or meets a full, locked or read-only disk: the old file, or the new one."""

from __future__ import annotations

import importlib.util
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from robust.judge import run, wrong_numbers

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and limits of POSIX")

LIMITED = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]),) * 2)
from reachrank.__main__ import main
sys.exit(main(sys.argv[2:]))
"""
LOCKING = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], isolation_level=None)
db.execute(sys.argv[2])
print("locked", flush=True)
sys.stdin.readline()
"""


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def crash():
    path = Path(__file__).parents[2] / "benchmarks" / "crash.py"
    spec = importlib.util.spec_from_file_location("crash", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_few_kills(tmp_path):
    """Two of the hundred of `benchmarks/crash.py`, one of them while the file is written."""
    counts, faults = crash().kill_often(2, 2, tmp_path)
    assert faults == []
    assert sum(n for what, n in counts.items() if what.startswith("killed")) >= 1


def test_a_killed_reader_leaves_no_elevations_on_disk(tmp_path):
    assert crash().kill_reader(tmp_path) == []


@pytest.mark.parametrize("size", [300_000])
def test_a_disk_that_takes_no_more(sound, tmp_path, size):
    """A file that may not grow is what a full disk is to the writer."""
    out = tmp_path / "out.gpkg"
    out.write_bytes(b"old")
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(size), *sound.argv(out)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 3, done.stderr
    assert "could not be written" in done.stderr
    assert "mistake" not in done.stderr
    assert names(tmp_path) == ["out.gpkg"]
    assert out.read_bytes() == b"old"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="mounting needs root")
@pytest.mark.parametrize("options", ["size=120k", "size=400k", "ro"])
def test_a_full_and_a_read_only_disk(sound, tmp_path, options):
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(disk)], check=False,
        capture_output=True,
    )  # fmt: skip
    if mounted.returncode:
        pytest.skip("no file system can be mounted here")
    try:
        out = disk / "out.gpkg"
        if options != "ro":
            out.write_bytes(b"old")
        code, _, err = run(sound.argv(out))
        assert code == 3
        assert "cannot be written to" in err or "could not be written" in err
        assert names(disk) == ([] if options == "ro" else ["out.gpkg"])
        if options != "ro":
            assert out.read_bytes() == b"old"
    finally:
        subprocess.run(["umount", str(disk)], check=True)


@pytest.mark.parametrize("order", ["BEGIN EXCLUSIVE", "BEGIN IMMEDIATE"])
def test_a_target_that_another_program_has_locked(sound, expected, tmp_path, order):
    out = tmp_path / "out.gpkg"
    out.write_bytes(expected.read_bytes())
    holder = subprocess.Popen(
        [sys.executable, "-c", LOCKING, str(out), order],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert holder.stdout.readline() == "locked\n"
        code, _, err = run(sound.argv(out))
    finally:
        holder.communicate("go on\n")
    assert code == 3
    assert "out.new.gpkg" in err
    assert out.read_bytes() == expected.read_bytes()
    assert wrong_numbers(tmp_path / "out.new.gpkg") == []
    assert names(tmp_path) == ["out.gpkg", "out.new.gpkg"]


def test_a_target_that_another_program_only_reads_is_replaced_under_it(sound, tmp_path):
    out = tmp_path / "out.gpkg"
    with sqlite3.connect(out) as db:
        db.execute("CREATE TABLE t (x)")
        db.commit()
        reader = sqlite3.connect(out)
        assert reader.execute("SELECT count(*) FROM t").fetchone() == (0,)
        assert run(sound.argv(out))[0] == 0
        assert wrong_numbers(out) == []
        reader.close()
    db.close()
