"""The best set within an amount: by worth for each dollar, by one price, and exactly last.

Worths are added up, as if repairs did not help or harm each other; neighbours on one bend can.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from reachrank.budget import exact
from reachrank.budget.price import Priced, price
from reachrank.budget.value_by_cost import Cents, Floats, Mask, fill, order_by_ratio, relaxed
from reachrank.errors import UsageError

Method = Literal["value for cost", "one price for money", "the exact programme"]
_HAIR = 0.9
"""Left out by a hair: worth for each dollar at least this share of the first that did not fit."""


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Candidates, and what the choice must keep to. Arrays have shape (n,).

    ``must`` are in whatever they are worth; ``group`` numbers the streams from 0 and at most
    ``per_group`` of each are chosen (None: no limit).
    """

    worth: Floats
    cost_cents: Cents
    amount_cents: int
    must: Mask
    group: NDArray[np.intp]
    per_group: int | None = None


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The set, what it is worth and costs, and what no set can go beyond."""

    chosen: Mask
    worth: float
    cost_cents: int
    bound: float
    method: Method
    is_in_time: bool
    by_a_hair: NDArray[np.intp]

    @property
    def gap_frac(self) -> float:
        """How far the best set could at most be above this one, as a share of the bound."""
        return max(0.0, 1.0 - self.worth / self.bound) if self.bound > 0.0 else 0.0


def best_set(problem: Problem, *, gap_frac: float = 0.001, time_limit_s: float = 60.0) -> Choice:
    """Choose the set with the most worth within the amount.

    Parameters
    ----------
    problem
        Candidates and limits.
    gap_frac
        The proof asked for: stop when no set can be better by more than this share.
    time_limit_s
        For the exact programme; what was proved by then is told.

    Raises
    ------
    UsageError
        If what must be in costs more than the amount, or breaks the limit for a stream.

    Examples
    --------
    >>> w, c = np.array([24.0, 13, 23, 15, 16]), np.array([12, 7, 11, 8, 9])
    >>> none, one = np.zeros(5, dtype=bool), np.zeros(5, dtype=int)
    >>> best_set(Problem(worth=w, cost_cents=c, amount_cents=26, must=none, group=one)).worth
    51.0
    """
    must = problem.must
    amount = problem.amount_cents - int(problem.cost_cents[must].sum())
    if amount < 0:
        raise UsageError(
            f"What must be in costs ${-(amount - problem.amount_cents) / 100:,.2f}, more than the "
            f"amount of ${problem.amount_cents / 100:,.2f}.",
            hint="Raise --amount or drop a --must.",
        )
    left = _group_left(problem)
    free = ~must & (problem.worth > 0.0) & (problem.cost_cents <= amount)
    if left is not None:
        free &= left[problem.group] > 0
    items = np.flatnonzero(free)
    worth, cost = problem.worth[items], problem.cost_cents[items]
    group = np.zeros(items.size, dtype=np.intp) if left is None else problem.group[items]
    base = float(problem.worth[must].sum())
    limits = np.array([items.size], dtype=np.int64) if left is None else left
    filled = fill(worth, cost, amount, group=group, group_left=limits)
    picked, reached, bound = filled.chosen, filled.worth, filled.bound
    method: Method = "value for cost"
    is_in_time = True
    if items.size and _gap(base + reached, base + bound) > gap_frac:
        method = "one price for money"
        priced = price(worth, cost, amount, group=group, group_left=limits)
        bound = min(bound, priced.bound)
        if priced.worth > reached:
            picked, reached = priced.chosen, priced.worth
        if _gap(base + reached, base + bound) > gap_frac:
            method = "the exact programme"
            core = _solve_core(
                priced, worth, cost, amount, group, limits, reached, gap_frac, time_limit_s
            )
            is_in_time, bound = core.is_in_time, min(bound, max(core.bound, reached))
            if core.chosen is not None and worth[core.chosen].sum() > reached:
                picked = core.chosen
    chosen = must.copy()
    chosen[items[picked]] = True
    total = float(problem.worth[chosen].sum())
    return Choice(
        chosen=chosen,
        worth=total,
        cost_cents=int(problem.cost_cents[chosen].sum()),
        bound=max(base + bound, total),
        method=method,
        is_in_time=is_in_time,
        by_a_hair=_by_a_hair(problem, chosen, filled.last_ratio),
    )


def _solve_core(
    priced: Priced,
    worth: Floats,
    cost: Cents,
    amount: int,
    group: NDArray[np.intp],
    limits: NDArray[np.int64],
    best: float,
    gap_frac: float,
    time_limit_s: float,
) -> exact.Solved:
    """Solve exactly over what the price leaves open; the rest stays as at the price.

    No set that changes the rest is better than ``best``, so the bound for all sets is the greater
    of ``best`` and the core's.
    """
    settled = priced.settled(best)
    kept = settled & priced.at_price
    open_items = np.flatnonzero(~settled)
    base = float(worth[kept].sum())
    left = limits - np.bincount(group[kept], minlength=limits.size)
    rest = amount - int(cost[kept].sum())
    if rest < 0 or (left < 0).any() or not open_items.size:
        return exact.Solved(None, best, True)  # nothing that keeps to the rules is better
    solved = exact.solve(
        worth[open_items], cost[open_items], rest,
        group=group[open_items], group_left=left,
        gap_frac=gap_frac, time_limit_s=time_limit_s,
    )  # fmt: skip
    if solved.chosen is None:
        return exact.Solved(None, base + solved.bound, solved.is_in_time)
    chosen = kept.copy()
    chosen[open_items[solved.chosen]] = True
    return exact.Solved(chosen, base + solved.bound, solved.is_in_time)


def curve(problem: Problem, steps: int = 120) -> tuple[Floats, Floats, Floats]:
    """Return amounts in dollars, the worth that filling reaches, and the bound, each (steps,).

    From nothing to what all candidates cost together. Where streams are limited, filling takes
    the best of each stream up to its limit; the bound ignores the limit.
    """
    order = order_by_ratio(problem.worth, problem.cost_cents)
    order = np.concatenate([order[problem.must[order]], order[~problem.must[order]]])
    taken = order[_within_groups(problem, order)]
    most = max(int(problem.cost_cents.sum()), problem.amount_cents, 1)
    amounts = np.unique(
        np.append(np.linspace(0, most, steps).astype(np.int64), problem.amount_cents)
    )
    spent = np.cumsum(problem.cost_cents[taken])
    reached = np.concatenate([[0.0], np.cumsum(problem.worth[taken])])
    low = reached[np.searchsorted(spent, amounts, side="right")]
    by_ratio = order_by_ratio(problem.worth, problem.cost_cents)
    worth, cost = problem.worth[by_ratio], problem.cost_cents[by_ratio]
    high = np.array([relaxed(worth, cost, int(amount))[0] for amount in amounts])
    return amounts / 100.0, low.astype(np.float64), high


def _gap(reached: float, bound: float) -> float:
    return 1.0 - reached / bound if bound > 0.0 else 0.0


def _group_left(problem: Problem) -> NDArray[np.int64] | None:
    if problem.per_group is None:
        return None
    count = int(problem.group.max(initial=-1)) + 1
    used = np.bincount(problem.group[problem.must], minlength=count).astype(np.int64)
    left = problem.per_group - used
    if (left < 0).any():
        raise UsageError(
            f"What must be in has {int(used.max())} repairs on one stream, more than the limit of "
            f"{problem.per_group}.",
            hint="Raise --per-stream-cap or drop a --must.",
        )
    return left


def _within_groups(problem: Problem, order: NDArray[np.intp]) -> Mask:
    if problem.per_group is None:
        return np.ones(order.size, dtype=np.bool_)
    seen: dict[int, int] = {}
    keep = np.zeros(order.size, dtype=np.bool_)
    for place, item in enumerate(order.tolist()):
        number = int(problem.group[item])
        seen[number] = seen.get(number, 0) + 1
        keep[place] = seen[number] <= problem.per_group
    return keep


def _by_a_hair(problem: Problem, chosen: Mask, last_ratio: float) -> NDArray[np.intp]:
    """Return what was left out though its worth for each cent is nearly that of the margin."""
    if last_ratio <= 0.0:
        return np.empty(0, dtype=np.intp)
    order = order_by_ratio(problem.worth, problem.cost_cents)
    ratio = problem.worth / np.maximum(problem.cost_cents, 1)
    return order[(~chosen[order]) & (ratio[order] >= _HAIR * last_ratio)]
