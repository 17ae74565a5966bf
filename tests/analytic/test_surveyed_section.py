"""Surveyed sections: trapezoid, two stages, V, levee. Kind of truth: stated shapes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from reachrank.errors import InputError
from reachrank.survey.edges import bank_edges


def test_trapezoid_with_sharp_berms_is_exact() -> None:
    edges = bank_edges([0, 10, 12, 16, 17, 27], [1.5, 1.5, 0, 0, 1.5, 1.5])
    assert (edges.left_top_m, edges.left_toe_m) == (10.0, 12.0)
    assert (edges.right_toe_m, edges.right_top_m) == (16.0, 17.0)
    assert edges.left_height_m == edges.right_height_m == 1.5
    assert edges.left_angle_deg == pytest.approx(36.87, abs=0.01)
    assert edges.right_angle_deg == pytest.approx(56.31, abs=0.01)
    assert edges.bankfull_width_m == pytest.approx(7.0)
    assert edges.flags == ()


def test_left_and_right_are_not_mixed_up() -> None:
    # looking downstream the high bank is on the left
    edges = bank_edges([0, 8, 10, 14, 16, 24], [3.0, 3.0, 0, 0, 1.0, 1.0])
    assert edges.left_height_m == 3.0
    assert edges.right_height_m == 1.0
    assert edges.bankfull_width_m == pytest.approx(16 - (10 - 2 / 3))


def test_lower_lip_of_a_two_stage_channel_or_its_upper_one_but_never_between() -> None:
    x = [0, 10, 12, 20, 21, 25, 26, 34, 36, 46]
    z = [3.0, 3.0, 1.2, 1.2, 0.0, 0.0, 1.2, 1.2, 3.0, 3.0]
    edges = bank_edges(x, z)
    assert edges.left_top_m in (20.0, 10.0)
    assert edges.right_top_m in (26.0, 36.0)
    assert edges.left_height_m in (1.2, 3.0)


def test_a_v_without_a_lip_has_no_top() -> None:
    x = np.linspace(-20, 20, 41)
    edges = bank_edges(x, 0.4 * np.abs(x))
    assert math.isnan(edges.left_top_m)
    assert math.isnan(edges.right_top_m)
    assert math.isnan(edges.bankfull_width_m)
    assert set(edges.flags) == {"no_left_top", "no_right_top", "no_channel"}


def test_the_crest_of_a_levee_is_the_top() -> None:
    x = [0, 10, 14, 16, 20, 22, 26, 40]
    z = [1.2, 1.2, 2.0, 0.0, 0.0, 2.0, 1.2, 1.2]
    edges = bank_edges(x, z)
    assert (edges.left_top_m, edges.right_top_m) == (14.0, 22.0)


def test_a_valley_wall_behind_is_left_alone() -> None:
    x = [0, 20, 28, 30, 34, 36, 44, 64]
    z = [9.0, 2.0, 1.5, 0.0, 0.0, 1.5, 2.0, 9.0]
    edges = bank_edges(x, z)
    assert edges.left_height_m == pytest.approx(1.5)
    assert edges.right_top_m == 36.0


def test_unevenly_spaced_points_and_a_vertical_face() -> None:
    x = [0.0, 3.0, 3.2, 7.9, 8.0, 8.0, 9.5, 10.3, 12.0, 14.1, 19.0]
    z = [2.1, 2.05, 2.0, 2.0, 1.95, 0.1, 0.0, 0.02, 0.05, 1.2, 1.25]
    edges = bank_edges(x, z)
    assert edges.left_top_m == pytest.approx(8.0, abs=0.15)
    assert edges.left_angle_deg > 80
    assert edges.right_top_m == pytest.approx(14.1, abs=0.01)
    assert edges.right_height_m == pytest.approx(1.15, abs=0.02)


def test_reversing_a_section_swaps_its_banks() -> None:
    x = np.array([0, 8, 10, 14, 16, 24.0])
    z = np.array([3.0, 3.0, 0, 0, 1.0, 1.0])
    a = bank_edges(x, z)
    b = bank_edges(24 - x[::-1], z[::-1])
    assert (a.left_height_m, a.right_height_m) == (b.right_height_m, b.left_height_m)
    assert a.left_top_m == pytest.approx(24 - b.right_top_m)


@pytest.mark.parametrize(("x", "z", "words"), [
    ([0, 1, 2], [1, 0, 1], "at least five"),
    ([0, 1, 2, 3, 4], [1, 0, 0, math.nan, 1], "missing"),
    ([4, 3, 2, 1, 0], [1, 0, 0, 0, 1], "grow"),
    ([0, 1, 2, 3, 4], [1, 0, 0, 1], "as many"),
])  # fmt: skip
def test_bad_profiles_say_what_is_wrong(x: list[float], z: list[float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        bank_edges(x, z)
