"""A short made stream on disk as a user would have it, and the invented county, ranked once."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import pytest

from reachrank.__main__ import main
from reachrank.synthetic import CORRIDORS, make_corridor


@pytest.fixture(scope="session")
def corridor_folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("corridor")
    make_corridor(CORRIDORS["obstacles_w5"], seed=1).write(folder)
    return folder


@pytest.fixture(scope="session")
def corridor_feet_folder(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("corridor_feet")
    make_corridor(CORRIDORS["obstacles_w5"], seed=1).write(folder, us_feet=True)
    return folder


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> tuple[Path, str]:
    """Rank the county in sample_data; return the ranked file and what the command said."""
    county = Path(__file__).resolve().parents[2] / "sample_data"
    home = tmp_path_factory.mktemp("demo")
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        assert main(["demo", str(home), "--county", str(county), "--progress", "none"]) == 0
    return home / "ranked.gpkg", said.getvalue()
