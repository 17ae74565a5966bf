"""Ctrl-C: the program ends within about a second with exit code 130, and nothing is lost."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from robust.stopping import held_at, stop

from reachrank.interrupt import held_back
from reachrank.surface import cell_at
from reachrank.write.arrow import ROWS, parts_of
from reachrank.write.geopackage import write_layer

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

BUSY = """
import hashlib, sys
from reachrank.interrupt import ending_soon
print("busy", flush=True)
with ending_soon(lambda: "Stopped at once."):
    hashlib.pbkdf2_hmac("sha256", b"a", b"b", 500_000_000)  # minutes in one call to a library
"""
LOADING = """
import os, signal, time
import numba.core.codegen as codegen
import numpy as np
from reachrank.interrupt import ending_soon
load = codegen.CPUCodeLibrary._object_getbuffer_hook.__func__
came = []

def load_and_stop(cls, module):
    if not came:
        came.append(1)
        os.kill(os.getpid(), signal.SIGINT)
    return load(cls, module)

codegen.CPUCodeLibrary._object_getbuffer_hook = classmethod(load_and_stop)
from reachrank.surface import cell_at  # its kernels are loaded by way of that
with ending_soon(lambda: "Ended late."):
    try:
        z = cell_at(np.full((1, 64, 64), 7.0, np.float32), np.zeros((1, 1), np.int32), 3, 4)
        print(len(came), z, flush=True)
        time.sleep(60)
    except KeyboardInterrupt:
        print("told")
print(signal.getsignal(signal.SIGINT) is signal.default_int_handler)
"""
SOON_S = 4.0
"""A second by design, see GRACE_S; the rest is for a machine that has other things to do."""


@pytest.mark.parametrize("when", ["channel", "write"])
def test_ctrl_c_at_any_stage(sound, tmp_path, when):
    out = tmp_path / "out.gpkg"
    out.write_bytes(b"old")
    run = held_at(when, sound.argv(out, "--jobs", "2"))
    begun = time.monotonic()
    said = stop(run)
    assert time.monotonic() - begun < SOON_S
    assert said.startswith("Stopped.")
    assert [path.name for path in tmp_path.iterdir()] == ["out.gpkg"]
    if "Nothing was written" in said:
        assert out.read_bytes() == b"old"


def test_ctrl_c_while_a_library_is_busy():
    run = subprocess.Popen(
        [sys.executable, "-c", BUSY], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert run.stdout.readline() == "busy\n"
    time.sleep(0.3)
    begun = time.monotonic()
    run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=60)
    assert time.monotonic() - begun < SOON_S
    assert run.returncode == 130
    assert said.strip() == "Stopped at once."


def test_ctrl_c_while_a_kernel_is_loaded():
    """What is left half loaded would bring the process down when it is called."""
    cell_at(np.ones((1, 64, 64), np.float32), np.zeros((1, 1), np.int32), 3, 4)  # compiled, kept
    begun = time.monotonic()
    run = subprocess.run(
        [sys.executable, "-c", LOADING], capture_output=True, text=True, check=True
    )
    assert run.stdout.split() == ["1", "7.0", "told", "True"]
    assert run.stderr == ""
    assert time.monotonic() - begun < 30.0  # of them sixty would be slept


@pytest.mark.parametrize("when", ["first rows", "last rows"])
def test_ctrl_c_while_a_library_calls_back(tmp_path, when):
    """A layer is not cut short: the interruption comes when it has been written, whole."""
    count = 3 * ROWS
    points = gpd.points_from_xy(range(count), [0.0] * count)
    table = gpd.GeoDataFrame({"text": ["a"] * count}, geometry=points, crs=32616)
    calls = []

    def finish(rows):
        calls.append(len(rows))
        if len(calls) == {"first rows": 2, "last rows": 4}[when]:
            os.kill(os.getpid(), signal.SIGINT)
        return rows

    with pytest.raises(KeyboardInterrupt):
        write_layer(tmp_path / "a.gpkg", "findings", parts_of(table), finish)
    assert calls == [0, ROWS, ROWS, ROWS]
    assert pyogrio.read_info(tmp_path / "a.gpkg")["features"] == count
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_ctrl_c_held_back_in_a_thread_is_left_to_the_main_one():
    with ThreadPoolExecutor(1) as pool, held_back():
        minds = signal.getsignal(signal.SIGINT)
        pool.submit(lambda: held_back().__enter__()).result()
        assert signal.getsignal(signal.SIGINT) is minds
