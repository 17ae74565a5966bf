"""The hand calculation of docs/repair_by_hand.md, to the stake and to the cent."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from repair_places import place

PAGE = (Path(__file__).parents[2] / "docs" / "repair_by_hand.md").read_text("utf-8")


def rows(heading: str) -> list[list[str]]:
    """Return the cells of the first table below a heading of the page."""
    part = PAGE.split(f"## {heading}\n", 1)[1].split("\n## ", 1)[0]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def number(text: str) -> float:
    return float(re.match(r"-?[\d.]+", text)[0])


@pytest.fixture(scope="module")
def tables():
    return place()[0]


@pytest.fixture(scope="module")
def repair(tables):
    return tables["repairs"].iloc[0]


def test_the_kind_of_work(repair):
    here = {row[0]: number(row[1]) for row in rows("The kind of work")}
    assert repair["path"] == "hand_built"
    assert repair["bank_height_m"] == here["bank height"]
    assert repair["velocity_m_per_s"] == pytest.approx(here["velocity"], abs=0.005)
    assert repair["shear_pa"] == pytest.approx(here["shear on the bank"], abs=0.5)
    assert repair["structure_distance_m"] == pytest.approx(here["nearest structure"], abs=1e-6)


def test_face_and_length(tables, repair):
    here = {row[0]: number(row[2]) for row in rows("Face and length")}
    for level in ("low", "high"):
        assert repair[f"slope_height_{level}_m"] == pytest.approx(here["slope height"])
        assert repair[f"face_area_{level}_m2"] == pytest.approx(here["face area"])
    whole = repair["length_m"] + tables["tie_ins"]["length_m"].sum()
    assert whole == pytest.approx(here["length with tie-ins"])


def test_what_to_buy(tables, repair):
    *printed, total = rows("What to buy")
    made = tables["materials"].reset_index(drop=True)
    assert made["item"].tolist() == [row[0] for row in printed]
    assert made["unit"].tolist() == [row[1] for row in printed]
    columns = ("computed_low", "computed_high", "purchase_low", "purchase_high")
    for place_, column in enumerate(columns, start=2):
        values = [number(row[place_]) for row in printed]
        assert made[column].tolist() == pytest.approx(values, abs=0.0051), column
    for place_, column in ((6, "cost_low_usd"), (7, "cost_high_usd")):
        values = [number(row[place_]) for row in printed]
        assert made[column].round(2).tolist() == values
        assert round(repair[column], 2) == number(total[place_])
        assert sum(values) == pytest.approx(number(total[place_]))
    hours = next(row for row in printed if row[1] == "hour")
    assert repair["crew_hours_low"] == number(hours[4])
    assert repair["crew_hours_high"] == number(hours[5])


def test_what_it_keeps(repair):
    soil, nitrogen, phosphorus, cost = rows("What it keeps out of the creek")
    for place_, level in enumerate(("low", "mid", "high"), start=1):
        for row, name in (
            (soil, "sediment_{}_t_yr_screening"),
            (nitrogen, "nitrogen_{}_kg_yr_screening"),
            (phosphorus, "phosphorus_{}_kg_yr_screening"),
        ):
            assert repair[name.format(level)] == pytest.approx(number(row[place_]), abs=6e-4)
    assert repair["recession_category"] == "severe"
    assert repair["soil_texture"] == "loam, from the soil layer"
    assert repair["cost_per_tonne_low_usd_screening"] == pytest.approx(number(cost[1]), abs=0.005)
    assert repair["cost_per_tonne_high_usd_screening"] == pytest.approx(number(cost[3]), abs=0.005)


def test_a_small_bend_repair_takes_a_few_hundred_dollars_of_materials():
    # Common practice, no source: a small hand-built bend repair, 12 m long and 1 m high. With the
    # invented demo prices, and without anyone's hours.
    small, _ = place(height_m=1.0, length_m=10.0, other_height_m=0.8)
    assert small["repairs"]["path"].tolist() == ["hand_built"]
    bought = small["materials"][small["materials"]["unit"] != "hour"]
    assert 100.0 < bought["cost_low_usd"].sum() < 1000.0
    assert 100.0 < bought["cost_high_usd"].sum() < 1000.0


def test_cuttings_of_common_practice(tables):
    # Common practice, no source: cuttings of about 0.6 m, two thirds to three quarters in the bank.
    text = tables["materials"]["source"].iloc[0]
    assert "0.60 m long, 0.40 to 0.45 m of it in the ground" in text
