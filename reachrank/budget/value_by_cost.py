"""Choose by worth for each dollar, and bound what any choice could reach.

The bound is the linear relaxation of the 0/1 knapsack: fill by worth for each dollar and take a
fraction of the first thing that no longer fits (Dantzig 1957, Operations Research 5(2), 266-288).
Filling alone is not the best choice, so what it reaches is always told together with the bound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Cents = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Filled:
    """A choice, and what no choice within the amount can go beyond.

    ``last_ratio`` is worth for each cent of the first thing that did not fit, 0 where all fit.
    """

    chosen: Mask
    worth: float
    bound: float
    last_ratio: float


def order_by_ratio(worth: Floats, cost_cents: Cents) -> NDArray[np.intp]:
    """Return positions by worth for each cent, the best first; what is free comes first of all.

    Ties go to the greater worth, then to the earlier position.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(cost_cents > 0, worth / np.maximum(cost_cents, 1), np.inf)
    return np.lexsort((np.arange(worth.size), -worth, -ratio))


def fill(
    worth: Floats,
    cost_cents: Cents,
    amount_cents: int,
    *,
    group: NDArray[np.intp] | None = None,
    group_left: NDArray[np.int64] | None = None,
) -> Filled:
    """Choose by worth for each cent; go on past what does not fit; compare with the best single.

    Parameters
    ----------
    worth
        Shape (n,), 0 or more.
    cost_cents
        Shape (n,), whole cents, 0 or more.
    amount_cents
        What there is.
    group, group_left
        Group number of each (shape (n,)) and how many of each group may still be chosen.

    Returns
    -------
    Filled
        A choice within the amount and the limits; the bound ignores the groups, which can only
        lower what is reached, so it holds with them too.

    Examples
    --------
    Knapsack set P02 (operations research test sets, from memory): filling gives 47, the best is 51.

    >>> w, c = np.array([24.0, 13, 23, 15, 16]), np.array([12, 7, 11, 8, 9])
    >>> fill(w, c, 26).worth
    47.0
    """
    fits = (cost_cents <= amount_cents) & (worth > 0.0)
    order = order_by_ratio(worth, cost_cents)
    order = order[fits[order]]
    left = None if group_left is None else group_left.copy()
    chosen = np.zeros(worth.size, dtype=np.bool_)
    rest = int(amount_cents)
    for item in order.tolist():
        if cost_cents[item] > rest:
            continue
        if group is not None and left is not None:
            if left[group[item]] < 1:
                continue
            left[group[item]] -= 1
        chosen[item] = True
        rest -= int(cost_cents[item])
    best = _best_single(worth, fits, group, group_left)
    if best is not None and worth[best] > worth[chosen].sum():
        chosen = np.zeros(worth.size, dtype=np.bool_)
        chosen[best] = True
    bound, last_ratio = relaxed(worth[order], cost_cents[order], amount_cents)
    return Filled(chosen, float(worth[chosen].sum()), bound, last_ratio)


def relaxed(worth: Floats, cost_cents: Cents, amount_cents: int) -> tuple[float, float]:
    """Return the worth of the linear relaxation, and the ratio of the thing that is cut.

    Parameters
    ----------
    worth, cost_cents
        In the order of `order_by_ratio`.
    """
    spent = np.cumsum(cost_cents)
    whole = int(np.searchsorted(spent, amount_cents, side="right"))
    reached = float(worth[:whole].sum())
    if whole == worth.size:
        return reached, 0.0
    rest = amount_cents - (int(spent[whole - 1]) if whole else 0)
    ratio = float(worth[whole] / cost_cents[whole])
    return reached + ratio * rest, ratio


def _best_single(
    worth: Floats,
    fits: Mask,
    group: NDArray[np.intp] | None,
    group_left: NDArray[np.int64] | None,
) -> int | None:
    allowed = fits.copy()
    if group is not None and group_left is not None:
        allowed &= group_left[group] > 0
    return int(np.argmax(np.where(allowed, worth, -1.0))) if allowed.any() else None
