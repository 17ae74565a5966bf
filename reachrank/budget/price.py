"""One price for money: a bound and a choice where streams are limited, and what cannot matter.

With a price on each cent the choice falls apart: every group takes its best few by worth less
price. Any price gives a bound, the lowest bound over all prices is that of the linear relaxation
(Geoffrion 1974, Mathematical Programming Study 2, 82-114). At that price a thing that would cost
more than the gap to force in or out can be left as it is, which leaves a small core for the exact
programme (reduction tests of Ingargiola and Korsh 1973, Management Science 20(4), 460-463).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.budget.value_by_cost import Cents, Floats, Mask

_STEPS = 70
_SAFE = 1e-9
"""Rounding allowed in sums of floats, as a share, before a thing is said not to matter."""


@dataclass(frozen=True)
class Priced:
    """A choice within the amount, the bound, and what forcing each thing the other way costs.

    ``loss`` has shape (n,): the bound falls by so much when a thing is forced in that is out at
    the price, or out that is in; ``at_price`` is what is in there, which may be over the amount.
    """

    chosen: Mask
    worth: float
    bound: float
    at_price: Mask
    loss: Floats

    def settled(self, best: float) -> Mask:
        """Return what can stay as at the price: nothing better than ``best`` changes it."""
        slack = _SAFE * max(1.0, abs(self.bound))
        settled: Mask = self.bound - self.loss < best - slack
        return settled


def price(
    worth: Floats,
    cost_cents: Cents,
    amount_cents: int,
    *,
    group: NDArray[np.intp],
    group_left: NDArray[np.int64],
) -> Priced:
    """Find the price of a cent by halving, and the choice and bound that go with it.

    Parameters
    ----------
    worth, cost_cents, amount_cents
        As for `reachrank.budget.value_by_cost.fill`; every cost fits the amount by itself.
    group, group_left
        Group number of each, and how many of each group may be chosen.
    """
    dear = cost_cents > 0
    low = 0.0
    high = float((worth[dear] / cost_cents[dear]).max(initial=0.0)) * 1.0001 + 1e-12
    best_bound, best_price = np.inf, 0.0
    feasible = np.zeros(worth.size, dtype=np.bool_)
    for step in range(_STEPS):
        now = 0.0 if step == 0 else 0.5 * (low + high)
        reduced = worth - now * cost_cents
        taken = _take(reduced, group, group_left)
        bound = float(reduced[taken].sum()) + now * amount_cents
        if bound < best_bound:
            best_bound, best_price = bound, now
        if int(cost_cents[taken].sum()) <= amount_cents:
            feasible, high = taken, now
            if now == 0.0:
                break  # all that is wanted fits
        else:
            low = now
    reduced = worth - best_price * cost_cents
    chosen = _completed(feasible, reduced, worth, cost_cents, amount_cents, group, group_left)
    at_price = _take(reduced, group, group_left)
    return Priced(
        chosen,
        float(worth[chosen].sum()),
        best_bound,
        at_price,
        _loss(reduced, at_price, group, group_left),
    )


def _take(reduced: Floats, group: NDArray[np.intp], group_left: NDArray[np.int64]) -> Mask:
    """Return the best of each group, as many as it may have, that are worth their price."""
    order = np.lexsort((-reduced, group))
    sorted_group = group[order]
    first = np.searchsorted(sorted_group, np.arange(group_left.size))
    place = np.arange(order.size) - first[sorted_group]
    taken = np.zeros(reduced.size, dtype=np.bool_)
    taken[order] = (place < group_left[sorted_group]) & (reduced[order] > 0.0)
    return taken


def _completed(
    taken: Mask,
    reduced: Floats,
    worth: Floats,
    cost_cents: Cents,
    amount_cents: int,
    group: NDArray[np.intp],
    group_left: NDArray[np.int64],
) -> Mask:
    """Spend what is left on what still fits, the best by worth less price first."""
    chosen = taken.copy()
    rest = amount_cents - int(cost_cents[chosen].sum())
    left = group_left - np.bincount(group[chosen], minlength=group_left.size)
    order = np.lexsort((np.arange(reduced.size), -reduced))
    for item in order[~chosen[order]].tolist():
        if worth[item] > 0.0 and cost_cents[item] <= rest and left[group[item]] > 0:
            chosen[item] = True
            rest -= int(cost_cents[item])
            left[group[item]] -= 1
    return chosen


def _loss(
    reduced: Floats, taken: Mask, group: NDArray[np.intp], group_left: NDArray[np.int64]
) -> Floats:
    count = np.bincount(group[taken], minlength=group_left.size)
    last_in = np.full(group_left.size, np.inf)
    np.minimum.at(last_in, group[taken], reduced[taken])
    makes_room = np.where(count >= group_left, last_in, 0.0)  # what goes when one more comes in
    first_out = np.zeros(group_left.size)
    np.maximum.at(first_out, group[~taken], np.maximum(reduced[~taken], 0.0))
    return np.where(taken, reduced - first_out[group], makes_room[group] - reduced)
