"""The exact programme: a 0/1 knapsack with limits for groups, solved by HiGHS through scipy."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.budget.silence import stdout_silenced
from reachrank.budget.value_by_cost import Cents, Floats, Mask

_TRIES = 4
_MOST_PREPARED = 2000


@dataclass(frozen=True)
class Solved:
    """A choice (None where none was found in time) and the bound that the solver proved."""

    chosen: Mask | None
    bound: float
    is_in_time: bool


def solve(
    worth: Floats,
    cost_cents: Cents,
    amount_cents: int,
    *,
    group: NDArray[np.intp] | None = None,
    group_left: NDArray[np.int64] | None = None,
    gap_frac: float = 0.0,
    time_limit_s: float = 60.0,
) -> Solved:
    """Choose the most worth within the amount and the limits of the groups.

    Parameters
    ----------
    worth, cost_cents, amount_cents, group, group_left
        As for `reachrank.budget.value_by_cost.fill`; every cost fits the amount by itself.
    gap_frac
        The solver may stop when it has proved to be within this share of the best.
    time_limit_s
        It stops then with what it has.

    Notes
    -----
    The solver calls a number whole when it is within 1e-6 of one, so that a rounded choice can go
    over the amount by some cents. The sum is made again in whole cents; where it is over, the
    programme is solved once more with so much less to spend. A bound that was proved for the whole
    amount stays true.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415  (slow to load)
    from scipy.sparse import csr_array  # noqa: PLC0415

    count = worth.size
    scale = max(float(worth.max(initial=0.0)), 1e-300)
    limits = []
    if group is not None and group_left is not None:
        where = (group, np.arange(count))
        members = csr_array((np.ones(count), where), shape=(group_left.size, count))
        limits.append(LinearConstraint(members, -np.inf, group_left.astype(np.float64)))
    # On thousands of columns the solver's preparation takes minutes and does not watch the clock.
    prepares = count <= _MOST_PREPARED
    began = time.monotonic()
    bound, is_in_time = float(worth.sum()), True
    spend = int(amount_cents)
    for _ in range(_TRIES):
        money = LinearConstraint(cost_cents[np.newaxis, :] / 100.0, -np.inf, spend / 100.0)
        with stdout_silenced():
            result = milp(
                -worth / scale,
                integrality=np.ones(count),
                bounds=Bounds(0.0, 1.0),
                constraints=[money, *limits],
                options={
                    "mip_rel_gap": gap_frac,
                    "time_limit": max(time_limit_s - (time.monotonic() - began), 0.01),
                    "presolve": prepares,
                    "disp": False,
                },
            )
        is_in_time = is_in_time and result.status != 1
        if spend == amount_cents and result.mip_dual_bound is not None:
            bound = min(bound, float(-result.mip_dual_bound * scale))
        if result.x is None:
            return Solved(None, bound, is_in_time)
        chosen: Mask = result.x > 0.5
        over = int(cost_cents[chosen].sum()) - amount_cents
        if over <= 0 and _within(chosen, group, group_left):
            return Solved(chosen, bound, is_in_time)
        spend -= max(over, 1)
    return Solved(None, bound, is_in_time)


def _within(
    chosen: Mask, group: NDArray[np.intp] | None, group_left: NDArray[np.int64] | None
) -> bool:
    if group is None or group_left is None:
        return True
    return bool((np.bincount(group[chosen], minlength=group_left.size) <= group_left).all())
