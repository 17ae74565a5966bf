"""Rank acceptability, Lahdelma & Salminen 2001 (SMAA-2); error, Tervonen & Lahdelma 2007."""

import dataclasses

import numpy as np
import pytest
from draw_models import model

from reachrank.priority.rank_draws import draw_ranks


def test_rows_and_columns_sum_to_one_without_ties():
    for counts in draw_ranks(model(), draws=200, seed=1, top_n=5):
        shares = counts.acceptability()
        np.testing.assert_allclose(shares.sum(axis=1), 1.0)
        np.testing.assert_allclose(shares.sum(axis=0), 1.0)
        assert counts.top_share().sum() == pytest.approx(5.0)


def test_sampling_error_with_the_published_number_of_draws():
    # N = 1.96^2 / (4 d^2): 9604 draws give a share within d = 0.01 at 95 %, and 38416 within 0.005.
    assert round(1.96**2 / (4 * 0.01**2)) == 9604
    # Two alike: each is first in half of the draws. 20 seeds; 95 % within 0.01 means more than 4
    # outside of it has a chance of 0.3 % (binomial).
    pair = model(items=2)
    pair = dataclasses.replace(pair, value=np.full((2, 3), 0.4))
    off = [
        abs(draw_ranks(pair, draws=9604, seed=s, top_n=1)[0].top_share()[0] - 0.5)
        for s in range(20)
    ]
    assert sum(error > 0.01 for error in off) <= 4
    assert max(off) > 0.0005  # it does vary from seed to seed


def test_same_seed_same_ranks_with_any_jobs():
    one = draw_ranks(model(items=101 * 2), draws=70, seed=4, top_n=5, jobs=1)
    three = draw_ranks(model(items=101 * 2), draws=70, seed=4, top_n=5, jobs=3)
    for a, b in zip(one, three, strict=True):
        np.testing.assert_array_equal(a.counts, b.counts)
        np.testing.assert_array_equal(a.top, b.top)
    other = draw_ranks(model(items=101 * 2), draws=70, seed=5, top_n=5)
    assert not np.array_equal(one[0].counts, other[0].counts)
