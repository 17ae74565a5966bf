"""Random numbers, scores and ranks of the draws against scipy and numpy."""

import dataclasses

import numpy as np
import pytest
from draw_models import KNOTS, model
from scipy import stats

from reachrank.priority.draw_kernel import ranks_of_sorted, sort_by_score, sort_keys
from reachrank.priority.random_numbers import NORMAL_TABLE, fill_normal, mixed, nth, stream, uniform
from reachrank.priority.rank_draws import bends_of, draw_ranks, one_draw, rank_bins
from reachrank.priority.rule import competition_rank


def _stream(draw, place):
    return np.uint64(stream(1, draw, place))  # a compiled function hands back a plain int


def test_mixing_is_splitmix64():
    # First outputs for the seed 1234567, the widely used check values of SplitMix64 (from memory).
    expected = [6457827717110365317, 3203168211198807973, 9817491932198370423]
    seed = np.uint64(1234567)
    assert [mixed(np.uint64(nth(seed, k))) for k in (1, 2, 3)] == expected


def test_normal_numbers_are_normal():
    table = np.empty((1000, 4))
    fill_normal(np.array([_stream(3, place) for place in range(4)]), NORMAL_TABLE, table)
    for out in (table.ravel(), table.T.ravel()):  # from place to place, and along each stream
        # Kolmogorov-Smirnov at 0.1 %: a sound generator fails one seed of a thousand
        assert stats.kstest(out, "norm").pvalue > 0.001
        assert abs(np.corrcoef(out[:-1], out[1:])[0, 1]) < 4 / np.sqrt(out.size)


def test_streams_of_places_and_draws_are_apart():
    first = np.array([[uniform(_stream(d, p)) for p in range(60)] for d in range(60)])
    assert len(np.unique(first)) == first.size
    assert stats.kstest(first.ravel(), "uniform").pvalue > 0.001
    # correlation of 60 pairs of neighbours: 4 standard errors
    assert abs(np.corrcoef(first[:-1].ravel(), first[1:].ravel())[0, 1]) < 4 / 60


@pytest.mark.parametrize("compiled", [True, False])
def test_ranks_are_scipys(compiled):
    keys_of = sort_keys if compiled else sort_keys.py_func
    sort_of = sort_by_score if compiled else sort_by_score.py_func
    ranks_of = ranks_of_sorted if compiled else ranks_of_sorted.py_func
    scores = np.random.default_rng(1).integers(0, 40, 100).astype(float)
    keys, ranks = np.empty(100, np.uint64), np.empty(100, np.int32)
    keys_of(scores, keys)
    sort_of(keys, np.empty_like(keys))
    ranks_of(keys, ranks)
    expected = stats.rankdata(-scores, method="min")
    np.testing.assert_array_equal(ranks, expected)
    np.testing.assert_array_equal(np.asarray(competition_rank(scores), int), expected)


@pytest.mark.parametrize("count", [0, 1, 5000])
@pytest.mark.parametrize("steps", [1, 7, 10**12])
def test_keys_are_sorted_as_numpy_sorts_them(count, steps):
    scores = 100.0 * np.random.default_rng(3).integers(0, steps, count, endpoint=True) / steps
    keys = np.empty(count, np.uint64)
    sort_keys(scores, keys)
    expected = np.sort(keys)
    sort_by_score(keys, np.empty_like(keys))
    np.testing.assert_array_equal(keys, expected)


def test_breakpoints_as_bends_are_numpys_interp():
    plain = model(items=200, value_se=1e-12, factors=1)
    expected = 100 * np.interp(plain.value[:, 0], *zip(*KNOTS, strict=True))
    # 1e-12 of noise on a slope of at most 2.5, times 100
    np.testing.assert_allclose(one_draw(plain, 0, 0), expected, atol=1e-8)
    beyond = dataclasses.replace(plain, value=plain.value * 4 - 2)
    expected = 100 * np.interp(beyond.value[:, 0], *zip(*KNOTS, strict=True))
    np.testing.assert_allclose(one_draw(beyond, 0, 0), expected, atol=1e-8)


def _all_ranks(made, draws, seed):
    """Keep every rank, as the counts do not, with weights all but fixed."""
    return np.array(
        [stats.rankdata(-one_draw(made, d, seed), method="min") for d in range(draws)], int
    )


def test_counts_and_quantiles_are_those_of_all_ranks_kept():
    made = model(weight_concentration=1e9)
    ranks = _all_ranks(made, 300, 5)
    banks, _ = draw_ranks(made, draws=300, seed=5, top_n=5)
    expected = np.array([[(ranks[:, i] == r).mean() for r in range(1, 31)] for i in range(30)])
    # weights drawn at concentration 1e9 move by 1e-5: a rank or two in all may differ
    assert np.abs(banks.acceptability() - expected).sum() < 0.1
    low = np.quantile(ranks, 0.05, axis=0, method="inverted_cdf")
    high = np.quantile(ranks, 0.95, axis=0, method="inverted_cdf")
    assert np.abs(banks.quantile_low(0.05) - low).max() <= 1
    assert np.abs(banks.quantile_high(0.95) - high).max() <= 1
    np.testing.assert_allclose(banks.top_share(), (ranks <= 5).mean(axis=0), atol=0.01)


def test_bins_are_exact_first_and_within_two_percent_after():
    bins, low, high = rank_bins(50_000)
    assert low[:256].tolist() == high[:256].tolist() == list(range(1, 257))
    assert bins.tolist() == np.repeat(np.arange(low.size), high - low + 1).tolist()
    assert (low[0], high[-1]) == (1, 50_000)
    assert ((high - low) <= 0.02 * low).all()
    assert low.size < 600


def test_wide_bins_report_the_wide_side():
    made = model(items=1200, seed=3, weight_concentration=1e9)
    ranks = _all_ranks(made, 60, 1)
    banks, _ = draw_ranks(made, draws=60, seed=1, top_n=5)
    low = np.quantile(ranks, 0.05, axis=0, method="inverted_cdf")
    high = np.quantile(ranks, 0.95, axis=0, method="inverted_cdf")
    assert (banks.quantile_low(0.05) <= low + 1).all()
    assert (banks.quantile_high(0.95) >= high - 1).all()
    assert (low - banks.quantile_low(0.05) <= 0.02 * low + 1).all()


def test_reach_takes_its_worse_bank():
    made = model(value_se=1e-12, weight_concentration=1e9)
    priorities = one_draw(made, 0, 0).reshape(-1, 2).max(axis=1)
    _, reaches = draw_ranks(made, draws=40, seed=0, top_n=3)
    expected = stats.rankdata(-priorities, method="min")
    np.testing.assert_array_equal(reaches.quantile_low(0.5), expected)


def test_drawn_noise_has_the_stated_spread():
    # One factor, straight breakpoints, value 0.5, error 0.1: priority is 50 with a deviation of 10.
    knots = ((0.0, 0.0), (1.0, 1.0))
    knot_x, bend, first = bends_of([knots])
    made = model(
        items=4000, factors=1, knot_x=knot_x, bend=bend, first_score=first,
        value=np.full((4000, 1), 0.5),
    )  # fmt: skip
    drawn = one_draw(made, 0, 3)
    assert drawn.mean() == pytest.approx(50, abs=4 * 10 / np.sqrt(4000))
    assert drawn.std() == pytest.approx(10, rel=4 / np.sqrt(2 * 4000))


def test_missing_values_are_drawn_from_the_run():
    made = model(items=3000, factors=1, state=np.full((3000, 1), 2, np.uint8))
    drawn = one_draw(made, 0, 3) / 100
    assert stats.ks_2samp(drawn, made.pool).pvalue > 0.001


def test_weights_without_concentration_are_even_on_the_simplex():
    # Evenly spread weights of three: each has mean 1/3 and variance 1/18 (Dirichlet 1, 1, 1). With
    # scores 1, 0, 0 the priority is 100 times the first weight, above 50 in (1 - 0.5)^2 of draws.
    made = model(
        items=2, state=np.zeros((2, 3), np.uint8), score=np.array([[1.0, 0, 0], [0.5, 0.5, 0.5]]),
        weight_concentration=0.0,
    )  # fmt: skip
    banks, _ = draw_ranks(made, draws=9604, seed=11, top_n=1)
    # Tervonen & Lahdelma 2007: 9604 draws for an error of 0.01 at 95 %
    assert banks.top_share()[0] == pytest.approx(0.25, abs=0.01)
