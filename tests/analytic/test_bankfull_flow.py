"""Velocity and shear along a repair, by hand: Manning's formula and the bend of FHWA HEC-15."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pandas as pd
import pytest
from repair_places import only_repair

from reachrank.repairs.flow import SectionFlow, bank_flows
from reachrank.settings import HazardSettings, Settings

# Field values: 4 m wide, 0.6 m deep at the most, so 0.4 m in the mean (parabola); fall 0.5 %.
FIELD = dataclasses.replace(
    Settings(),
    hazard=HazardSettings(field_bankfull_width_m=4.0, field_greatest_depth_m=0.6),
)
# Manning, n = 0.045: A = 1.6 m2, P = 4.8 m, R = 1/3 m; V = R^(2/3) S^(1/2) / n.
MANNING = (1.0 / 3.0) ** (2.0 / 3.0) * math.sqrt(0.005) / 0.045
# gamma d S = 9810 * 0.6 * 0.005 = 29.43 Pa on the bed; on a side of cot 30 = 1.732 to 1 times
# 0.066 * 1.732 + 0.67 = 0.7843.
BED, SIDE = 29.43, 0.066 * math.sqrt(3.0) + 0.67


def test_a_straight_bank():
    row = only_repair(curve=None, settings=FIELD)
    assert row["velocity_m_per_s"] == pytest.approx(MANNING, rel=1e-6)
    assert row["velocity_m_per_s"] == pytest.approx(0.7554, abs=1e-4)
    assert row["shear_pa"] == pytest.approx(BED * SIDE, rel=1e-6)
    assert "n = 0.045" in row["velocity_source"]


def test_the_outside_of_a_bend():
    # Radius 16 m over 4 m is 4: Kb = 1.6728 (HEC-15, from memory); velocity by its root.
    row = only_repair(curve=None, settings=FIELD, radius_m=16.0)
    assert row["velocity_m_per_s"] == pytest.approx(MANNING * math.sqrt(1.6728), rel=1e-5)
    assert row["shear_pa"] == pytest.approx(BED * SIDE * 1.6728, rel=1e-5)


def test_the_safety_ratio_raises_the_bend():
    work = dataclasses.replace(FIELD.work, bend_safety_ratio=1.5)
    row = only_repair(curve=None, settings=dataclasses.replace(FIELD, work=work), radius_m=16.0)
    assert row["shear_pa"] == pytest.approx(BED * SIDE * 1.6728 * 1.5, rel=1e-5)


def test_discharge_over_area_comes_first():
    # Maryland Piedmont, 1 km2 = 0.3861 mi2: Q 84.56 A^0.76 = 40.98 ft3/s, area 17.42 A^0.73 =
    # 8.690 ft2 (McCandless & Everett 2002, USFWS CBFO-S02-01): 4.72 ft/s.
    row = only_repair(curve="md-piedmont")
    assert row["velocity_m_per_s"] == pytest.approx(4.72 * 0.3048, abs=0.01)
    assert "discharge over area" in row["velocity_source"]


def flow_at(bank: str, end_m: float, start_m: float = 200.0) -> float:
    """Return the bend factor of a repair at stations 100 to 120 on a bank."""
    one = np.ones(3)
    flow = SectionFlow(
        0.8 * one, np.zeros(3, bool), 0.4 * one, 0.6 * one, 0.005 * one, 4.0 * one, one, 0.045
    )
    bends = pd.DataFrame(
        {
            "stream_id": ["S0001", "S0002"],
            "outside_bank": ["left", "left"],
            "start_station_m": [start_m, 150.0],
            "end_station_m": [end_m, 90.0],
            "radius_m": [16.0, 5.0],  # the tighter one is on another stream
        }
    )
    [found] = bank_flows(
        flow, np.arange(3), np.array([0, 3]), bends, stream_id=["S0001"], bank=[bank],
        stations_m=np.array([[100.0, 120.0]]), bank_angle_deg=np.array([30.0]),
    )  # fmt: skip
    return found.bend_factor


def test_which_bends_act():
    # Lp = 0.60 R^(7/6) / n with R = 1/3 m = 1.0936 ft: 14.80 ft = 4.51 m below the bend's end.
    assert flow_at("left", 110.0) == pytest.approx(1.6728, rel=1e-5)
    assert flow_at("right", 110.0) == 1.0  # the inside
    assert flow_at("left", 124.4) == pytest.approx(1.6728, rel=1e-5)
    assert flow_at("left", 124.6) == 1.0
    assert flow_at("left", 60.0, 99.0) == 1.0  # downstream of the repair
