"""Statistics of many groups and slopes of beds, with numpy and scipy as judges."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from reachrank.grouped import (
    group_greatest,
    group_medians,
    group_quantiles,
    group_sums,
    rows_by_group,
    starts_of,
)
from reachrank.reaches.slope import bed_slope, falling_slopes


@pytest.fixture
def groups():
    """Make groups of a few values in mixed order, a tenth of them missing; some rows in none."""
    generator = np.random.default_rng(20)
    group = generator.integers(-1, 60, 900)
    values = np.round(generator.normal(size=900), 1)  # rounded, so that equal values occur
    values[generator.random(900) < 0.1] = np.nan
    values[group == 7] = np.nan
    return np.where(group == 9, -1, group), values


@pytest.mark.parametrize(
    ("ours", "judge"),
    [
        (group_medians, np.median),
        (group_greatest, np.max),
        (lambda v, s: group_quantiles(v, s, 0.9), lambda v: np.quantile(v, 0.9)),
        (lambda v, s: group_quantiles(v, s, 0.3), lambda v: np.quantile(v, 0.3)),
    ],
)
def test_each_group_is_what_the_library_says_of_it_alone(groups, ours, judge):
    group, values = groups
    rows, starts = rows_by_group(group, 61)
    found = ours(values[rows], starts)
    for k in range(61):
        own = values[group == k]
        own = own[np.isfinite(own)]
        if own.size:
            assert found[k] == judge(own)
        else:
            assert np.isnan(found[k])
    assert np.isnan(found[[7, 9, 60]]).all()


def test_sums_of_true_values_and_of_empty_groups(groups):
    group, values = groups
    rows, starts = rows_by_group(group, 61)
    found = group_sums(values[rows] > 0.0, starts)
    assert found.tolist() == [int((values[group == k] > 0.0).sum()) for k in range(61)]


def test_the_slope_of_the_bed_is_the_median_of_all_pairs_of_points():
    generator = np.random.default_rng(21)
    station = np.sort(generator.uniform(0.0, 500.0, 81))
    station[10] = station[11]  # a pair without a slope
    bed = 100.0 + 0.004 * station + generator.normal(0.0, 0.3, 81)
    bed[generator.random(81) < 0.1] = np.nan
    known = np.isfinite(bed)
    assert bed_slope(station, bed) == theilslopes(bed[known], station[known])[0]


def test_the_window_is_doubled_until_the_bed_falls():
    # A bed that falls by 0.002 m per m with a pool 40 m long at its middle whose bed runs up.
    station = np.arange(0.0, 400.0, 5.0)
    bed = 0.002 * station
    pool = (station >= 180.0) & (station <= 220.0)
    bed[pool] -= 0.01 * (station[pool] - 180.0)
    starts = starts_of(np.array([0, station.size]))
    range_of = np.array([1, 0]), np.full(2, 185.0), np.full(2, 215.0), np.array([20.0, 20.0])
    within = (station >= 185.0) & (station <= 215.0)
    first = theilslopes(bed[within], station[within])[0]
    assert first < 0.0
    found = falling_slopes(station, bed, starts, *range_of)
    half_m = 15.0
    while first <= 0.0:
        half_m *= 2.0
        within = np.abs(station - 200.0) <= half_m
        first = theilslopes(bed[within], station[within])[0]
    assert found[0] == first
    assert np.isnan(found[1])  # a stream without sections
