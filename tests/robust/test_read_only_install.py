"""A package that is installed for all and run by a service without a home folder."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from reachrank import kernel_cache

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="rights of POSIX")

KERNEL = """
import os, pathlib, sys
import reachrank.kernel_cache as cache
cache._can_write = lambda folder: False
cache.ensure_cache()
os.environ["SEEN"] = os.environ["NUMBA_CACHE_DIR"]
import numba
print(numba.config.CACHE_DIR)
"""


def test_kernels_go_to_a_folder_of_ones_own(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", KERNEL], capture_output=True, text=True, check=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    folder = tmp_path / f"reachrank-kernels-{os.getuid()}"
    assert done.stdout.strip() == str(folder)
    assert folder.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("trap", ["open to all", "a link"])
def test_a_folder_that_others_could_have_filled_is_not_used(tmp_path, monkeypatch, trap):
    """What lies in the folder is run; one planted in the common temporary folder must not be."""
    monkeypatch.setattr(kernel_cache.tempfile, "gettempdir", lambda: str(tmp_path))
    monkeypatch.setattr(kernel_cache.tempfile, "tempdir", str(tmp_path))
    planted = tmp_path / f"reachrank-kernels-{os.getuid()}"
    if trap == "a link":
        (tmp_path / "elsewhere").mkdir(mode=0o700)
        planted.symlink_to(tmp_path / "elsewhere")
    else:
        planted.mkdir()
        planted.chmod(0o777)
    used = kernel_cache._private_folder()
    assert used != str(planted)
    assert os.stat(used).st_mode & 0o077 == 0


def test_an_ordinary_install_is_left_alone(monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    kernel_cache.ensure_cache()
    assert "NUMBA_CACHE_DIR" not in os.environ
