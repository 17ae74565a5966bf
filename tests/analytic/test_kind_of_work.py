"""The kind of work at places that a restoration engineer would judge at a glance.

The answers are common practice, no source; the limits are settings, each with its own source.
"""

from __future__ import annotations

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from repair_places import only_repair, place

from reachrank.curves.shipped import curve_names
from reachrank.repairs.kind_of_work import LABELS, kind_of_work
from reachrank.repairs.site import Site
from reachrank.settings import Settings, WorkSettings

RULES = WorkSettings()


# ---- whole places, through the stage -----------------------------------------------------


@pytest.mark.parametrize("curve", [None, *curve_names()])
def test_the_reference_site_is_built_by_hand(curve):
    # Channel 4 m wide, bank 1.5 m high, face 30 degrees, 1 km2, slope 0.5 %, bare loam, a house
    # 12 m away. It must not depend on which regional curve is at hand, or on having one.
    row = only_repair(curve=curve)
    assert row["path"] == "hand_built", row["path_reasons"]
    assert row["structure_distance_m"] == pytest.approx(12.0)
    assert row["slope_height_high_m"] == pytest.approx(3.0)  # 1.5 / sin 30
    assert row["cost_low_usd"] > 0.0
    if curve is None:
        assert math.isnan(row["velocity_m_per_s"])
        assert "decides nothing" in row["path_reasons"]


@pytest.mark.parametrize(
    ("name", "given", "path", "word"),
    [
        # A house at the edge of a high, nearly upright bank.
        ("house", {"house_m": 4.0, "height_m": 2.6, "angle_deg": 75.0}, "design_first", "engineer"),
        # The same gentle low bank as the reference, but the house is close.
        ("near", {"house_m": 9.0}, "design_first", "engineer"),
        # A low bank under trees: roots hold it.
        ("wooded", {"height_m": 1.0, "cover": 0.9, "angle_deg": 50.0}, "leave_alone", "stumps"),
        # A gentle slope that is slumped and greening over.
        ("flat", {"angle_deg": 15.0}, "leave_alone", "flat enough"),
        # Too short a face for the grid.
        ("unseen", {"is_bound": True, "angle_deg": 36.0}, "visit_first", "Measure"),
        # A river, however low its bank.
        ("river", {"area_km2": 60.0, "width_m": 14.0}, "design_first", "60.0 km²"),
        # A mountain brook: 1.5 x 0.26 m deep at 4 %, about 9810 x 0.39 x 0.04 = 153 Pa on the bed.
        ("brook", {"slope": 0.04, "height_m": 1.2}, "design_first", "Pa"),
        # The outside of a bend as tight as the stream is wide: Kb = 2, 1.41 times the velocity.
        ("bend", {"radius_m": 4.0}, "design_first", "laboratory"),
        # Too much soil to shape with shovels.
        ("steep", {"angle_deg": 55.0}, "design_first", "shaping"),
        # A low bank a little too steep: shaped by hand first.
        ("shaped", {"height_m": 1.0, "angle_deg": 45.0}, "hand_built", "shaped by hand"),
        # A wetland reaches the top of the bank.
        ("wetland", {"wetland": True}, "design_first", "Sedge Pool"),
        # A reach that cut down: both banks high.
        ("cut down", {"other_height_m": 1.7, "height_m": 1.7}, "design_first", "cutting down"),
    ],
)
def test_what_an_engineer_would_say(name, given, path, word):
    row = only_repair(**given)
    assert row["path"] == path, (name, row["path_reasons"])
    assert word in row["path_reasons"]
    assert row["path_label"] == LABELS[path]
    if path == "leave_alone":
        assert math.isnan(row["cost_low_usd"])
        assert row["permit_questions"] is None
    else:
        assert "ask" in row["permit_questions"]


def test_every_limit_that_is_passed_is_named():
    row = only_repair(height_m=2.5, angle_deg=55.0, area_km2=20.0)
    for word in ("2.50 m high", "55 degrees", "20.0 km²"):
        assert word in row["path_reasons"]


def test_without_layers_of_structures_someone_must_look():
    rules, here = WorkSettings(), base()
    assert kind_of_work(here, rules).path == "hand_built"
    unknown = dataclasses.replace(here, are_structures_known=False)
    assert kind_of_work(unknown, rules).path == "visit_first"


def test_only_work_by_hand_has_materials_and_none_of_them_is_hard():
    for what in ({}, {"house_m": 4.0}, {"is_bound": True}, {"angle_deg": 15.0}):
        tables, _ = place(**what)
        is_hand = tables["repairs"]["path"].eq("hand_built").all()
        assert (len(tables["materials"]) > 0) == is_hand
        text = " ".join(tables["materials"]["item"]).lower()
        assert not any(word in text for word in ("rock", "stone", "concrete", "riprap", "gabion"))


# ---- both sides of every limit -----------------------------------------------------------


def base(**more: object) -> Site:
    known: dict[str, object] = {
        "length_m": 20.0,
        "bank_height_m": 1.2,
        "bank_height_max_m": 1.3,
        "bank_angle_deg": 28.0,
        "hazard_score": 55.0,
        "cover_frac": 0.1,
        "are_structures_known": True,
        "structure_distance_m": 30.0,
        "velocity_m_per_s": 0.8,
        "shear_pa": 20.0,
        "lower_bank_height_m": 1.2,
        "lower_bank_over_median": 1.0,
        "lower_bank_over_depth": 3.0,
        "drainage_area_km2": 2.0,
        "toe_width_m": 4.0,
    }
    return Site(**{**known, **more})  # type: ignore[arg-type]


UP, DOWN = 1.0 + 1e-6, 1.0 - 1e-6
FLAT_DEG = math.degrees(math.atan(1.0 / 3.0))
SHAPED = {"bank_height_m": 0.9, "bank_height_max_m": 0.9}
LIMITS = [
    # field, what is just within, what is just beyond, and where that leads; others as given
    ("bank_height_m", 1.8 * DOWN, 1.8 * UP, "design_first", {"bank_height_max_m": 1.8}),
    ("bank_height_max_m", 1.8 * DOWN, 1.8 * UP, "visit_first", {}),
    ("bank_angle_deg", FLAT_DEG * UP, FLAT_DEG * DOWN, "leave_alone", {}),
    # 0.9 m: 0.405 m3/m for each unit of slope; 60 degrees is 0.57:1, 0.377 m3/m
    ("bank_angle_deg", 60.0 * DOWN, 60.0 * UP, "design_first", SHAPED),
    # 1.2 m: 0.72 (1.5 - z) = 0.5 at z = 0.8056, 51.146 degrees
    ("bank_angle_deg", 51.14, 51.16, "design_first", {}),
    ("structure_distance_m", 10.0, 10.0 * DOWN, "design_first", {}),
    ("velocity_m_per_s", 6 * 0.3048 * DOWN, 6 * 0.3048 * UP, "design_first", {}),
    ("shear_pa", 1.25 * 47.880 * DOWN, 1.25 * 47.881 * UP, "design_first", {}),
    ("drainage_area_km2", 8.09 * DOWN, 8.09 * UP, "design_first", {}),
    ("toe_width_m", 8.0 * DOWN, 8.0 * UP, "design_first", {"is_area_lower_bound": True}),
    ("toe_width_m", 8.0 * DOWN, 8.0 * UP, "design_first", {"drainage_area_km2": math.nan}),
    ("lower_bank_over_median", 1.5 * DOWN, 1.5 * UP, "design_first", {}),
    ("lower_bank_height_m", DOWN, UP, "design_first", {"lower_bank_over_median": 2.0}),
    ("lower_bank_over_depth", 1.5 * DOWN, 1.5 * UP, "design_first",
     {"lower_bank_over_median": 2.0}),
    ("cover_frac", 0.7 * DOWN, 0.7 * UP, "leave_alone", {}),
    ("bank_height_m", 1.2 * UP, 1.2 * DOWN, "leave_alone", {"cover_frac": 0.9}),
    ("hazard_score", 75.0, 75.0 * DOWN, "leave_alone", {"cover_frac": 0.9}),
    ("is_angle_lower_bound", False, True, "visit_first", {}),
    ("bank_angle_deg", 28.0, math.nan, "visit_first", {}),
    ("bank_height_m", 1.2, math.nan, "visit_first", {}),
    ("constraint_names", (), ("floodway",), "design_first", {}),
]  # fmt: skip


@pytest.mark.parametrize(("field", "within", "beyond", "path", "more"), LIMITS)
def test_both_sides_of_each_limit(field, within, beyond, path, more):
    assert kind_of_work(base(**{**more, field: within}), RULES).path == "hand_built"
    decision = kind_of_work(base(**{**more, field: beyond}), RULES)
    assert decision.path == path
    assert decision.reasons.strip()


def test_limits_are_settings():
    high = base(bank_height_m=2.2, bank_height_max_m=2.3)
    assert kind_of_work(high, RULES).path == "design_first"
    assert kind_of_work(high, WorkSettings(greatest_height_m=2.5)).path == "hand_built"


@pytest.mark.parametrize("field", ["velocity_m_per_s", "shear_pa", "lower_bank_over_median"])
def test_unknown_flow_is_named_and_decides_nothing(field):
    decision = kind_of_work(base(**{field: math.nan}), RULES)
    assert decision.path == "hand_built"
    assert "not known" in decision.reasons


def test_bare_soil_at_the_toe_is_a_caution_and_no_stop():
    # Firm loam 0.075 lb/ft2 = 3.59 Pa (Fischenich 2001, from memory).
    decision = kind_of_work(base(texture="loam", toe_shear_pa=30.0), RULES)
    assert decision.path == "hand_built"
    assert "30 Pa meet bare loam" in decision.reasons
    calm = kind_of_work(base(texture="loam", toe_shear_pa=3.5), RULES)
    assert "bare loam" not in calm.reasons


def test_a_structure_comes_before_leaving_alone():
    wooded = base(cover_frac=0.95, bank_height_m=1.0, structure_distance_m=3.0)
    assert kind_of_work(wooded, RULES).path == "design_first"


def test_a_bank_better_left_alone_is_not_sent_to_a_designer():
    flat = base(bank_angle_deg=14.0, bank_height_m=3.0, bank_height_max_m=3.2)
    assert kind_of_work(flat, RULES).path == "leave_alone"
    wooded = base(cover_frac=0.95, bank_height_m=1.0, drainage_area_km2=40.0)
    assert kind_of_work(wooded, RULES).path == "leave_alone"


worse = st.fixed_dictionaries(
    {
        "bank_height_m": st.floats(0.5, 4.0),
        "bank_angle_deg": st.floats(20.0, 90.0),
        "structure_distance_m": st.floats(0.0, 60.0),
        "velocity_m_per_s": st.floats(0.1, 4.0),
        "shear_pa": st.floats(1.0, 200.0),
        "drainage_area_km2": st.floats(0.1, 50.0),
        "is_angle_lower_bound": st.booleans(),
    }
)


@given(place=worse, more=st.floats(1.0, 2.0))
@hypothesis_settings(max_examples=200, deadline=None)
def test_a_worse_place_is_never_easier(place, more):
    """Higher, nearer, faster, larger: never to hand work from something else."""
    height = place["bank_height_m"]
    here = base(**place, bank_height_max_m=height)
    beyond = dataclasses.replace(
        here,
        bank_height_m=height * more,
        bank_height_max_m=height * more,
        structure_distance_m=here.structure_distance_m / more,
        velocity_m_per_s=here.velocity_m_per_s * more,
        shear_pa=here.shear_pa * more,
        drainage_area_km2=here.drainage_area_km2 * more,
    )
    if kind_of_work(here, RULES).path != "hand_built":
        assert kind_of_work(beyond, RULES).path != "hand_built"
    if here.is_angle_lower_bound:
        assert kind_of_work(here, RULES).path != "hand_built"


def test_settings_hold_the_limits_of_the_sources():
    # Ecology 93-30: 1.5:1. Fischenich 2001: live fascine 1.25 lb/ft2 and 6 ft/s, low ends;
    # coconut under net 3 ft/s. PA DEP 2012: 2000 acres. HEC-11: 1.0 and 1.5 widths. From memory.
    rule = Settings().work
    assert rule.steepest_face_h_per_v == 1.5
    assert rule.greatest_shear_pa == pytest.approx(1.25 * 47.880, rel=1e-5)
    assert rule.greatest_velocity_m_per_s == pytest.approx(6 * 0.3048)
    assert rule.mat_velocity_m_per_s == pytest.approx(3 * 0.3048)
    assert rule.greatest_area_km2 == pytest.approx(2000 * 0.0040468564, abs=0.005)
    assert (rule.design_tie_in_up_widths, rule.design_tie_in_down_widths) == (1.0, 1.5)
