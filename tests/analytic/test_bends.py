"""Bends on centrelines of known curvature. Kind of truth: closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reachrank.channel.blur import Blur, blur_of, settled
from reachrank.channel.line import headings_rad, smooth_line
from reachrank.planform.apex import direction_of, fitted_part, mixed_apexes, steepest
from reachrank.planform.bends import fill_lobes, find_bends
from reachrank.settings import ChannelSettings, PlanformSettings

BLUR = blur_of(ChannelSettings())
"""What finding a channel does to its line."""


def line_of(kappa_per_m: np.ndarray, step_m: float) -> np.ndarray:
    """Integrate a curvature to a line."""
    heading = np.cumsum(kappa_per_m) * step_m
    return np.column_stack([np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading))]) * step_m


def sine_kappa(omega_deg: float, radius_m: float, bends: int, step_m: float) -> np.ndarray:
    """Curvature of the sine-generated curve, USGS Professional Paper 422-H (1966)."""
    wave = 2 * np.pi * np.radians(omega_deg) * radius_m
    s = np.arange(0, bends * wave / 2, step_m)
    return np.sin(2 * np.pi * s / wave) / radius_m


@pytest.mark.parametrize("omega_deg", [40, 60, 80, 100])
@pytest.mark.parametrize("radius_widths", [2.0, 3.0, 4.5])
def test_radius_of_sine_generated_bends(omega_deg: float, radius_widths: float) -> None:
    width, step = 5.0, 1.0
    radius = radius_widths * width
    xy = line_of(sine_kappa(omega_deg, radius, 8, step), step)
    bends, _ = find_bends(xy, step, np.full(len(xy), width), PlanformSettings())
    assert len(bends) == 8
    # a tenth would not pass: the goal is 3 % bias; the smoothing before takes 1 to 4 %
    inner = [b.radius_m / radius for b in bends[1:-1]]
    assert np.median(inner) == pytest.approx(1.0, abs=0.05)
    # the channel turns left first: then the right bank is outside
    assert [b.outside_bank for b in bends] == ["right", "left"] * 4
    for bend in bends[1:-1]:
        # a half wave turns from -omega to +omega
        assert abs(np.degrees(bend.turning_rad)) == pytest.approx(2 * omega_deg, rel=0.05)


def test_a_straight_line_with_noise_has_no_bend() -> None:
    rng = np.random.default_rng(5)
    s = np.arange(0, 600.0)
    wander = np.convolve(rng.normal(0, 0.25, 608), np.ones(9) / 9, "valid")
    xy = np.column_stack([s, wander])
    bends, _ = find_bends(xy, 1.0, np.full(len(xy), 5.0), PlanformSettings())
    assert bends == []


def test_straights_part_bends_of_the_same_side() -> None:
    step, width = 1.0, 5.0
    arc = np.full(20, 1 / 15.0)
    flat = np.zeros(40)
    xy = line_of(np.concatenate([flat, arc, flat, arc, flat]), step)
    bends, _ = find_bends(xy, step, np.full(len(xy), width), PlanformSettings())
    assert [b.outside_bank for b in bends] == ["right", "right"]


def test_the_same_line_run_the_other_way_has_the_same_outside_bank_on_the_ground() -> None:
    step, width = 1.0, 5.0
    xy = line_of(sine_kappa(70, 15.0, 5, step), step)
    down, _ = find_bends(xy, step, np.full(len(xy), width), PlanformSettings())
    up, _ = find_bends(xy[::-1], step, np.full(len(xy), width), PlanformSettings())
    assert [b.outside_bank for b in up[::-1]] == [
        {"left": "right", "right": "left"}[b.outside_bank] for b in down
    ]
    # the same sums in another order: nothing but rounding is left
    np.testing.assert_allclose(
        [b.radius_m for b in up[::-1]], [b.radius_m for b in down], rtol=1e-6
    )


def short_bends(width: float, radius_widths: float, turning_deg: float, step: float) -> np.ndarray:
    """Curvature of six bends, half sine waves of curvature, to and fro between long straights."""
    radius = radius_widths * width
    length = np.pi / 2 * radius * np.radians(turning_deg)  # so that it turns through the angle
    s = np.arange(0, length, step)
    flat = np.zeros(int(8 * width / step))
    parts = [flat]
    for k in range(6):
        parts += [(-1) ** k * np.sin(np.pi * s / length) / radius, flat]
    return np.concatenate(parts)


def as_found(xy: np.ndarray, width_steps: float, blur: Blur, rounds: int = 12) -> np.ndarray:
    """Return what moving to the middle of the toes again and again makes of a true line."""
    line = smooth_line(xy, 1.0 * width_steps)
    for _ in range(rounds):
        base = smooth_line(line, blur.base_widths * width_steps)
        line = base + smooth_line(xy - base, blur.move_widths * width_steps)
    return line


def test_no_bend_reads_tighter_than_its_inner_toe_allows() -> None:
    width, step = 12.0, 1.0
    # a kink of 100 degrees within two steps, in a channel of twelve
    kappa = np.zeros(400)
    kappa[199:201] = np.radians(100.0) / (2.0 * step)
    widths = np.full(400, width)
    bends, _ = find_bends(line_of(kappa, step), step, widths, PlanformSettings(), BLUR)
    assert len(bends) == 1
    assert bends[0].radius_m >= 0.5 * width


def test_a_move_that_is_worked_out_is_the_one_that_would_be_measured() -> None:
    width, step, cell = 6.0, 1.0, 1.0
    xy = line_of(short_bends(width, 2.0, 60, step), step)
    widths = np.full(len(xy), width)
    line = as_found(xy, width / step, BLUR, rounds=1)
    base = smooth_line(line, BLUR.base_widths * width / step)
    moved = base + smooth_line(xy - base, BLUR.move_widths * width / step)
    again = smooth_line(moved, BLUR.base_widths * width / step)
    measured = again + smooth_line(xy - again, BLUR.move_widths * width / step)
    assert np.abs(measured - moved).max() > 0.02  # so that there is something to tell
    found = settled(moved, base, widths, step, cell, BLUR)
    np.testing.assert_allclose(found, measured, atol=1e-9)
    # where a channel is hardly wider than the cells, noise would be moved instead
    np.testing.assert_array_equal(settled(moved, base, widths, step, width / 2.0, BLUR), moved)


@pytest.mark.parametrize(("radius_widths", "turning_deg"), [(2.0, 60), (2.0, 80), (3.0, 60)])
def test_short_bends_that_finding_has_flattened_get_their_radius_back(
    radius_widths: float, turning_deg: float
) -> None:
    width, step = 5.0, 1.0
    blur = BLUR
    xy = line_of(short_bends(width, radius_widths, turning_deg, step), step)
    line = as_found(xy, width / step, blur)
    widths, settings = np.full(len(xy), width), PlanformSettings()
    readings = [
        [b.radius_m for b in find_bends(*case)[0]]
        for case in (
            (xy, step, widths, settings),
            (line, step, widths, settings),
            (line, step, widths, settings, blur),
        )
    ]
    assert [len(reading) for reading in readings] == [6, 6, 6]
    exact, flat, told = (float(np.mean(reading)) for reading in readings)
    assert exact == pytest.approx(radius_widths * width, rel=0.05)
    # three terms of the inverse give back about half of the loss on the shortest, more on the
    # others, and never more than was lost; the loss itself is an eighth at most
    assert 0.99 * exact < told < exact + 0.6 * (flat - exact)
    assert told < 1.07 * exact


def test_directions_are_exact_on_a_curve_of_the_fourth_degree() -> None:
    t = np.linspace(-1.0, 1.0, 21)
    xy = np.column_stack([t + 0.3 * t**3, 0.5 * t**4 - 0.2 * t**2])
    exact = np.arctan2(2.0 * t**3 - 0.4 * t, 1.0 + 0.9 * t**2)
    np.testing.assert_allclose(headings_rad(xy)[2:-2], exact[2:-2], atol=1e-12)
    assert len(headings_rad(xy[:2])) == 2


def test_giving_back_the_flattening_leaves_long_bends_alone() -> None:
    width, step = 5.0, 1.0
    xy = line_of(sine_kappa(70, 15.0, 8, step), step)  # half waves of 11.5 widths
    widths, settings = np.full(len(xy), width), PlanformSettings()
    plain, _ = find_bends(xy, step, widths, settings)
    sharp, _ = find_bends(xy, step, widths, settings, BLUR)
    assert [b.radius_m for b in sharp] == pytest.approx([b.radius_m for b in plain], rel=0.01)


def test_arcs_read_their_own_radius() -> None:
    width, step, radius = 5.0, 1.0, 15.0
    ramp = np.linspace(0, 1, 6)
    arc = np.concatenate([ramp, np.ones(28), ramp[::-1]]) / radius
    xy = line_of(np.concatenate([(-1) ** k * arc for k in range(6)]), step)
    bends, _ = find_bends(xy, step, np.full(len(xy), width), PlanformSettings())
    # a parabola of curvature stands a twentieth above the flat top of an arc; not a tenth
    assert np.median([b.radius_m / radius for b in bends[1:-1]]) == pytest.approx(0.96, abs=0.04)


def test_turned_moved_and_in_feet_the_bends_are_the_same() -> None:
    rng = np.random.default_rng(8)
    width, step, foot = 5.0, 1.0, 0.3048
    kappa = sine_kappa(70, 12.0, 8, step)
    kappa = kappa + np.convolve(rng.normal(0, 0.02, kappa.size + 8), np.ones(9) / 9, "valid")
    xy, settings, blur = line_of(kappa, step), PlanformSettings(), BLUR
    widths = np.full(len(xy), width)
    here, _ = find_bends(xy, step, widths, settings, blur)
    turn = np.array([[0.6, 0.8], [-0.8, 0.6]])
    moved, _ = find_bends(xy @ turn + [500.0, -300.0], step, widths, settings, blur)
    feet, _ = find_bends(xy / foot, step / foot, widths / foot, settings, blur)
    for other, unit in ((moved, 1.0), (feet, foot)):
        assert [(b.first, b.last) for b in other] == [(b.first, b.last) for b in here]
        assert [b.radius_m * unit for b in other] == pytest.approx(
            [b.radius_m for b in here], rel=1e-7
        )


@pytest.mark.parametrize("fit", [direction_of, direction_of.py_func])
def test_the_polynomial_lies_between_those_that_numpy_fits(fit) -> None:
    rng = np.random.default_rng(2)
    heading = np.cumsum(rng.normal(0.05, 0.1, 60)) + 40.0
    for a, b in ((3, 40), (10, 18), (0, 59)):
        v, y = np.linspace(-1, 1, b - a + 1), heading[a : b + 1]
        whole = [np.polynomial.Polynomial.fit(v, y, n, domain=[-1, 1]) for n in (3, 5)]
        cubic, quintic = np.append(whole[0].coef[1:], [0.0, 0.0]), whole[1].coef[1:]
        assert fit(heading, a, b, np.inf) == pytest.approx(cubic, abs=1e-9)
        assert fit(heading, a, b, 0.0) == pytest.approx(quintic, abs=1e-9)
        of_cubic, of_quintic = (float(((y - judge(v)) ** 2).sum()) for judge in whole)
        r = of_quintic / of_cubic
        caution = 0.3 * (1 - r) / r  # seven tenths of the way
        assert fit(heading, a, b, caution) == pytest.approx(
            cubic + 0.7 * (quintic - cubic), abs=1e-9
        )


def test_few_points_are_left_to_the_cubic() -> None:
    heading = np.random.default_rng(3).normal(0.0, 1.0, 8)
    assert (direction_of(heading, 0, 7, 0.0)[3:] == 0.0).all()


@pytest.mark.parametrize("of", [steepest, steepest.py_func])
def test_the_steepest_place_of_a_polynomial(of) -> None:
    # the slope of 2 v + 0.6 v^2 - v^3 is 2 + 1.2 v - 3 v^2, at most 2.12 at v = 0.2
    assert of(np.array([2.0, 0.6, -1.0, 0.0, 0.0]), 0.7) == pytest.approx((2.12, 0.2), abs=1e-12)
    # downhill counts as well, and what lies farther out than 0.7 does not
    assert of(np.array([-1.0, 0.0, -1.0, 0.0, 0.0]), 0.7)[0] == pytest.approx(2.47)
    # v - v^5 is steepest at its middle; with v^4 the top is found to a thousandth
    most, at = of(np.array([1.0, 0.0, 0.0, 0.5, -1.0]), 0.7)  # 1 + 2 v^3 - 5 v^4: v = 0.3
    assert (most, at) == pytest.approx((1 + 2 * 0.3**3 - 5 * 0.3**4, 0.3), abs=1e-3)


def test_short_bends_go_by_the_sharpened_line_and_long_ones_by_the_line_as_found() -> None:
    width = np.full(4, 4.0)
    # radius and place in steps, and the fitted length: 3, 4, 4.75 and 6 widths
    found = np.array([[20.0, 50.0, 12.0], [20.0, 50.0, 16.0], [20.0, 50.0, 19.0], [20, 50, 24]])
    sharpened = found - [4.0, 2.0, 0.0]
    mixed = mixed_apexes(found, sharpened, width)
    # half way the curvature is the mean of 1/16 and 1/20
    assert mixed[:, 0] == pytest.approx([16.0, 16.0, 2 / (1 / 16 + 1 / 20), 20.0])
    assert mixed[:, 1] == pytest.approx([48.0, 48.0, 49.0, 50.0])
    found[:, 0] = sharpened[:, 0] = np.inf  # too few points for a radius
    assert np.isinf(mixed_apexes(found, sharpened, width)[:, 0]).all()


def test_a_quintic_reads_skewed_bends_that_a_cubic_reads_long() -> None:
    # a Kinoshita-like lobe: its sharpest place well before its middle, its tail long
    step, width, radius = 0.5, 4.0, 8.0
    s = np.arange(0.0, 60.0, step)
    lobe = (s / 12.0) ** 2 * np.exp(2.0 - 2.0 * s / 12.0) / radius  # 1 / radius at 12 m
    line = line_of(np.concatenate([lobe, -lobe, lobe]), step)
    read, _ = find_bends(line, step, np.full(len(line), width), PlanformSettings())
    error = np.array([bend.radius_m for bend in read]) / radius - 1.0
    assert np.abs(error).max() < 0.03


@pytest.mark.parametrize("part", [fitted_part, fitted_part.py_func])
def test_of_a_long_bend_its_sharpest_part_is_fitted(part) -> None:
    kappa = np.concatenate([np.linspace(0, 1, 21), np.linspace(1, 0, 81)[1:]])
    # down to 0.3 at 6 upstream and 76 downstream, two steps more on each side
    assert part(kappa, 0, 100, 0.29, 0, 1000, 2) == (4, 78, 20)
    # no more than 10 steps: above 0.9 it is two steps up and eight down
    assert part(kappa, 0, 100, 0.29, 0, 10, 0) == (18, 28, 20)
    # a flat top grows to both sides alike, its ends are the bend's
    assert part(-np.ones(11), 2, 8, 0.3, 0, 100, 1) == (1, 9, 2)
    # a sharp place is fitted with what lies around it, up to the ends of the bend
    spike = np.r_[np.full(20, 0.1), [1.0] * 3, np.full(20, 0.1)]
    assert part(spike, 0, 42, 0.3, 0, 100, 0) == (20, 22, 20)
    assert part(spike, 0, 42, 0.3, 8, 100, 0) == (17, 25, 20)
    assert part(spike, 18, 24, 0.3, 30, 100, 0) == (18, 24, 20)


def test_a_kink_one_width_long_is_not_the_radius_of_a_bend() -> None:
    step, width = 1.0, 10.0
    kappa = np.full(120, 1 / 60.0)  # six widths for 115 degrees, and a kink of 25 more on the way
    kappa[55:65] += np.radians(25) / (10 * step)
    bends, _ = find_bends(line_of(kappa, step), step, np.full(120, width), PlanformSettings())
    assert len(bends) == 1
    # the kink's own radius is 17 m; over three widths the line turns 29 + 25 degrees: 32 m
    assert 25.0 < bends[0].radius_m < 33.0


def test_wiggles_shorter_than_one_and_a_half_widths_are_no_bends() -> None:
    step, width = 1.0, 10.0
    s = np.arange(0.0, 400.0, step)
    wiggles = np.sin(2 * np.pi * s / 26.0) * np.radians(25) * np.pi / 26.0  # 25 degrees, 1.3 widths
    line = line_of(np.where((s > 100) & (s < 300), wiggles, 0.0), step)
    widths, rules = np.full(len(line), width), PlanformSettings(smoothing_widths=0.1)
    every = replace(rules, least_length_widths=0.0)
    # but for the outermost, whose outer half runs out into the straight
    inner = [
        [b for b in find_bends(line, step, widths, told)[0] if 120 < b.apex < 280]
        for told in (rules, every)
    ]
    assert not inner[0]
    assert len(inner[1]) > 10


@pytest.mark.parametrize("fill", [fill_lobes, fill_lobes.py_func])
def test_runs_of_one_sign_reach_to_where_the_line_turns_over(fill) -> None:
    first, last = np.empty(14, np.int64), np.empty(14, np.int64)
    kappa = np.array([0.1, 1, 2, 0.1, -0.1, -3, -0.1, -0.1, -0.1, -0.1, -0.1, -2, -0.1, 0.0])
    count = fill(kappa, np.full(14, 0.5), np.full(14, 3), first, last)
    # the second and third turn alike, five nearly straight points lie between
    assert count == 3
    assert list(zip(first[:3], last[:3], strict=True)) == [(0, 3), (4, 8), (8, 12)]
    count = fill(kappa, np.full(14, 0.5), np.full(14, 6), first, last)
    assert list(zip(first[:count], last[:count], strict=True)) == [(0, 3), (4, 12)]


def test_a_single_point_that_curves_is_no_bend() -> None:
    """With no least turning every lobe is a bend, but one of a single point has no line."""
    settings = PlanformSettings(least_turning_deg=0.0)
    rng = np.random.default_rng(5)
    for _ in range(40):
        xy = line_of(rng.normal(0.0, 0.3, 40), 1.0)
        bends, _ = find_bends(xy, 1.0, np.full(len(xy), 1.0), settings)
        assert all(bend.last > bend.first for bend in bends)
