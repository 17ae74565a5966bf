"""A ranked file that another program has changed: a clear word, never a mistake of ours."""

from __future__ import annotations

import shutil

import pytest
from robust.cases import alter
from robust.judge import faults


@pytest.fixture
def changed(expected, tmp_path):
    """Return a function that gives a ranked file after an order to its database."""

    def make(order):
        path = tmp_path / "changed.gpkg"
        shutil.copy(expected, path)
        alter(path, order)
        return str(path)

    return make


COMMANDS = {
    "explain": ["S0001-R0001"],
    "near": ["--xy", "150100,499925"],
    "sheets": ["--top", "1"],
    "map": [],
    "table": [],
    "compare": [],
}
ENDINGS = {"sheets": "pdf", "map": "html", "table": "csv"}


def ended(command, path, other, folder):
    """Run a command on a file; return its exit code after judging what it said."""
    out = folder / f"out.{ENDINGS.get(command, 'none')}"
    argv = [command, path, *([str(other)] if command == "compare" else COMMANDS[command])]
    code, found = faults(
        [*argv, "--out", str(out)] if command in ENDINGS else argv, out, is_ranking=False
    )
    assert found == []
    return code


@pytest.mark.parametrize(
    ("command", "order", "code"),
    [
        ("compare", "UPDATE factors SET factor = 'x'", 3),
        ("near", "UPDATE exposures SET bank_distance_m = NULL", 3),
        ("near", "UPDATE reaches SET station_to_m = 'x'", 3),
        ("near", "UPDATE repairs SET sediment_low_t_yr_screening = 'x'", 3),
        ("explain", "DELETE FROM banks", 3),
        ("explain", "ALTER TABLE banks RENAME COLUMN priority_score TO other", 3),
        ("map", "ALTER TABLE reaches RENAME COLUMN reason TO other", 0),
        ("map", "ALTER TABLE sections RENAME COLUMN right_toe_offset_m TO other", 0),
        ("sheets", "ALTER TABLE banks RENAME COLUMN exposure_score TO other", 0),
        ("sheets", "ALTER TABLE reaches RENAME COLUMN priority_score TO other", 0),
        ("explain", "ALTER TABLE factors RENAME COLUMN score TO other", 3),
        ("explain", "UPDATE factors SET weight = 'x'", 3),
        ("explain", "ALTER TABLE factors RENAME COLUMN source TO other", 0),
        ("explain", "ALTER TABLE factors RENAME COLUMN unit TO other", 3),
        ("explain", "ALTER TABLE factors RENAME COLUMN state TO other", 3),
        ("map", "ALTER TABLE sections RENAME COLUMN reach_id TO other", None),
        ("sheets", "ALTER TABLE banks RENAME COLUMN bank_angle_deg TO other", None),
        ("sheets", "ALTER TABLE reaches RENAME COLUMN bankfull_width_m TO other", None),
        ("sheets", "ALTER TABLE reaches RENAME COLUMN priority_class TO other", None),
        ("sheets", "ALTER TABLE sections RENAME COLUMN bed_elevation_m TO other", 0),
        ("sheets", "ALTER TABLE reaches RENAME COLUMN rank TO other", None),
        ("table", "ALTER TABLE reaches RENAME COLUMN rank TO other", None),
    ],
)
def test_an_order_to_the_database(changed, expected, tmp_path, command, order, code):
    got = ended(command, changed(order), expected, tmp_path)
    assert got == code if code is not None else got in (0, 2, 3)
