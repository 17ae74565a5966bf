"""Lines: curvature, smoothing, room. Kind of truth: closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline
from scipy.special import j0

from reachrank.bank.measure import Side
from reachrank.channel.find import _middle_m
from reachrank.channel.line import (
    arc_length,
    curvature_per_m,
    left_normals,
    resample,
    smooth_line,
    tangents,
)
from reachrank.channel.room import side_room_m


def sine_generated(omega_rad: float, wave_m: float, count: int, step_m: float) -> np.ndarray:
    """Langbein and Leopold 1966, USGS Professional Paper 422-H: theta = omega sin(2 pi s / M)."""
    s = np.arange(count) * step_m
    theta = omega_rad * np.sin(2 * np.pi * s / wave_m)
    return np.column_stack([np.cumsum(np.cos(theta)), np.cumsum(np.sin(theta))]) * step_m


@pytest.mark.parametrize("step_m", [1.0, 2.0, 5.0, 10.0])
def test_three_point_curvature_is_exact_on_a_circle_at_any_spacing(step_m: float) -> None:
    angle = np.arange(12) * step_m / 20.0
    circle = 20.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    np.testing.assert_allclose(curvature_per_m(circle), 0.05, rtol=1e-9)
    # the same circle run the other way turns right
    np.testing.assert_allclose(curvature_per_m(circle[::-1]), -0.05, rtol=1e-9)


def test_curvature_of_the_sine_generated_curve() -> None:
    # kappa(s) = (2 pi omega / M) cos(2 pi s / M): USGS Professional Paper 422-H
    wave, omega, step = 100.0, np.radians(70.0), 0.25
    xy = sine_generated(omega, wave, 1600, step)
    s = (np.arange(1600) + 0.5) * step  # a point lies between two steps of known direction
    expected = 2 * np.pi * omega / wave * np.cos(2 * np.pi * s / wave)
    # steps of a 400th of the wave: the error of a three-point estimate is of order (step/wave)^2
    np.testing.assert_allclose(curvature_per_m(xy)[5:-5], expected[5:-5], atol=2e-4)


@pytest.mark.parametrize(
    ("omega_deg", "sinuosity"),
    [(30, 1.0722), (60, 1.3440), (90, 2.1186), (110, 3.6999)],  # 1 / J0(omega)
)
def test_sinuosity_of_the_sine_generated_curve(omega_deg: float, sinuosity: float) -> None:
    wave = 200.0
    xy = sine_generated(np.radians(omega_deg), wave, 8001, 0.1)  # four whole waves
    chord = float(np.hypot(*(xy[-1] - xy[0])))
    assert arc_length(xy)[-1] / chord == pytest.approx(sinuosity, rel=2e-3)
    assert sinuosity == pytest.approx(1 / j0(np.radians(omega_deg)), rel=1e-4)


def test_curvature_agrees_with_scipy_splines() -> None:
    rng = np.random.default_rng(4)
    t = np.linspace(0, 1, 20001)
    xy = np.column_stack([300 * t, 30 * np.sin(9 * t) + 12 * np.cos(17 * t + rng.uniform())])
    xy = resample(xy, 0.5)
    s = arc_length(xy)
    x, y = (make_interp_spline(s, xy[:, k], k=5) for k in (0, 1))
    spline = x(s, 1) * y(s, 2) - y(s, 1) * x(s, 2)
    np.testing.assert_allclose(curvature_per_m(xy)[4:-4], spline[4:-4], atol=5e-4)


def test_smoothing_keeps_ends_and_straight_lines() -> None:
    straight = np.column_stack([np.arange(50.0), 0.5 * np.arange(50.0)])
    np.testing.assert_allclose(smooth_line(straight, 4.0), straight, atol=1e-9)
    bent = np.column_stack([np.arange(50.0), 3 * np.sin(np.arange(50.0) / 4)])
    smooth = smooth_line(bent, 3.0)
    np.testing.assert_allclose(smooth[[0, -1]], bent[[0, -1]], atol=1e-9)
    np.testing.assert_allclose(smooth_line(bent[::-1], 3.0)[::-1], smooth, atol=1e-9)


def test_room_inside_a_circle_is_its_radius_and_outside_it_is_free() -> None:
    angle = np.linspace(0, 1.5 * np.pi, 300)
    circle = 25.0 * np.column_stack([np.cos(angle), np.sin(angle)])  # turns left: centre left
    left, right = side_room_m(circle, left_normals(tangents(circle)), 60.0)
    np.testing.assert_allclose(left[20:-20], 25.0, rtol=0.02)
    assert right.min() == 60.0


def test_room_between_two_parallel_limbs_is_half_their_distance() -> None:
    down = np.column_stack([np.arange(0.0, 100.0), np.zeros(100)])
    across = np.column_stack([np.full(13, 100.0), np.arange(0.0, 13.0)])
    back = np.column_stack([np.arange(100.0, 0.0, -1.0), np.full(100, 13.0)])
    xy = np.vstack([down, across, back])
    left, right = side_room_m(xy, left_normals(tangents(xy)), 40.0)
    assert left[40] == pytest.approx(6.5, abs=0.05)
    assert right[40] == 40.0


def test_room_is_the_least_touching_circle_over_all_other_points() -> None:
    """Against the definition, point by point, on a line that crosses itself and folds."""
    rng = np.random.default_rng(3)
    heading = np.cumsum(rng.normal(0.0, 0.3, 600))
    xy = np.cumsum(np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    normal = left_normals(tangents(xy))
    most = 30.0
    ahead = xy[None, :, :] - xy[:, None, :]
    square = (ahead**2).sum(axis=2)
    along = 2.0 * (ahead * normal[:, None, :]).sum(axis=2)
    for room, sign in zip(side_room_m(xy, normal, most), (1.0, -1.0), strict=True):
        touches = (square > 1e-6) & (sign * along > 2e-9)
        radius = np.where(touches, square / np.where(touches, sign * along, 1.0), np.inf)
        np.testing.assert_allclose(room, np.minimum(radius.min(axis=1), most), rtol=1e-12)
        assert (room < most).mean() > 0.5


def one_side(toe_m: np.ndarray, run_m: float, rise_m: float) -> Side:
    """Return a bank of one shape whose toe lies at the given offsets."""
    other = {"bed_m": 0.0, "rise_m": rise_m, "ground_slope": 0.0, "misfit_m": 0.0}
    same = {name: np.full(toe_m.size, value) for name, value in other.items()}
    return Side(toe_m=toe_m, top_m=toe_m + run_m, **same)


def middle(left: Side, right: Side, noise_m: float = 0.05) -> np.ndarray:
    window = np.full(left.toe_m.size, 2)
    return _middle_m([left, right], [left.toe_m, right.toe_m], window, 1.0, noise_m)


def test_the_middle_goes_by_the_steep_bank_where_noise_moves_the_gentle_one() -> None:
    rng = np.random.default_rng(1)
    stray = rng.normal(0.0, 0.4, 200)
    steep, gentle = one_side(np.full(200, 3.0), 4.0, 8.0), one_side(3.0 + stray, 4.0, 1.0)
    away = middle(steep, gentle, noise_m=0.15)
    assert np.abs(away).mean() < 0.6 * np.abs(0.5 * stray).mean()
    # banks alike count alike: half of what one of them strays
    alike = middle(one_side(np.full(200, 3.0), 4.0, 1.0), gentle)
    assert np.corrcoef(alike, -stray)[0, 1] > 0.9
    # left and right changed over, the other way
    np.testing.assert_allclose(middle(gentle, steep, noise_m=0.15), -away, atol=1e-12)


def test_the_middle_of_a_steep_and_a_gentle_bank_is_freed_of_averaging() -> None:
    """A face of run r looks sqrt(r^2 + 2) cells long about its middle: bank/averaged.py."""
    for true in (1.5, 2.0, 3.0):
        seen = float(np.sqrt(true**2 + 2.0))
        steep = one_side(np.full(60, 3.0 - 0.5 * (seen - true)), seen, 2.0)
        gentle = one_side(np.full(60, 3.0), 40.0, 2.0)  # so long that averaging adds nothing
        assert np.abs(middle(steep, gentle)).max() < 0.02


def test_the_middle_is_unknown_where_a_toe_is() -> None:
    toe = np.where(np.arange(40) < 20, np.nan, 3.0)
    found = middle(one_side(toe, 4.0, 2.0), one_side(np.full(40, 3.0), 4.0, 2.0))
    assert np.isnan(found[:15]).all()
    assert np.abs(found[25:]).max() < 1e-9


def test_where_the_channel_is_wider_the_middle_stays_in_the_middle() -> None:
    pool = np.where(np.abs(np.arange(120) - 60) < 8, 6.0, 3.0)
    steep, gentle = one_side(np.full(120, 3.0), 4.0, 8.0), one_side(pool, 4.0, 1.0)
    mean = 0.5 * (steep.toe_m - gentle.toe_m)
    assert np.abs(middle(steep, gentle) - mean).max() <= 0.5 + 1e-9  # cells of 1 m
