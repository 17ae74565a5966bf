"""A short made stream with houses and a road fill, on disk as a user would have it."""

from __future__ import annotations

from pathlib import Path

import pytest

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
