"""What is installed is what is in the tree: no table of coefficients left behind."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.skipif(not os.environ.get("CI"), reason="builds a wheel, which needs the network")
def test_the_wheel_holds_every_file_of_the_package(tmp_path):
    copy = tmp_path / "project"
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    wanted = {name for name in tracked if name.startswith("reachrank/")}
    for name in [*wanted, "pyproject.toml", "README.md", "LICENSE"]:
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        (copy / name).write_bytes((ROOT / name).read_bytes())
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", tmp_path, copy],
        check=True,
    )
    (wheel,) = tmp_path.glob("reachrank-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        assert wanted <= set(archive.namelist())
