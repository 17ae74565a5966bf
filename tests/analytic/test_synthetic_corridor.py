"""The synthetic corridors do what their truth says."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from shapely.geometry import Point
from shapely.ops import unary_union

from reachrank.synthetic import (
    CORRIDORS,
    Corridor,
    CorridorSpec,
    Crossing,
    Hole,
    make_corridor,
    variant,
)
from reachrank.synthetic.fields import lidar_noise, rough
from reachrank.synthetic.section import BankShape, height_above_water

SMALL = CorridorSpec(length_m=200.0, toe_width_m=4.0, margin_m=20.0, noise_m=0.0)


@pytest.fixture(scope="module")
def plain() -> Corridor:
    return make_corridor(SMALL, seed=4)


def _shape(**changes: float) -> BankShape:
    values = {
        "toe_m": 2.0, "height_m": 1.5, "cot": 0.5, "rounding_m": 0.0, "bench_m": 0.0,
        "behind_ratio": 0.0,
    } | changes  # fmt: skip
    return BankShape(**{name: np.array([value]) for name, value in values.items()})


def test_straight_bank_is_a_trapezoid() -> None:
    bank = _shape()
    distance = np.array([0.0, 2.0, 2.375, 2.75, 9.0])  # run = 1.5 x 0.5 = 0.75
    assert np.allclose(height_above_water(distance, bank), [0.0, 0.0, 0.75, 1.5, 1.5])
    assert bank.angle_deg[0] == pytest.approx(63.43495, abs=1e-5)  # arctan 2
    assert bank.top_m[0] == pytest.approx(2.75)


def test_rounded_lip_is_tangent_to_face_and_ground_and_lower_at_the_corner() -> None:
    bank = _shape(rounding_m=0.3, behind_ratio=0.02)
    x = np.array([bank.top_m[0] - 0.3, bank.top_m[0], bank.top_m[0] + 0.3])
    low, corner, high = height_above_water(x, bank)
    assert low == pytest.approx(1.5 - 0.6)
    assert high == pytest.approx(1.5 + 0.006)
    # A parabola between two tangents passes halfway between their corner and their chord.
    assert corner == pytest.approx(0.5 * (1.5 + 0.5 * (low + high)))


def test_failed_block_keeps_both_scarps_at_the_stated_angle() -> None:
    bank = _shape(bench_m=1.2)
    x = np.arange(2.0, float(bank.top_m[0]), 0.001)
    slope = np.degrees(np.arctan(np.diff(height_above_water(x, bank)) / 0.001))
    scarp = np.abs(slope - bank.angle_deg[0]) < 0.1
    assert np.count_nonzero(~scarp) * 0.001 == pytest.approx(1.2, abs=0.01)
    assert height_above_water(bank.top_m, bank)[0] == pytest.approx(1.5)


def test_surface_at_toe_half_way_and_top_is_the_intended_shape(plain: Corridor) -> None:
    truth = plain.truth
    for side, sign in (("left", 1.0), ("right", -1.0)):
        bank = truth.bank(side)
        for share in (0.0, 0.5, 1.0):
            offset = bank.toe_offset_m + share * (bank.top_offset_m - bank.toe_offset_m)
            x = truth.x_m - sign * offset * np.sin(truth.heading_rad)
            y = truth.y_m + sign * offset * np.cos(truth.heading_rad)
            z = plain.exact_elevation(x, y)
            # A millimetre for the projection onto stations 0.25 m apart.
            assert np.allclose(z, truth.water_m + share * bank.height_m, atol=2e-3)


def test_cells_are_averages_of_the_surface(plain: Corridor) -> None:
    rng = np.random.default_rng(0)
    rows, columns = plain.elevation_m.shape
    truth = plain.truth
    at = rng.integers(200, truth.s_m.size - 200, 25)
    left, cell, top = plain.transform.c, plain.transform.a, plain.transform.f
    column = (truth.left.top_x_m[at] - left) / cell
    row = (top - truth.left.top_y_m[at]) / cell
    steps = (np.arange(40) + 0.5) / 40.0
    for i, j in zip(row.astype(int), column.astype(int), strict=True):
        assert 0 <= i < rows
        assert 0 <= j < columns
        x, y = np.meshgrid(left + cell * (j + steps), top - cell * (i + steps))
        mean = plain.exact_elevation(x.ravel(), y.ravel()).mean()
        # 4 x 4 points against 40 x 40 across a face of at most 60 degrees in a cell of 1 m: a
        # break of slope tan 60 is misplaced by at most half a sub-cell, 0.125 m x 1.73 / 4.
        assert plain.elevation_m[i, j] == pytest.approx(mean, abs=0.055)


def test_fine_grid_without_noise_shows_the_section() -> None:
    corridor = make_corridor(variant(SMALL, cell_m=0.25, margin_m=12.0, length_m=100.0), seed=4)
    truth, surface = corridor.truth, corridor.surface()
    k = int(np.argmin(np.abs(truth.s_m - truth.bends[4].apex_m)))
    across = np.array([np.sin(truth.heading_rad[k]), -np.cos(truth.heading_rad[k])])
    offsets = np.linspace(-8.0, 8.0, 161)  # right is positive
    z = surface.sample(truth.x_m[k] + offsets * across[0], truth.y_m[k] + offsets * across[1])
    flat = np.abs(offsets) < truth.left.toe_offset_m[k] - 0.4
    assert np.allclose(z[flat], truth.water_m[k], atol=0.02)  # the bed falls 3 mm per metre
    for side, sign in (("left", -1.0), ("right", 1.0)):
        bank = truth.bank(side)
        middle = sign * 0.5 * (bank.toe_offset_m[k] + bank.top_offset_m[k])
        half_up = np.interp(middle, offsets, z)
        assert half_up == pytest.approx(truth.water_m[k] + 0.5 * bank.height_m[k], abs=0.05)


def test_the_steep_high_bank_is_the_one_away_from_the_centre_of_the_bend(plain: Corridor) -> None:
    truth = plain.truth
    for bend in truth.bends:
        k = int(np.argmin(np.abs(truth.s_m - bend.apex_m)))
        before, behind = max(k - 20, 0), k + 20
        # The centre of a bend lies on the side of the chord that the arc bows away from.
        chord = np.array(
            [
                (truth.x_m[before] + truth.x_m[behind]) / 2 - truth.x_m[k],
                (truth.y_m[before] + truth.y_m[behind]) / 2 - truth.y_m[k],
            ]
        )
        centre = np.array([truth.x_m[k], truth.y_m[k]]) + 1000.0 * chord
        far = {
            side: np.hypot(
                truth.bank(side).top_x_m[k] - centre[0], truth.bank(side).top_y_m[k] - centre[1]
            )
            for side in ("left", "right")
        }
        assert max(far, key=lambda side: far[side]) == bend.outside_bank
        outside = truth.bank(bend.outside_bank)
        inside = truth.bank("left" if bend.outside_bank == "right" else "right")
        assert outside.angle_deg[k] > inside.angle_deg[k]
        assert outside.height_m[k] > inside.height_m[k]
        assert outside.is_outside[k]


def test_left_bank_is_on_the_left_hand_of_a_canoeist_going_down(plain: Corridor) -> None:
    truth = plain.truth
    assert np.all(np.diff(truth.water_m) <= 0)
    ahead = np.array([np.gradient(truth.x_m), np.gradient(truth.y_m)])
    aside = np.array([truth.left.top_x_m - truth.x_m, truth.left.top_y_m - truth.y_m])
    assert np.all(ahead[0] * aside[1] - ahead[1] * aside[0] > 0)


@pytest.mark.parametrize("sd_m", [0.05, 0.12])
def test_noise_has_the_stated_spread_and_is_alike_over_a_few_cells(sd_m: float) -> None:
    noise = lidar_noise((400, 400), sd_m, np.random.default_rng(3))
    assert noise.std() == pytest.approx(sd_m, rel=0.02)  # 160,000 cells, correlated in part
    neighbour = np.corrcoef(noise[:, 1:].ravel(), noise[:, :-1].ravel())[0, 1]
    far = np.corrcoef(noise[:, 8:].ravel(), noise[:, :-8].ravel())[0, 1]
    # A field smoothed with a Gaussian of s cells is alike by exp(-d^2 / 4 s^2); half of the
    # variance is such a field with s = 1.2.
    assert neighbour == pytest.approx(0.5 * np.exp(-1.0 / (4 * 1.2**2)), abs=0.03)
    assert abs(far) < 0.02
    assert gaussian_filter(noise, 3).std() < 0.35 * sd_m


def test_noise_is_the_only_difference_between_a_noisy_and_a_clean_corridor(plain: Corridor) -> None:
    noisy = make_corridor(variant(SMALL, noise_m=0.08), seed=4)
    assert (noisy.elevation_m - plain.elevation_m).std() == pytest.approx(0.08, rel=0.05)
    assert noisy.lines == plain.lines


def test_same_seed_same_corridor_other_seed_another(plain: Corridor) -> None:
    again = make_corridor(SMALL, seed=4)
    assert np.array_equal(again.elevation_m, plain.elevation_m)
    assert again.lines == plain.lines
    other = make_corridor(SMALL, seed=5)
    assert not np.array_equal(other.truth.left.height_m, plain.truth.left.height_m)


def test_crossing_and_hole_hide_the_banks_there_and_only_there() -> None:
    spec = variant(SMALL, crossings=(Crossing(at_m=60.0),), holes=(Hole(at_m=150.0, radius_m=8.0),))
    corridor = make_corridor(spec, seed=4)
    truth = corridor.truth
    at_road = np.abs(truth.s_m - 60.0) < 2.0
    assert not truth.valid[at_road].any()
    assert np.all(
        corridor.surface().sample(truth.x_m, truth.y_m)[at_road] > truth.water_m[at_road] + 2.0
    )
    holes = np.isnan(corridor.elevation_m)
    assert holes.sum() == pytest.approx(np.pi * 8.0**2, rel=0.1)
    away = (np.abs(truth.s_m - 60.0) > 40.0) & (np.abs(truth.s_m - 150.0) > 40.0)
    assert truth.left.valid[away].all()
    assert truth.right.valid[away].all()


def test_failing_stretches_have_their_height_between_their_limits() -> None:
    spec = variant(
        CORRIDORS["failing_w6"], length_m=400.0, failing=CORRIDORS["failing_w6"].failing[:2]
    )
    truth = make_corridor(variant(spec, houses=()), seed=1).truth
    for part in spec.failing:
        bank = truth.bank(part.side)
        step = truth.s_m[1] - truth.s_m[0]
        assert bank.is_failing.sum() * step == pytest.approx(part.to_m - part.from_m, abs=2 * step)
        core = (truth.s_m > part.from_m + 6.0) & (truth.s_m < part.to_m - 6.0)
        assert np.allclose(bank.height_m[core], part.height_m)
        assert np.allclose(bank.angle_deg[core], part.angle_deg)
        assert bank.height_m[~bank.is_failing].min() < 0.5 * part.height_m


def test_buildings_stand_at_their_stated_distance_from_the_true_top() -> None:
    corridor = make_corridor(CORRIDORS["failing_w6"], seed=1)
    houses, truth = corridor.structures, corridor.truth
    asked = [house.distance_m for house in corridor.spec.houses]
    assert np.allclose(houses["bank_distance_m"], asked, atol=0.01)
    tops = unary_union(
        [
            Point(xy)
            for side in ("left", "right")
            for xy in zip(truth.bank(side).top_x_m, truth.bank(side).top_y_m, strict=True)
        ]
    )
    # Points a quarter of a metre apart: at 6 m that makes 1.3 mm.
    assert np.allclose(houses.distance(tops), houses["bank_distance_m"], atol=0.01)


def test_drawn_line_is_off_by_the_stated_most_and_may_run_upstream() -> None:
    spec = variant(SMALL, line_wander_widths=1.5, line_reversed=True, line_pieces=3)
    corridor = make_corridor(spec, seed=4)
    assert len(corridor.lines) == 3
    middle = corridor.truth.line
    vertices = [Point(xy) for line in corridor.lines for xy in line.coords]
    off = max(middle.distance(point) for point in vertices)
    assert 0.5 * 6.0 < off <= 6.0 + 1e-6
    first = Point(corridor.lines[0].coords[0])
    assert middle.project(first) > 0.9 * middle.length
    assert corridor.lines[0].coords[-1] == corridor.lines[1].coords[0]


def test_every_named_corridor_says_what_it_is() -> None:
    widths = {spec.toe_width_m for spec in CORRIDORS.values()}
    assert {2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0} <= widths
    assert {1.5, 2.0, 2.5, 3.0, 4.0, 6.0} <= {spec.radius_width for spec in CORRIDORS.values()}
    assert min(spec.height_m for spec in CORRIDORS.values()) == 0.4
    assert max(spec.height_m for spec in CORRIDORS.values()) == 4.0


@pytest.mark.parametrize("name", ["sine_w3_tight", "kinoshita_w5", "bar_w12"])
def test_the_top_is_a_lip_with_flatter_ground_behind_it(name: str) -> None:
    corridor = make_corridor(variant(CORRIDORS[name], noise_m=0.0, cell_m=2.0), seed=1)
    truth = corridor.truth
    for side, sign in (("left", 1.0), ("right", -1.0)):
        bank = truth.bank(side)
        seen = bank.valid
        rise = []
        for behind in (0.1, 1.1):
            out = (bank.top_offset_m + behind)[seen]
            x = truth.x_m[seen] - sign * out * np.sin(truth.heading_rad[seen])
            y = truth.y_m[seen] + sign * out * np.cos(truth.heading_rad[seen])
            rise.append(corridor.exact_elevation(x, y))
        slope = np.degrees(np.arctan(rise[1] - rise[0]))
        # Behind the top at most 15 % (8.5 degrees) is built; the flattest faces have 10 degrees.
        assert np.percentile(slope, 99) < 8.6
        assert np.median(slope) < 0.35 * np.median(bank.angle_deg)


def test_heading_is_the_direction_of_the_line_in_the_world(plain: Corridor) -> None:
    truth = plain.truth
    heading = np.arctan2(np.gradient(truth.y_m), np.gradient(truth.x_m))
    off = np.angle(np.exp(1j * (heading - truth.heading_rad)))
    # Half a step at the ends: 0.125 m times the greatest curvature, 1 / 10 m.
    assert np.abs(off).max() < 0.0126


def test_limbs_of_the_neck_come_within_two_widths() -> None:
    truth = make_corridor(variant(CORRIDORS["neck_w5"], cell_m=4.0), seed=1).truth
    xy = np.column_stack([truth.x_m, truth.y_m])[::4]
    s = truth.s_m[::4]
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    apart[np.abs(s[:, None] - s[None]) < 50.0] = np.inf
    assert 5.0 < apart.min() < 2.0 * 5.0


def test_roughness_doubles_with_each_octave_of_wavelengths() -> None:
    step = 0.25
    wave = rough(200_000, step, 64.0, np.random.default_rng(3))
    assert wave.std() == pytest.approx(1.0, rel=0.02)
    power = np.abs(np.fft.rfft(wave)) ** 2
    length_m = 1.0 / np.maximum(np.fft.rfftfreq(wave.size, step), 1e-12)
    octaves = [power[(length_m > low) & (length_m <= 2 * low)].sum() for low in (4.0, 8.0, 16.0)]
    np.testing.assert_allclose(np.sqrt(np.divide(octaves[1:], octaves[:-1])), 2.0, rtol=0.1)
    assert power[length_m > 70.0].sum() < 0.01 * power.sum()


def test_rough_toes_are_each_banks_own() -> None:
    spec = variant(CORRIDORS["rough_w8"], length_m=600.0)
    even = make_corridor(variant(spec, toe_roughness_frac=0.0), seed=2).truth
    truth = make_corridor(spec, seed=2).truth
    np.testing.assert_allclose(truth.x_m, even.x_m)
    width = even.left.toe_offset_m + even.right.toe_offset_m
    away = [truth.bank(side).toe_offset_m / width - 0.5 for side in ("left", "right")]
    for one in away:
        assert 0.015 < one.std() < 0.055
    assert abs(np.corrcoef(*away)[0, 1]) < 0.5
