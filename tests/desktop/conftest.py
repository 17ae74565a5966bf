"""A QGIS to open files in: the system's own, run by the system's Python."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from reachrank.__main__ import main
from reachrank.synthetic import CORRIDORS, make_corridor

SYSTEM_PYTHON = "/usr/bin/python3"
OPEN = Path(__file__).with_name("open_in_qgis.py")
_DROPPED = ("PYTHON", "VIRTUAL_ENV", "LD_", "QT_", "GDAL_", "PROJ_", "CPL_", "OGR_", "QGIS_")
"""Beginnings of names that would mix our libraries with the system's."""


def clean_environment(home: Path) -> dict[str, str]:
    """Return an environment of its own for QGIS: no settings of this user, no display."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(_DROPPED)}
    run = home / "run"
    run.mkdir(mode=0o700, exist_ok=True)
    return {
        **kept,
        "HOME": str(home),
        "XDG_RUNTIME_DIR": str(run),
        "QT_QPA_PLATFORM": "offscreen",
        "PYTHONNOUSERSITE": "1",
    }


@pytest.fixture(scope="session")
def open_in_qgis(tmp_path_factory) -> Callable[[Path, Path], dict[str, Any]]:
    """Give a function that opens a file in QGIS, draws it, and returns what a user sees."""
    environment = clean_environment(tmp_path_factory.mktemp("qgis_home"))
    there = Path(SYSTEM_PYTHON).exists() and (
        subprocess.run(
            [SYSTEM_PYTHON, "-c", "import qgis.core"], capture_output=True, env=environment,
            check=False,
        ).returncode == 0
    )  # fmt: skip
    if not there:
        text = "QGIS is not installed: scripts/install_viewers.sh"
        if os.environ.get("CI"):
            pytest.fail(text)
        pytest.skip(text)

    def look(path: Path, picture: Path) -> dict[str, Any]:
        done = subprocess.run(
            [SYSTEM_PYTHON, str(OPEN), str(path), str(picture)],
            capture_output=True, text=True, env=environment, timeout=120, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert "partially supported" not in done.stderr
        seen: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
        return seen

    return look


@pytest.fixture(scope="session")
def ranked_stream(tmp_path_factory) -> Callable[[str], Path]:
    """Give a function that ranks a made stream with structures, in metric or U.S. units."""
    folder = tmp_path_factory.mktemp("stream")
    make_corridor(CORRIDORS["obstacles_w5"], seed=1).write(folder)

    @cache
    def ranked(units: str) -> Path:
        out = folder / f"ranked_{units}.gpkg"
        given = ["rank", str(folder / "streams.gpkg"), str(folder / "dem.tif")]
        given += ["--structures", str(folder / "structures.gpkg"), "--units", units]
        assert main([*given, "--out", str(out), "--progress", "none"]) == 0
        return out

    return ranked
