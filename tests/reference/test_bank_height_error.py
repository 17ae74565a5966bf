"""The standard error of a bank's height and the slope, judged by simulation and by numpy alone."""

import itertools

import numpy as np
import pytest

from reachrank.reaches.slope import bed_slope
from reachrank.reaches.uncertainty import bank_height_se, independent_sections, lasting_error_m


def from_sections(told):
    """Return the part of a standard error that more sections would take away."""
    return np.sqrt(told**2 - lasting_error_m(1.0) ** 2)


def test_noise_alone_gives_the_scatter_of_medians_that_a_simulation_shows():
    rng = np.random.default_rng(7)
    n, noise, draws = 41, 0.12, 4000
    station = np.arange(n) * 20.0
    top = 2.0 + rng.normal(0.0, noise, (draws, n))
    toe = rng.normal(0.0, noise, (draws, n))
    medians = np.median(top - toe, axis=1)
    seen = medians.std(ddof=1)
    told = bank_height_se(np.full(n, 2.0), station, np.full(n, noise), 10.0, 1.0)
    # The scatter of 4000 medians is itself known to 1/sqrt(2 * 4000) = 1.1 %; the large-sample
    # factor 1.2533 is about 1 % high at n = 41. Three times the two together:
    assert from_sections(told) == pytest.approx(seen, rel=0.05)


def test_sections_nearer_than_the_smoothing_length_count_once():
    n, noise, smoothing = 60, 0.12, 10.0
    station = np.arange(n) * 2.0
    rng = np.random.default_rng(11)
    # Noise that is one value for each 10 m and none of its own within: 118 m hold 12 values,
    # which is also 1 + 118 / 10 rounded down.
    blocks = rng.normal(0.0, np.sqrt(2.0) * noise, (4000, 12))
    heights = 2.0 + np.repeat(blocks, 5, axis=1)
    seen = np.median(heights, axis=1).std(ddof=1)
    told = bank_height_se(np.full(n, 2.0), station, np.full(n, noise), smoothing, 1.0)
    # 12 values against 12.8, and a median of an even few: about 5 % between the two.
    assert from_sections(told) == pytest.approx(seen, rel=0.10)
    assert independent_sections(station, smoothing) == pytest.approx(12.8)


def test_real_ups_and_downs_count_only_where_the_noise_is_unknown():
    rng = np.random.default_rng(3)
    heights = rng.normal(2.0, 0.5, 400)
    station = np.arange(400) * 50.0
    told = bank_height_se(heights, station, np.full(400, np.nan), 10.0, 1.0)
    # 1.2533 sigma / sqrt(n); the spread of 400 values is known to about 6 % through the median
    # absolute deviation (efficiency 37 %): 0.5 / sqrt(2 * 400 * 0.37).
    assert from_sections(told) == pytest.approx(1.2533 * 0.5 / 20.0, rel=0.12)
    # the true median of a bank that goes up and down is as well known as its heights are
    known = bank_height_se(heights, station, np.full(400, 0.01), 10.0, 1.0)
    level = bank_height_se(np.full(400, 2.0), station, np.full(400, 0.01), 10.0, 1.0)
    assert known == level


def test_few_sections_are_never_better_known_than_their_noise():
    same = bank_height_se(np.array([2.0, 2.0]), np.array([0.0, 50.0]), np.full(2, 0.1), 10.0, 1.0)
    noise = 1.2533 * np.sqrt(2.0) * 0.1 / np.sqrt(2.0)
    assert from_sections(same) == pytest.approx(noise, rel=1e-3)
    assert np.isnan(bank_height_se(np.array([2.0]), np.zeros(1), np.full(1, np.nan), 10.0, 1.0))
    assert np.isnan(bank_height_se(np.zeros(0), np.zeros(0), np.zeros(0), 10.0, 1.0))


def test_slope_is_the_median_of_all_pairs():
    rng = np.random.default_rng(5)
    station = np.sort(rng.uniform(0.0, 200.0, 25))
    bed = 100.0 + 0.003 * station + rng.normal(0.0, 0.1, 25)
    pairs = [
        (bed[j] - bed[i]) / (station[j] - station[i])
        for i, j in itertools.combinations(range(25), 2)
    ]
    assert bed_slope(station, bed) == pytest.approx(np.median(pairs), rel=1e-12)
    assert np.isnan(bed_slope(station[:2], bed[:2]))


def test_coarser_cells_leave_a_larger_error_however_many_sections_there_are():
    # 10000 sections without noise: all that is left is what the shape and the cells cost
    many = (np.full(10000, 2.0), np.arange(10000) * 50.0, np.zeros(10000), 10.0)
    fine, coarse = (bank_height_se(*many, cell) for cell in (0.5, 3.0))
    # corridors of known height scatter a good 5 cm about it on 3 m cells, half of that on 0.5 m
    assert coarse > 2.0 * fine
    assert 0.01 < fine < 0.03
