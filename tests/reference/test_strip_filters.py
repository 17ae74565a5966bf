"""Filters of the straightened strip against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

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
