"""The bank found behind what a grid shows of it. Kind of truth: closed forms and stated shapes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline

from reachrank.bank.averaged import WORK_SHAPE, averaged_hinge, fit_averaged
from reachrank.bank.fit import FIGURES, GROUND, RISE, TOE, TOP, Z_BED, fit_bank

TOE_CELLS, PRIOR_WEIGHT = 5.3, 1e-6


def seen(height: float, run: float, ground: float, cell: float = 1.0) -> np.ndarray:
    """Return a bank's profile as a grid shows it, at offsets every half cell from 0.

    Profiles lie anyhow over the cells and are smoothed along the channel: the mean over all ways
    in which a grid can lie.
    """
    profiles = []
    for phase in np.arange(0.0, 1.0, 0.05):
        fine = (np.arange(-12.0, 32.0, 0.01) + 0.005 + phase) * cell
        toe = TOE_CELLS * cell
        exact = 100.0 + np.clip((fine - toe) / run, 0, 1) * height
        exact += np.maximum(fine - toe - run, 0) * ground
        cells = exact.reshape(-1, 100).mean(axis=1)
        middles = (np.arange(-12.0, 32.0) + 0.5 + phase) * cell
        profiles.append(np.interp(np.arange(0.0, 20.0, 0.5) * cell, middles, cells))
    return np.mean(profiles, axis=0)


def straight_lines(u: np.ndarray, z: np.ndarray, cell: float = 1.0) -> np.ndarray:
    result = np.full(FIGURES, np.nan)
    assert fit_bank(
        u, z, 0.5 * cell, 0.2, 0.5, 9.0 * cell, 1.5 * cell, 0.0, PRIOR_WEIGHT, np.nan, np.nan, 6,
        result,
    )  # fmt: skip
    return result


def averaged(u: np.ndarray, z: np.ndarray, start: np.ndarray, cell: float = 1.0) -> np.ndarray:
    bank = np.full(FIGURES, np.nan)
    fit_averaged(u, z, u.size, cell, 0.0, PRIOR_WEIGHT, np.empty(WORK_SHAPE), start, bank)
    return bank


def test_a_corner_is_averaged_as_by_scipy() -> None:
    """Box and triangle make the quadratic B-spline; scipy integrates it twice."""
    kernel = BSpline.basis_element([-1.5, -0.5, 0.5, 1.5], extrapolate=False)
    once, twice = kernel.antiderivative(1), kernel.antiderivative(2)
    for v in np.linspace(-1.49, 1.49, 41):
        value, slope = averaged_hinge(v)
        assert value == pytest.approx(float(twice(v)), abs=1e-12)
        assert slope == pytest.approx(float(once(v)), abs=1e-12)
    assert averaged_hinge(-1.6) == (0.0, 0.0)
    assert averaged_hinge(2.5) == (2.5, 1.0)


@pytest.mark.parametrize("cell", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("ground", [0.0, 0.05, -0.05])
@pytest.mark.parametrize("run_cells", [1.0, 1.5, 2.0, 2.5, 4.0])
def test_the_bank_comes_back_from_its_averages(run_cells, ground, cell) -> None:
    u, run = np.arange(0.0, 20.0, 0.5) * cell, run_cells * cell
    z = seen(2.0, run, ground, cell)
    straight = straight_lines(u, z, cell)
    bank = averaged(u, z, straight, cell)
    assert bank[TOP] - bank[TOE] == pytest.approx(run, abs=0.03 * cell)
    assert bank[TOP] == pytest.approx(TOE_CELLS * cell + run, abs=0.02 * cell)
    assert bank[RISE] == pytest.approx(2.0, abs=0.005)
    assert bank[GROUND] == pytest.approx(ground, abs=0.001)
    assert bank[Z_BED] == pytest.approx(100.0, abs=0.003)
    assert straight[TOP] - straight[TOE] - run > 0.1 * cell  # what it is for


def test_under_noise_the_middle_of_many_is_the_truth() -> None:
    rng = np.random.default_rng(11)
    u, runs, heights = np.arange(0.0, 20.0, 0.5), [], []
    exact = seen(1.5, 2.2, 0.02)
    for _ in range(400):
        z = exact + rng.normal(0.0, 0.04, u.size)
        bank = averaged(u, z, straight_lines(u, z))
        runs.append(bank[TOP] - bank[TOE])
        heights.append(bank[RISE])
    assert np.median(runs) == pytest.approx(2.2, abs=0.03)
    assert np.median(heights) == pytest.approx(1.5, abs=0.01)
    assert np.std(heights) < 0.04


def test_a_wall_of_no_run_stays_a_wall() -> None:
    u = np.arange(0.0, 20.0, 0.5)
    z = seen(2.0, 0.02, 0.0)
    bank = averaged(u, z, straight_lines(u, z))
    assert bank[TOP] - bank[TOE] < 0.5
    assert bank[RISE] == pytest.approx(2.0, abs=0.02)


def test_no_bank_of_the_kind_leaves_finite_figures() -> None:
    """Whatever the profile, the figures are no worse than where the search began."""
    rng = np.random.default_rng(3)
    u = np.arange(0.0, 12.0, 0.5)
    for _ in range(300):
        z = np.cumsum(rng.normal(0.05, 0.3, u.size))
        start = np.full(FIGURES, np.nan)
        if not fit_bank(u, z, 0.5, 0.2, 0.5, 6.0, 1.5, 0.0, 0.1, np.nan, np.nan, 6, start):
            continue
        bank = averaged(u, z, start)
        assert np.isfinite(bank).all()
        assert bank[RISE] > 0
        assert bank[TOP] > bank[TOE]
        assert abs(bank[TOP] - start[TOP]) < 6.0


def test_machine_code_and_python_agree() -> None:
    u = np.arange(0.0, 12.0, 0.5)
    z = seen(1.2, 1.8, 0.03)[: u.size]
    start = straight_lines(u, z)
    compiled, plain = np.empty(FIGURES), np.empty(FIGURES)
    work = np.empty(WORK_SHAPE)
    fit_averaged(u, z, u.size, 1.0, 0.0, 0.1, work, start, compiled)
    fit_averaged.py_func(u, z, u.size, 1.0, 0.0, 0.1, work, start, plain)
    np.testing.assert_allclose(compiled, plain, rtol=1e-9)
