"""Quantities, costs and soil of repairs: they grow with the work, in any unit, and never twice."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from repair_places import place
from stream_tables import context
from test_repair_properties import BASE, COUNT, scores, with_hazard

from reachrank import repairs
from reachrank.errors import SettingsError
from reachrank.repairs.face import face_as_found, shaped_face
from reachrank.repairs.kept_soil import cost_per_tonne_usd, soil_columns
from reachrank.repairs.prices import load_prices
from reachrank.repairs.site import Site
from reachrank.repairs.take_off import hours, take_off, total_usd
from reachrank.schema import MATERIALS, REPAIRS
from reachrank.settings import (
    ExposureSettings,
    MaterialsSettings,
    RepairsSettings,
    SedimentSettings,
    Settings,
    WorkSettings,
)
from reachrank.units import to_metric, to_us
from reachrank.write.conform import conform

PRICES = load_prices()
RULE = MaterialsSettings()
faces = st.builds(
    shaped_face,
    st.floats(0.3, 1.8),
    st.floats(18.5, 60.0),
    is_lower_bound=st.booleans(),
    steepest_h_per_v=st.just(1.5),
)
lengths = st.floats(1.0, 300.0)


@given(length=lengths, more=st.floats(0.0, 50.0), face=faces)
@settings(max_examples=150, deadline=None)
def test_more_length_never_costs_less(length, more, face):
    short, long = (take_off(m, face, RULE, PRICES) for m in (length, length + more))
    for a, b in zip(short, long, strict=True):
        assert all(x <= y + 1e-9 for x, y in zip(a.computed, b.computed, strict=True)), a.key
        assert all(x <= y for x, y in zip(a.purchase, b.purchase, strict=True)), a.key
    assert all(x <= y for x, y in zip(total_usd(short), total_usd(long), strict=True))


@given(length=lengths, face=faces)
@settings(max_examples=150, deadline=None)
def test_what_is_bought_is_enough_and_low_is_not_above_high(length, face):
    items = take_off(length, face, RULE, PRICES)
    for item in items:
        assert all(b >= c - 1e-9 for b, c in zip(item.purchase, item.computed, strict=True))
        assert all(float(b).is_integer() for b in item.purchase)
        for low, high in (item.computed, item.purchase, item.price_usd, item.cost_usd):
            assert low <= high + 1e-9, item.key
    assert hours(items)[0] > 0


@given(height=st.floats(0.2, 5.0), angle=st.floats(5.0, 90.0))
@settings(max_examples=100, deadline=None)
def test_a_bound_holds_every_steeper_face(height, angle):
    """Whatever the true angle above the bound, its slope height lies within the range."""
    face = face_as_found(height, angle, is_lower_bound=True)
    shaped = shaped_face(height, angle, is_lower_bound=True, steepest_h_per_v=1.5)
    for true in np.linspace(angle, 90.0, 7):
        one = face_as_found(height, true, is_lower_bound=False)
        assert face.low_m - 1e-9 <= one.low_m <= face.high_m + 1e-9
        there = shaped_face(height, true, is_lower_bound=False, steepest_h_per_v=1.5)
        assert shaped.face.low_m - 1e-9 <= there.face.low_m <= shaped.face.high_m + 1e-9
        assert shaped.cut_low_m3_per_m - 1e-9 <= there.cut_low_m3_per_m
        assert there.cut_low_m3_per_m <= shaped.cut_high_m3_per_m + 1e-9
        # The triangle between both faces: base times height over 2, from its corner points.
        across, wanted = height / math.tan(math.radians(true)), 1.5 * height
        assert there.cut_low_m3_per_m == pytest.approx(
            max(wanted - across, 0.0) * height / 2.0, abs=1e-9
        )


@given(length=lengths, height=st.floats(0.3, 4.0), angle=st.floats(10.0, 90.0),
       hazard=st.floats(0.0, 100.0), bound=st.booleans())  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_soil_is_in_order_and_goes_with_length_and_height(length, height, angle, hazard, bound):
    def soil(**more: float) -> dict[str, object]:
        known = {"length_m": length, "bank_height_m": height, "hazard_score": hazard} | more
        site = Site(**known, bank_angle_deg=angle, is_angle_lower_bound=bound)  # type: ignore[arg-type]
        return soil_columns(site, SedimentSettings(), ExposureSettings())

    one = soil()
    levels = [one[f"sediment_{level}_t_yr_screening"] for level in ("low", "mid", "high")]
    assert levels == sorted(levels)
    assert min(levels) > 0.0
    for change in ("length_m", "bank_height_m"):
        twice = soil(**{change: 2.0 * (length if change == "length_m" else height)})
        for level, value in zip(("low", "mid", "high"), levels, strict=True):
            assert twice[f"sediment_{level}_t_yr_screening"] == pytest.approx(2.0 * value)
    assert all(math.isnan(one[f"sediment_delivered_{w}_t_yr_screening"]) for w in ("low", "high"))


def test_a_delivery_ratio_is_only_the_users():
    site = Site(length_m=10.0, bank_height_m=1.0, bank_angle_deg=30.0, hazard_score=60.0)
    rule = SedimentSettings(delivery_ratio_frac=0.25)
    row = soil_columns(site, rule, ExposureSettings())
    assert row["sediment_delivered_mid_t_yr_screening"] == pytest.approx(
        0.25 * row["sediment_mid_t_yr_screening"]
    )


def test_cost_of_a_tonne_by_hand():
    # 6 % over 10 years: 0.13587 in printed interest tables. 1000 and 2000 over 4 and 2 t a year.
    rule = SedimentSettings(interest_frac=0.06, practice_life_yr=10.0)
    low, high = cost_per_tonne_usd((1000.0, 2000.0), (2.0, 4.0), rule)
    assert low == pytest.approx(1000.0 * 0.13587 / 4.0, rel=1e-4)
    assert high == pytest.approx(2000.0 * 0.13587 / 2.0, rel=1e-4)
    half = dataclasses.replace(rule, efficiency_frac=0.5)
    assert cost_per_tonne_usd((1000.0, 2000.0), (2.0, 4.0), half)[0] == pytest.approx(2.0 * low)


# ---- units -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["repairs", "materials"])
def test_us_units_and_back(name):
    tables, _ = place(radius_m=40.0)
    layer = {"repairs": REPAIRS, "materials": MATERIALS}[name]
    table = conform(tables[name], layer, whole=True)
    there = to_us(table)
    back = to_metric(there, layer.names)
    pd.testing.assert_frame_equal(pd.DataFrame(back), pd.DataFrame(table), check_exact=False)


def test_us_columns_hold_us_numbers():
    # A ton is 2000 lb of 0.45359237 kg; a square yard 0.83612736 m2; 1 lb/ft2 is 47.880 Pa.
    row = place()[0]["repairs"]
    there = to_us(row).iloc[0]
    row = row.iloc[0]
    tons = there["sediment_mid_ton_yr_screening"]
    assert tons == pytest.approx(row["sediment_mid_t_yr_screening"] / 0.90718474)
    assert there["nitrogen_mid_lb_yr_screening"] == pytest.approx(2.28 * tons)
    assert there["phosphorus_mid_lb_yr_screening"] == pytest.approx(1.05 * tons)
    assert there["face_area_low_yd2"] == pytest.approx(60.0 / 0.83612736)
    assert there["velocity_ft_per_s"] == pytest.approx(row["velocity_m_per_s"] / 0.3048)
    assert there["shear_lb_per_ft2"] == pytest.approx(row["shear_pa"] / 47.880, rel=1e-4)
    assert there["cost_per_ton_low_usd_screening"] == pytest.approx(
        row["cost_per_tonne_low_usd_screening"] * 0.90718474
    )


def test_prices_for_a_foot_or_a_metre_are_the_same(tmp_path):
    def designed(unit: str, low: float) -> float:
        file = tmp_path / f"{unit}.toml"
        file.write_text(
            f'[designed_work]\nunit = "{unit}"\nlow_usd = {low}\nhigh_usd = {2 * low}\n', "utf-8"
        )
        own = dataclasses.replace(Settings(), materials=MaterialsSettings(prices_file=str(file)))
        return place(house_m=3.0, curve=None, settings=own)[0]["repairs"]["cost_low_usd"].iloc[0]

    # 4 m wide: tie-ins 4 m up and 6 m down, 30 m in all.
    assert designed("m", 1000.0) == pytest.approx(30_000.0)
    assert designed("ft", 304.8) == pytest.approx(30_000.0)


# ---- prices ------------------------------------------------------------------------------


def test_a_missing_price_leaves_no_cost_and_says_so(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text('[materials.live_stake]\nunit = "each"\nlow_usd = 1\nhigh_usd = 2\n', "utf-8")
    own = dataclasses.replace(Settings(), materials=MaterialsSettings(prices_file=str(file)))
    tables, ctx = place(settings=own)
    row = tables["repairs"].iloc[0]
    assert row["path"] == "hand_built"
    assert math.isnan(row["cost_low_usd"])
    assert math.isnan(row["cost_per_tonne_low_usd_screening"])
    assert row["crew_hours_low"] == 40
    stakes = tables["materials"].iloc[0]
    assert (stakes["cost_low_usd"], stakes["cost_high_usd"]) == (228.0, 456.0)
    assert [f["code"] for f in ctx.findings.rows] == ["price_missing"]
    assert "coir matting" in str(ctx.findings.rows[0]["text"])


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ('[materials.rock]\nunit = "each"\nlow_usd = 1\nhigh_usd = 2', "materials.rock"),
        ('[materials.twine]\nunit = "roll"\nlow_usd = 1\nhigh_usd = 2', "ball"),
        ('[materials.twine]\nunit = "ball"\nlow_usd = 3\nhigh_usd = 2', "below"),
        ('[materials.twine]\nunit = "ball"\nlow_usd = -1\nhigh_usd = 2', "0 or more"),
        ('[materials.twine]\nunit = "ball"\nlow_usd = "1"\nhigh_usd = 2', "low_usd"),
        ("price = 3", "unknown key price"),
        ("[materials", "not TOML"),
    ],
)
def test_faults_of_a_price_file_are_told(tmp_path, text, word):
    file = tmp_path / "own.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(SettingsError, match=word):
        load_prices(file)


# ---- nothing twice -----------------------------------------------------------------------


@given(left=scores, right=scores)
@settings(max_examples=15, deadline=None)
def test_no_part_of_a_bank_is_in_two_repairs_or_tie_ins(left, right):
    rule = RepairsSettings(least_length_m=3.0, gap_widths=0.3, tie_in_m=20.0)
    out = repairs.run(with_hazard(left, right), context(repairs=rule, work=WorkSettings()))
    table = out["repairs"]
    bank_of = dict(zip(table["repair_id"], table["bank"], strict=True))
    parts = [(row.repair_id, row.geometry) for row in table.itertuples()]
    parts += [(row.repair_id, row.geometry) for row in out["tie_ins"].itertuples()]
    for i, (name, line) in enumerate(parts):
        for other, second in parts[:i]:
            if bank_of[name] == bank_of[other] and name[:5] == other[:5]:
                assert line.intersection(second).length < 1e-6
    in_banks = out["banks"]["repair_length_m"].sum()
    assert in_banks == pytest.approx(table["length_m"].sum(), abs=1e-6)


def test_a_repair_over_a_reach_border_counts_once():
    # The failing 40 m lie on both sides of the border at station 100.
    every = [10.0] * COUNT
    station = BASE["sections"]["station_m"].to_numpy()
    own = (BASE["sections"]["stream_id"] == "S0001").to_numpy()
    left = np.where(own & (station > 80.0) & (station < 120.0), 80.0, every)
    out = repairs.run(with_hazard(left, every), context())
    table = out["repairs"]
    assert len(table) == 1
    assert table["reach_ids"].iloc[0].count(",") == 1
    assert table["length_m"].sum() == pytest.approx(out["banks"]["repair_length_m"].sum())
