"""Six reaches whose ranking was worked out by hand."""

import dataclasses

import pytest
from bank_tables import Reach, Side, context, quick, ranked

# Only height (absolute), angle and bend are known: no curve, no soil, no cover. With cutting_down
# (needs heights alone) set to 0 the weights 0.30, 0.15, 0.20 share out to 6/13, 3/13, 4/13.
# Scores by the default breakpoints:
#   height 1 m 0.20, 2 m 0.55, 3 m 0.75, 4 m 0.87     angle 21 deg 0.10, 61 deg 0.60, 41 deg 0.35
#   bend, 4 m wide: radius 8 m (4/8 = 0.5) 0.85; radius 40 m (0.1) 0.10
SIX = [
    # A  quiet: (6*0.20 + 3*0.10) / 13 = 11.54; nothing near: halved, 5.77
    Reach(left=Side(height_m=1, angle_deg=21), right=Side(height_m=1, angle_deg=21)),
    # B  right: (6*0.55 + 3*0.60 + 4*0.85) / 13 = 65.38; exposure 100: whole, 65.38
    Reach(left=Side(height_m=1, angle_deg=21), radius_m=8.0,
          right=Side(height_m=2, angle_deg=61, exposure=100.0)),
    # C  left: (6*0.87 + 3*0.60) / 13 = 54.00; nothing near: 27.00
    Reach(left=Side(height_m=4, angle_deg=61), right=Side(height_m=1, angle_deg=21)),
    # D  as A, but its right bank has a house at the edge: 11.54
    Reach(left=Side(height_m=1, angle_deg=21),
          right=Side(height_m=1, angle_deg=21, exposure=100.0)),
    # E  as A: a tie with it
    Reach(left=Side(height_m=1, angle_deg=21), right=Side(height_m=1, angle_deg=21)),
    # F  left, outside of a gentle bend: (6*0.75 + 3*0.35 + 4*0.10) / 13 = 45.77; exposure 50:
    #    45.77 * (0.5 + 0.5 * 0.5) = 34.33
    Reach(left=Side(height_m=3, angle_deg=41, exposure=50.0), radius_m=40.0, outside="left",
          right=Side(height_m=1, angle_deg=21)),
]  # fmt: skip
HAZARD = [11.54, 65.38, 54.00, 11.54, 11.54, 45.77]
PRIORITY = [5.77, 65.38, 27.00, 11.54, 5.77, 34.33]
RANK = [5, 1, 3, 4, 5, 2]
WORST = ["left", "right", "left", "right", "left", "left"]
CLASS = ["quiet", "first", "keep an eye on", "quiet", "quiet", "keep an eye on"]
SETTINGS = quick(hazard={"cutting_down_weight": 0.0}, priority={"class_breaks": (20, 35, 50)})


@pytest.fixture(scope="module")
def result():
    return ranked(SIX, context(SETTINGS))


def test_ranking_by_hand(result):
    reaches = result["reaches"]
    assert reaches["hazard_score"].tolist() == pytest.approx(HAZARD, abs=0.006)
    assert reaches["priority_score"].tolist() == pytest.approx(PRIORITY, abs=0.006)
    assert reaches["rank"].tolist() == RANK
    assert reaches["worst_bank"].tolist() == WORST
    assert reaches["priority_class"].tolist() == CLASS


def test_contributions_sum_to_the_hazard(result):
    sums = result["factors"].groupby("bank_id")["contribution"].sum()
    banks = result["banks"].set_index("bank_id")["hazard_score"]
    assert sums[banks.index].tolist() == pytest.approx(banks.tolist(), abs=1e-9)
    assert result["factors"].groupby("bank_id")["weight"].sum().tolist() == pytest.approx(
        [1.0] * 12
    )


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        # B: 0.6 * 65.38 + 0.4 * 100; F: 0.6 * 45.77 + 0.4 * 50; D: its right bank 0.6 * 11.54 + 40
        ("weighted_mean", [6.92, 79.23, 32.40, 46.92, 6.92, 47.46]),
        ("hazard_where_exposed", [0.0, 65.38, 0.0, 11.54, 0.0, 45.77]),
    ],
)
def test_other_rules_by_hand(rule, expected):
    settings = dataclasses.replace(
        SETTINGS, priority=dataclasses.replace(SETTINGS.priority, rule=rule)
    )
    reaches = ranked(SIX, context(settings))["reaches"]
    assert reaches["priority_score"].tolist() == pytest.approx(expected, abs=0.006)
