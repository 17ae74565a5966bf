"""The sound scenario, made once, and what it ranks to."""

from __future__ import annotations

from pathlib import Path

import pytest
from robust.judge import rank_sound
from robust.scenario import Scenario, make


@pytest.fixture(scope="session")
def sound(tmp_path_factory) -> Scenario:
    return make(tmp_path_factory.mktemp("sound"))


@pytest.fixture(scope="session")
def expected(sound, tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("expected") / "ranked.gpkg"
    rank_sound(sound, out)
    return out
