"""Made-up models for the rank draws."""

import dataclasses

import numpy as np

from reachrank.priority.rank_draws import DrawModel, bends_of

KNOTS = ((0.0, 0.0), (0.3, 0.2), (0.5, 0.7), (1.0, 1.0))


def model(items=30, *, seed=0, value_se=0.1, factors=3, **changed):
    rng = np.random.default_rng(seed)
    value = rng.uniform(size=(items, factors))
    score = np.interp(value, *zip(*KNOTS, strict=True))
    knot_x, bend, first = bends_of([KNOTS] * factors)
    made = DrawModel(
        state=np.ones((items, factors), np.uint8),
        score=score,
        value=value,
        value_se=np.full((items, factors), value_se),
        bound=np.zeros((items, factors), bool),
        group=np.arange(factors),
        floors=np.zeros((factors, factors), bool),
        knot_x=knot_x,
        bend=bend,
        first_score=first,
        pool=np.sort(score, axis=0).T.ravel(),
        pool_start=np.arange(factors + 1) * items,
        weights=np.full(factors, 1 / factors),
        weight_concentration=40.0,
        exposure=np.zeros(items),
        exposure_state=np.zeros(items, np.uint8),
        exposure_se=5.0,
        exposure_pool=np.zeros(1),
        rule="product",
        balance=1.0,
        owner=np.arange(items) // 2,
        owners=items // 2,
    )
    return dataclasses.replace(made, **changed)
