"""Unit stream power and Manning's formula against worked numbers."""

import numpy as np
import pytest

from reachrank.hazard.flow import manning_discharge_m3s, unit_stream_power


def test_unit_stream_power():
    # Definition rho g Q S / W with 9810 N/m3: Q 10, S 0.005, W 8 gives 61.31; Q 2, S 0.002, W 5
    # gives 7.85 W/m2.
    power = unit_stream_power(np.array([10.0, 2.0]), np.array([0.005, 0.002]), np.array([8.0, 5.0]))
    np.testing.assert_allclose(power, [61.31, 7.85], atol=0.005)


def test_profile_that_does_not_fall_has_no_power():
    one = np.array([1.0])
    assert unit_stream_power(one, -0.01 * one, one)[0] == 0.0
    assert np.isnan(unit_stream_power(one * np.nan, one, one)[0])


def test_manning_by_hand():
    # By hand: 4 m wide, 2 m deep: area 8, perimeter 8, radius 1: Q = 8 * sqrt(0.0004) / 0.04 = 4.
    one = np.ones(1)
    assert manning_discharge_m3s(4 * one, 2 * one, 0.0004 * one, 0.04)[0] == pytest.approx(4.0)
    # 0.5 m wide, 0.25 m deep: area 1/8, perimeter 1, radius 1/8, to the power of 2/3 that is 1/4;
    # Q = 1/8 * 1/4 * 0.02 / 0.04 = 1/64.
    assert manning_discharge_m3s(0.5 * one, 0.25 * one, 0.0004 * one, 0.04)[0] == pytest.approx(
        1 / 64
    )
