"""The centrelines of the synthetic corridors against their closed forms."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.special import j0

from reachrank.synthetic import planform as pf


def _sinuosity(plan: pf.Planform) -> float:
    chord = np.hypot(plan.x_m[-1] - plan.x_m[0], plan.y_m[-1] - plan.y_m[0])
    return float((plan.s_m[-1] - plan.s_m[0]) / chord)


@pytest.mark.parametrize(
    ("omega_deg", "sinuosity"), [(60.0, 1.3440), (90.0, 2.1186), (110.0, 3.6999)]
)
def test_sine_generated_sinuosity_is_one_over_j0(omega_deg: float, sinuosity: float) -> None:
    # Langbein and Leopold (1966), U.S. Geological Survey Professional Paper 422-H:
    # theta = omega sin(2 pi s / M), whose mean cosine is J0(omega).
    omega = np.radians(omega_deg)
    plan = pf.sample(pf.sine_generated(100.0, omega, 4), 0.25)
    assert _sinuosity(plan) == pytest.approx(1.0 / j0(omega), rel=1e-6)
    assert _sinuosity(plan) == pytest.approx(sinuosity, abs=6e-5)  # four decimals printed


def test_sine_generated_apex_radius_and_published_ratio_4_7() -> None:
    meander, omega = 200.0, np.radians(60.0)
    plan = pf.sample(pf.sine_generated(meander, omega, 2), 0.25)
    assert plan.bends[0].radius_m == pytest.approx(meander / (2.0 * np.pi * omega), rel=1e-6)
    # The paper gives wavelength over mean bend radius as 4.7; the mean is taken over the middle
    # third of a bend, where the heading turns by omega.
    middle = (plan.s_m >= meander / 6.0 - 1e-9) & (plan.s_m <= meander / 3.0 + 1e-9)
    mean_radius = np.ptp(plan.s_m[middle]) / np.ptp(plan.heading_rad[middle])
    wavelength = plan.x_m[-1] - plan.x_m[0]
    assert wavelength / mean_radius == pytest.approx(4.7, abs=0.05)


def test_kinoshita_sinuosity_and_greatest_curvature() -> None:
    # 110 degrees with 1/192 and 1/32: 3.4189 and 11.986 / M, by quadrature of the formula.
    plan = pf.sample(pf.Kinoshita(1.0, np.radians(110.0), 2), 0.0005)
    assert _sinuosity(plan) == pytest.approx(3.4189, abs=1e-4)
    assert 1.0 / plan.least_radius_m == pytest.approx(11.986, abs=2e-3)


def test_arc_is_a_circle() -> None:
    plan = pf.sample(pf.arcs(20.0, np.radians(120.0), 1), 0.25)
    inner = np.abs(plan.curvature_per_m - 0.05) < 1e-12
    x, y = plan.x_m[inner], plan.y_m[inner]
    # Radius of the circle through three points: product of sides over four times the area.
    i, j, k = 0, x.size // 2, x.size - 1
    a = np.hypot(x[j] - x[i], y[j] - y[i])
    b = np.hypot(x[k] - x[j], y[k] - y[j])
    c = np.hypot(x[k] - x[i], y[k] - y[i])
    area = 0.5 * abs((x[j] - x[i]) * (y[k] - y[i]) - (x[k] - x[i]) * (y[j] - y[i]))
    assert a * b * c / (4.0 * area) == pytest.approx(20.0, abs=1e-4)


CURVES = {
    "sine": pf.sine_generated(80.0, 1.2, 3),
    "arcs": pf.arcs(15.0, 1.5, 3),
    "short": pf.short_bends(10.0, 1.0, 3, 20.0),
    "irregular": pf.irregular(12.0, (0.6, 1.2), 5, np.random.default_rng(5)),
    "kinoshita": pf.Kinoshita(90.0, 1.9, 3),
    "with ends": pf.WithEnds(pf.sine_generated(80.0, 1.2, 3), 20.0, 15.0),
}


@pytest.mark.parametrize("name", list(CURVES))
def test_curvature_is_the_derivative_of_heading_and_heading_of_place(name: str) -> None:
    plan = pf.sample(CURVES[name], 0.05)
    step = plan.s_m[1] - plan.s_m[0]
    heading = np.arctan2(np.gradient(plan.y_m, step), np.gradient(plan.x_m, step))
    off = np.angle(np.exp(1j * (heading - plan.heading_rad)))[1:-1]
    assert np.abs(off).max() < 1e-3
    # Central differences are wrong by step x change of curvature where a ramp begins (kinks).
    kink = step * 0.5 * np.abs(np.gradient(plan.curvature_per_m, step)).max() + 1e-5
    slope = np.gradient(plan.heading_rad, step)[1:-1]
    assert np.abs(slope - plan.curvature_per_m[1:-1]).max() < kink


@pytest.mark.parametrize("name", list(CURVES))
def test_bends_alternate_and_their_turnings_add_up(name: str) -> None:
    plan = pf.sample(CURVES[name], 0.1)
    hands = [bend.outside_bank for bend in plan.bends]
    assert all(one != other for one, other in pairwise(hands))
    whole = np.degrees(plan.heading_rad[-1] - plan.heading_rad[0])
    assert sum(bend.turning_deg for bend in plan.bends) == pytest.approx(whole, abs=0.01)
    assert all(bend.start_m < bend.apex_m < bend.end_m for bend in plan.bends)


def test_line_going_east_that_swings_north_turns_left_and_its_right_bank_is_outside() -> None:
    plan = pf.sample(pf.Train((pf.Piece(30.0, np.radians(90.0)),)), 0.1)
    # The end lies to the left of the direction at the start.
    left_of_start = np.array([-np.sin(plan.heading_rad[0]), np.cos(plan.heading_rad[0])])
    assert left_of_start @ [plan.x_m[-1], plan.y_m[-1]] > 0
    (bend,) = plan.bends
    assert bend.turning_deg == pytest.approx(90.0, abs=1e-6)
    assert plan.curvature_per_m.max() > 0
    assert bend.outside_bank == "right"


def test_irregular_train_has_the_asked_least_radius_and_differing_bends() -> None:
    plan = pf.sample(pf.irregular(12.0, (0.6, 1.2), 9, np.random.default_rng(2)), 0.1)
    assert plan.least_radius_m == pytest.approx(12.0, rel=1e-4)
    lengths = [bend.end_m - bend.start_m for bend in plan.bends]
    assert np.std(lengths) > 0.15 * np.mean(lengths)
