"""Seventy spoiled inputs of the thousands that `benchmarks/fuzz.py` tries; none may surprise.

Whatever is wrong with an input, a run ends with an answer whose numbers can be right, or with one
sentence and exit code 2, 3 or 4. The cases are made from their numbers, the same on every machine.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pyogrio
import pytest
from robust.cases import KINDS, deal
from robust.judge import faults, run, wrong_numbers

TEN = 10


def test_the_sound_scenario_is_sound(expected):
    assert wrong_numbers(expected) == []


ONCE_FAULTY = [944905]
"""Cases that surprised once and shall not again."""


@pytest.mark.parametrize(
    "numbers", [*(range(ten * TEN, ten * TEN + TEN) for ten in range(7)), ONCE_FAULTY]
)
def test_spoiled_inputs_end_well(numbers, sound, expected, tmp_path):
    found = {}
    for number in numbers:
        folder = tmp_path / str(number)
        case = deal(number, sound, folder)
        _, bad = faults(
            case.argv, case.out, sound=expected if case.same else None, is_ranking=case.is_ranking
        )
        if bad:
            found[number, case.kind] = bad
    assert not found


def test_every_way_to_spoil_makes_a_case_that_differs(sound, expected, tmp_path):
    """The cases are not all refused for one reason, nor all let through: both ends are reached."""
    codes = {}
    for number, (_, make) in enumerate(KINDS):
        folder = tmp_path / str(number)
        case = make(sound.copy(folder), np.random.default_rng(3), folder / "out.gpkg")
        codes[make.__name__] = run(case.argv)[0]
    assert {0, 3} <= set(codes.values())
    assert codes["harmless"] == 0


def test_the_judge_sees_a_wrong_rank_and_a_place_that_is_no_number(expected, tmp_path):
    orders = {
        "ranks do not follow": "UPDATE reaches SET rank = 99 WHERE rank = 1",
        "is not finite": "UPDATE banks SET bank_height_m = 9e999",
        "stations do not span": "UPDATE reaches SET station_to_m = station_to_m + 500",
        "length_m is not": "UPDATE reaches SET length_m = length_m * 2",
        "nan m": "UPDATE banks SET reason = 'The bank is nan m high.'",
    }
    for text, order in orders.items():
        spoilt = tmp_path / "spoilt.gpkg"
        shutil.copy(expected, spoilt)
        with closing(sqlite3.connect(spoilt)) as db, db:
            for trigger in [
                r[0] for r in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            ]:
                db.execute(f'DROP TRIGGER "{trigger}"')
            db.execute(order)
        assert any(text in fault for fault in wrong_numbers(spoilt)), order


def test_settings_that_rule_every_bank_out_are_told(sound, tmp_path):
    out = tmp_path / "out.gpkg"
    assert run(sound.argv(out, "--set", "sections.least_face_slope_ratio=1.0"))[0] == 0
    assert pyogrio.read_dataframe(out, layer="reaches")["rank"].isna().all()
    told = pyogrio.read_dataframe(out, layer="findings")
    assert (told["severity"][told["code"] == "nothing_ranked"] == "warning").all()
    assert (told["code"] == "nothing_ranked").sum() == 1
