"""The bank fit on profiles of known shape. Kind of truth: closed forms and stated shapes."""

from __future__ import annotations

import numpy as np
import pytest

from reachrank.bank.angle import face_angle_deg
from reachrank.bank.fit import FIGURES, GROUND, RISE, TOE, TOP, Z_BED, fit_bank


def profile(u: np.ndarray, toe: float, height: float, run: float, ground: float) -> np.ndarray:
    face = np.clip((u - toe) / run, 0, 1) * height
    return 100.0 + face + np.maximum(u - toe - run, 0) * ground


def fit(u: np.ndarray, z: np.ndarray, prior_weight: float = 1e-9) -> np.ndarray | None:
    result = np.full(FIGURES, np.nan)
    found = fit_bank(u, z, 0.5, 0.2, 0.5, 6.0, 1.0, 0.0, prior_weight, np.nan, np.nan, 7, result)
    return result if found else None


@pytest.mark.parametrize(("toe", "height", "run", "ground"), [
    (2.5, 1.5, 1.0, 0.0), (2.5, 1.5, 0.87, 0.05), (3.2, 0.6, 2.2, -0.03), (2.0, 3.5, 3.0, 0.3),
])  # fmt: skip
def test_noise_free_profile_gives_back_what_went_in(
    toe: float, height: float, run: float, ground: float
) -> None:
    u = np.arange(-1.0, 16.0, 0.5)
    result = fit(u, profile(u, toe, height, run, ground))
    assert result is not None
    # knots are refined to a 64th of the sample spacing, 1 cm; a face with two samples on it leaves
    # a little play between them
    assert result[TOE] == pytest.approx(toe, abs=0.03)
    assert result[TOP] == pytest.approx(toe + run, abs=0.03)
    assert result[RISE] == pytest.approx(height, abs=0.01)
    assert result[GROUND] == pytest.approx(ground, abs=0.005)
    assert result[Z_BED] == pytest.approx(100.0, abs=0.01)


def test_the_valley_side_behind_is_ground_not_bank() -> None:
    u = np.arange(-1.0, 20.0, 0.5)
    z = profile(u, 2.5, 1.2, 0.8, 0.35)  # a valley side of 35 % right behind the lip
    result = fit(u, z)
    assert result is not None
    assert result[RISE] == pytest.approx(1.2, abs=0.02)
    assert z.max() - 100 > 5  # highest minus lowest would have said so


def test_a_levee_crest_is_the_top() -> None:
    u = np.arange(-1.0, 14.0, 0.5)
    result = fit(u, profile(u, 2.5, 1.4, 1.2, -0.06))
    assert result is not None
    assert result[TOP] == pytest.approx(3.7, abs=0.03)
    assert result[GROUND] == pytest.approx(-0.06, abs=0.01)


def test_flat_ground_has_no_bank() -> None:
    u = np.arange(-1.0, 14.0, 0.5)
    assert fit(u, np.full(u.size, 100.0)) is None


def test_height_error_under_noise_is_less_than_of_highest_minus_lowest() -> None:
    rng = np.random.default_rng(7)
    u = np.arange(-1.0, 12.0, 0.5)
    truth = profile(u, 2.5, 1.5, 1.2, 0.03)
    fitted, naive = [], []
    for _ in range(300):
        z = truth + rng.normal(0, 0.1, u.size)
        result = fit(u, z, prior_weight=(0.1 / 0.05) ** 2)
        assert result is not None
        fitted.append(result[RISE] - 1.5)
        near = u < 6.0
        naive.append(z[near].max() - z[near].min() - 1.5)
    assert np.mean(np.abs(fitted)) < 0.5 * np.mean(np.abs(naive))
    assert abs(np.mean(fitted)) < 0.03


def test_machine_code_and_python_agree() -> None:
    u = np.arange(-1.0, 9.0, 0.5)
    z = profile(u, 2.5, 1.5, 1.0, 0.02) + np.random.default_rng(2).normal(0, 0.05, u.size)
    compiled, plain = np.empty(FIGURES), np.empty(FIGURES)
    fit_bank(u, z, 0.5, 0.2, 0.5, 6.0, 1.0, 0.0, 0.1, np.nan, np.nan, 6, compiled)
    fit_bank.py_func(u, z, 0.5, 0.2, 0.5, 6.0, 1.0, 0.0, 0.1, np.nan, np.nan, 6, plain)
    np.testing.assert_allclose(compiled, plain, rtol=1e-9)


def test_a_face_the_grid_cannot_see_is_a_lower_bound_and_never_the_answer() -> None:
    # a vertical face of 1.5 m on 1 m cells: at most arctan(1.5 / 2) with two-cell differences
    angle, bound = face_angle_deg(np.array([1.5]), np.array([0.1]), 1.0)
    assert bound[0]
    assert angle[0] == pytest.approx(np.degrees(np.arctan(1.5 / 2.0)))  # 36.9 degrees
    angle, bound = face_angle_deg(np.array([1.5]), np.array([3.0]), 1.0)
    assert not bound[0]
    assert angle[0] == pytest.approx(26.565, abs=1e-3)
