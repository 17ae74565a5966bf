"""Filters of the straightened strip against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from reachrank.channel.line import FAR_SIGMAS, smooth_line, smooth_values
from reachrank.channel.path import LEAST_KNOWN, fill_calm, gaussian_weights


@pytest.mark.parametrize("share_known", [1.0, 0.8, 0.2])
@pytest.mark.parametrize("shape", [(60, 41), (3, 5), (1, 9)])
def test_calm_ground_is_scipys_gaussian_over_what_is_known(shape, share_known):
    rng = np.random.default_rng(3)
    strip = 1500.0 + rng.normal(0.0, 2.0, shape)
    strip[rng.random(shape) >= share_known] = np.nan
    known = np.isfinite(strip)
    value = gaussian_filter(np.where(known, strip, 0.0), (1.0, 0.7), mode="nearest")
    weight = gaussian_filter(known.astype(float), (1.0, 0.7), mode="nearest")
    calm = np.empty(shape)
    fill_calm(strip, gaussian_weights(1.0), gaussian_weights(0.7), calm)
    told = known & (weight > LEAST_KNOWN)
    assert np.isinf(calm[~told]).all()
    np.testing.assert_allclose(calm[told], value[told] / weight[told], rtol=1e-12)


@pytest.mark.parametrize("sigma", [0.4, 2.0, 9.3])
@pytest.mark.parametrize("count", [12, 33, 300])
def test_smoothing_along_is_scipys_gaussian_over_what_is_known(count, sigma):
    rng = np.random.default_rng(4)
    values = rng.normal(100.0, 5.0, count)
    values[1:-1][rng.random(count - 2) < 0.2] = np.nan
    known = np.isfinite(values)
    radius = min(count - 1, int(np.ceil(FAR_SIGMAS * sigma)))
    value, weight = (
        gaussian_filter1d(of, sigma, mode="nearest", radius=radius)
        for of in (np.where(known, values, 0.0), known.astype(float))
    )
    np.testing.assert_allclose(smooth_values(values, sigma), value / weight, rtol=1e-12)


@pytest.mark.parametrize("sigma", [0.4, 2.0, 9.3])
def test_smoothing_a_line_is_scipys_gaussian_with_turned_ends(sigma):
    xy = np.random.default_rng(5).normal(0.0, 1.0, (200, 2)).cumsum(axis=0)
    beyond = np.concatenate([2 * xy[0] - xy[:0:-1], xy, 2 * xy[-1] - xy[-2::-1]])
    radius = int(np.ceil(FAR_SIGMAS * sigma))
    wanted = gaussian_filter1d(beyond, sigma, axis=0, radius=radius)[199:-199]
    np.testing.assert_allclose(smooth_line(xy, sigma), wanted, rtol=0, atol=1e-12)


def test_each_place_is_smoothed_by_its_own_sigma_and_the_same_both_ways():
    rng = np.random.default_rng(6)
    values, sigma = rng.normal(0.0, 1.0, 150), rng.uniform(0.1, 12.0, 150)
    smooth = smooth_values(values, sigma)
    for k in (0, 31, 32, 77, 149):
        assert smooth[k] == pytest.approx(smooth_values(values, sigma[k])[k], rel=1e-12)
    assert np.array_equal(smooth_values(values[::-1], sigma[::-1])[::-1], smooth)
    xy = np.column_stack([values, values[::-1]]).cumsum(axis=0)
    assert np.array_equal(smooth_line(xy[::-1], sigma[::-1])[::-1], smooth_line(xy, sigma))
    np.testing.assert_allclose(smooth_line(xy, sigma)[[0, -1]], xy[[0, -1]], rtol=1e-12)
