"""How firm a rank is: many draws over errors, missing values and weights, kept as counts.

Rank acceptability after Lahdelma & Salminen 2001 (SMAA-2, Oper. Res. 49(3):444-454): the share of
draws in which an item has a rank. Memory is items times a few hundred bins, never items times
draws: every rank up to 256 has a bin of its own, beyond that bins widen by 2 %, so a reported
bound is exact up to rank 256 and within 2 % beyond, always on the wide side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reachrank.priority.draw_kernel import (
    HAZARD_ONLY,
    PRODUCT,
    WEIGHTED_MEAN,
    WHERE_EXPOSED,
    add_counts,
    draw_priorities,
    first_bins,
    rank_draws,
)
from reachrank.priority.random_numbers import NORMAL_TABLE
from reachrank.progress import Progress, silent
from reachrank.running.turns import short_turns
from reachrank.settings.hazard import Knots

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
RULE_NUMBERS = {
    "product": PRODUCT,
    "weighted_mean": WEIGHTED_MEAN,
    "hazard_where_exposed": WHERE_EXPOSED,
    "hazard_only": HAZARD_ONLY,
}
_EXACT_RANKS = 256
_BIN_GROWTH = 1.02
_CHUNK = 32


@dataclass(frozen=True, kw_only=True)
class DrawModel:
    """Everything a draw needs; see `draw_kernel.draw_priorities` for the arrays.

    ``weights`` are those of the settings, summing to 1. ``owner`` says which reach a bank belongs
    to, 0 to ``owners`` - 1; every reach owns at least one bank.
    """

    state: NDArray[np.uint8]
    score: Floats
    value: Floats
    value_se: Floats
    bound: NDArray[np.bool_]
    group: Ints
    floors: NDArray[np.bool_]
    knot_x: Floats
    bend: Floats
    first_score: Floats
    pool: Floats
    pool_start: Ints
    weights: Floats
    weight_concentration: float
    exposure: Floats
    exposure_state: NDArray[np.uint8]
    exposure_se: float
    exposure_pool: Floats
    rule: str
    balance: float
    owner: Ints
    owners: int


@dataclass(frozen=True)
class RankCounts:
    """Counts of ranks over the draws, shape (items, bins), and of being among the first N."""

    counts: NDArray[np.uint16]
    top: NDArray[np.uint32]
    draws: int
    bin_low: Ints
    """Least rank of each bin."""
    bin_high: Ints
    """Greatest rank of each bin."""

    def acceptability(self) -> Floats:
        """Return the share of draws in each bin, shape (items, bins); rows sum to 1."""
        return self.counts / self.draws

    def quantile_low(self, share: float) -> Ints:
        """Return the least rank of the bin that holds that quantile of each item's ranks."""
        return np.asarray(self.bin_low[self._bin(share)], np.int64)

    def quantile_high(self, share: float) -> Ints:
        """Return the greatest rank of the bin that holds that quantile of each item's ranks."""
        return np.asarray(self.bin_high[self._bin(share)], np.int64)

    def top_share(self) -> Floats:
        """Return the share of draws in which an item is among the first N."""
        return self.top / self.draws

    def _bin(self, share: float) -> Ints:
        found = np.empty(self.counts.shape[0], np.int64)
        first_bins(self.counts, math.ceil(share * self.draws - 1e-9), found)
        return found


def draw_ranks(
    model: DrawModel,
    *,
    draws: int,
    seed: int,
    top_n: int,
    jobs: int = 1,
    progress: Progress = silent,
) -> tuple[RankCounts, RankCounts]:
    """Return the rank counts of banks and of reaches, a reach taking its worse bank.

    The same model and seed give the same counts with any number of jobs.
    """
    weights, balance = _drawn_weights(model, draws, seed)
    same = _same_in_all(model)
    of_banks = _Counter(model.score.shape[0], draws, top_n)
    of_owners = _Counter(model.owners, draws, top_n)
    jobs = max(jobs, 1)
    slabs = [counter.slabs(jobs) for counter in (of_banks, of_owners)]
    with short_turns(), ThreadPoolExecutor(jobs) as threads:
        in_turn = threads.map if jobs > 1 else map
        for start in range(0, draws, _CHUNK):
            count = min(_CHUNK, draws - start)
            parts = np.linspace(0, count, jobs + 1).astype(np.int64)

            def rank(job: int, start: int = start, parts: Ints = parts) -> None:
                rows = slice(parts[job], parts[job + 1])
                numbers = slice(start + rows.start, start + rows.stop)
                these = (
                    np.uint64(seed),
                    np.uint64(numbers.start),
                    weights[numbers],
                    balance[numbers],
                )
                ranks = of_banks.ranks[rows], of_owners.ranks[rows]
                rank_draws(*(*these, *same, model.owner, *ranks))

            def add(job: int, count: int = count) -> None:
                of_banks.add(count, slabs[0][job : job + 2])
                of_owners.add(count, slabs[1][job : job + 2])

            for work in (rank, add):
                for _ in in_turn(work, range(jobs)):
                    pass
            progress((start + count) / draws, "ranks drawn")
    return of_banks.result(), of_owners.result()


def one_draw(model: DrawModel, draw: int, seed: int) -> Floats:
    """Return the banks' priorities with the settings' weights and one draw of the measurements."""
    out = np.empty(model.score.shape[0])
    this = np.uint64(seed), np.uint64(draw), model.weights, model.balance
    draw_priorities(*(*this, *_same_in_all(model), out))
    return out


def bends_of(knots: Sequence[Knots]) -> tuple[Floats, Floats, Floats]:
    """Return breakpoints as bends: knot_x and bend, shape (factors, knots), and first_score."""
    most = max((len(k) for k in knots), default=1)
    x, bend = np.zeros((len(knots), most)), np.zeros((len(knots), most))
    first = np.array([k[0][1] for k in knots], np.float64)
    for row, pairs in enumerate(knots):
        at, score = np.array(pairs, np.float64).T
        slope = np.diff(score) / np.diff(at)
        x[row, : at.size] = at
        bend[row, : at.size] = np.diff(np.concatenate(([0.0], slope, [0.0])))
    return x, bend, first


def rank_bins(items: int) -> tuple[NDArray[np.int32], Ints, Ints]:
    """Return the bin of each rank (from rank 1), and the least and greatest rank of each bin."""
    low = [1]
    while low[-1] < items:
        here = low[-1]
        low.append(here + 1 if here <= _EXACT_RANKS else max(here + 1, int(here * _BIN_GROWTH)))
    starts = np.array([value for value in low if value <= max(items, 1)], np.int64)
    highs = np.append(starts[1:] - 1, max(items, 1))
    bins = np.searchsorted(starts, np.arange(1, items + 1), "right") - 1
    return bins.astype(np.int32), starts, highs


class _Counter:
    """Running counts of one kind of item."""

    def __init__(self, items: int, draws: int, top_n: int) -> None:
        self.items, self.draws, self.top_n = items, draws, top_n
        self.bins, self.low, self.high = rank_bins(items)
        self.counts = np.zeros((items, self.low.size), np.uint16)
        self.top = np.zeros(items, np.uint32)
        self.ranks = np.empty((min(_CHUNK, max(draws, 1)), items), np.int32)

    def slabs(self, count: int) -> Ints:
        """Return the ``count`` + 1 edges of parts of the items."""
        return np.linspace(0, self.items, count + 1).astype(np.int64)

    def add(self, rows: int, slab: Ints) -> None:
        """Count the first rows of ranks of the items between two edges."""
        add_counts(
            self.ranks[:rows], self.bins, self.top_n, slab[0], slab[1], self.counts, self.top
        )

    def result(self) -> RankCounts:
        return RankCounts(self.counts, self.top, self.draws, self.low, self.high)


def _same_in_all(model: DrawModel) -> tuple[Any, ...]:
    """Return what `draw_priorities` is given for every draw, a row for each factor."""
    of_banks = model.state, model.score, model.value, model.value_se, model.bound
    return (
        NORMAL_TABLE, *(np.ascontiguousarray(array.T) for array in of_banks),
        model.group, model.floors, model.knot_x, model.bend, model.first_score,
        model.pool, model.pool_start, model.exposure, model.exposure_state, model.exposure_se,
        model.exposure_pool, RULE_NUMBERS[model.rule],
    )  # fmt: skip


def _drawn_weights(model: DrawModel, draws: int, seed: int) -> tuple[Floats, Floats]:
    """Dirichlet about the settings' weights, Beta about the balance; evenly for concentration 0."""
    generator = np.random.default_rng(seed)
    firmness = model.weight_concentration
    shape = model.weights * firmness if firmness > 0 else np.ones_like(model.weights)
    weights = generator.dirichlet(shape, draws)
    weights[~np.isfinite(weights).all(axis=1)] = model.weights
    if not 0.0 < model.balance < 1.0:
        return weights, np.full(draws, model.balance)
    if firmness <= 0:
        return weights, generator.uniform(size=draws)
    a, b = model.balance * firmness, (1.0 - model.balance) * firmness
    return weights, generator.beta(a, b, draws)
