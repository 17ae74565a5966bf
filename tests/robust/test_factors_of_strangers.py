"""A scoring factor from another package that fails is told and left out; nothing of it stays."""

from __future__ import annotations

import sys

import pyogrio
import pytest
from robust.judge import differences, faults

MODULE = """
import sys

import numpy as np

from reachrank.hazard import Factor


def made(name, compute, **more):
    return Factor(
        name=name, needs=("bank_height_m",), gives="nothing", unit="m", compute=compute,
        reference="none", knots=((0.0, 0.0), (5.0, 1.0)), weight=0.5, **more,
    )


def raises(frame):
    raise RuntimeError("no \\x1b[31m [bold] luck")


def spoils(frame):
    frame.bank_height_m[:] = 99.0
    return np.ones(frame.shape)


def spoils_by_force(frame):
    frame.bank_height_m.flags.writeable = True
    frame.bank_height_m[:] = 99.0
    raise RuntimeError("after that")


def ends(frame):
    sys.exit(0)


def copy(frame):
    return frame.bank_height_m.copy()


def fails_late(frame):
    raise KeyError("error")


RAISES = made("raises", raises)
SPOILS = made("spoils", spoils)
FORCE = made("force", spoils_by_force)
ENDS = made("ends", ends)
LATE = made("late", copy, error=fails_late)
BELOW = made("below", copy, error=lambda frame: -np.ones(frame.shape))
SHAPE = made("shape", lambda frame: np.ones(3))
WORDS = made("words", lambda frame: "abc")
COMPLEX = made("complex", lambda frame: frame.bank_height_m * 1j)
NUMBER = 5
"""


@pytest.fixture
def stranger(tmp_path, monkeypatch):
    """Offer one object of the module as an installed package would."""

    def offer(name):
        home = tmp_path / "site" / name
        info = home / f"stranger_{name}-1.dist-info"
        info.mkdir(parents=True)
        (info / "METADATA").write_text(
            f"Metadata-Version: 2.1\nName: stranger-{name}\nVersion: 1\n"
        )
        (info / "entry_points.txt").write_text(
            f"[reachrank.factors]\n{name.lower()} = strange_{name}:{name}\n"
        )
        (home / f"strange_{name}.py").write_text(MODULE)
        monkeypatch.syspath_prepend(str(home))

    yield offer
    for name in [n for n in sys.modules if n.startswith("strange_")]:
        del sys.modules[name]


@pytest.mark.parametrize(
    "name",
    ["RAISES", "SPOILS", "FORCE", "ENDS", "LATE", "BELOW", "SHAPE", "WORDS", "COMPLEX", "NUMBER",
     "NOT_THERE"],
)  # fmt: skip
def test_a_factor_that_fails_changes_no_score(sound, expected, stranger, tmp_path, name):
    stranger(name)
    out = tmp_path / "out.gpkg"
    code, found = faults(sound.argv(out), out)
    assert (code, found) == (0, [])
    told = pyogrio.read_dataframe(out, layer="findings")
    told = told[told["code"] == "factor_left_out"]
    assert len(told) == 1
    assert name.lower() in told["text"].iloc[0]
    changed = {text.partition(" ")[0] for text in differences(out, expected)}
    assert {name.rpartition(".")[2] for name in changed} <= {
        "confidence_frac", "hazard_confidence_frac",  # less of what was asked for is known
    }  # fmt: skip
