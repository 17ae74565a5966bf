"""Time and memory of the rank draws: python benchmarks/rank_draws.py [BANKS [DRAWS [JOBS]]]."""

from __future__ import annotations

import sys
import time
import tracemalloc

import numpy as np

from reachrank.priority.rank_draws import DrawModel, bends_of, draw_ranks

KNOTS = ((0.0, 0.0), (0.2, 0.1), (0.4, 0.3), (0.6, 0.6), (0.8, 0.9), (1.0, 1.0))


def made_up(banks: int, factors: int = 8) -> DrawModel:
    """Return banks with an error in every factor but one, a tenth of the values missing."""
    rng = np.random.default_rng(0)
    value = rng.uniform(size=(banks, factors))
    score = np.interp(value, *zip(*KNOTS, strict=True))
    state = np.where(rng.uniform(size=value.shape) < 0.1, 2, 1).astype(np.uint8)
    state[:, 5] = 0
    bound = np.zeros(value.shape, bool)
    bound[:, 7] = rng.uniform(size=banks) < 0.3
    floors = np.zeros((factors, factors), bool)
    floors[7, :2] = True
    exposure = np.where(rng.uniform(size=banks) < 0.5, 0.0, rng.uniform(0, 100, banks))
    knot_x, bend, first = bends_of([KNOTS] * factors)
    return DrawModel(
        state=state, score=score, value=value, value_se=np.full(value.shape, 0.05), bound=bound,
        group=np.array([0, 0, 1, 2, 3, 4, 0, 5]), floors=floors, knot_x=knot_x, bend=bend,
        first_score=first, pool=np.sort(score, axis=0).T.ravel(),
        pool_start=np.arange(factors + 1) * banks, weights=np.full(factors, 1 / factors),
        weight_concentration=40.0, exposure=exposure,
        exposure_state=(exposure > 0).astype(np.uint8), exposure_se=5.0,
        exposure_pool=np.sort(exposure), rule="product", balance=0.5,
        owner=np.arange(banks) // 2, owners=banks // 2,
    )  # fmt: skip


def main(banks: int = 40_000, draws: int = 2_000, jobs: int = 2) -> None:
    """Print seconds and megabytes."""
    draw_ranks(made_up(20), draws=4, seed=1, top_n=10)  # compile
    model = made_up(banks)
    start = time.perf_counter()
    of_banks, _ = draw_ranks(model, draws=draws, seed=1, top_n=10, jobs=jobs)
    of_banks.quantile_high(0.95)
    seconds = time.perf_counter() - start
    tracemalloc.start()
    draw_ranks(model, draws=64, seed=1, top_n=10, jobs=jobs)
    megabytes = tracemalloc.get_traced_memory()[1] / 1e6
    print(f"{banks} banks, {draws} draws, {jobs} jobs: {seconds:.1f} s, {megabytes:.0f} MB")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
