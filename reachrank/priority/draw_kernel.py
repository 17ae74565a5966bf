"""One draw: disturb every bank's measurements, score, sum, and give each its priority."""

from __future__ import annotations

import numba
import numpy as np

from reachrank.priority.random_numbers import fill_normal, nth, stream, uniform

FIXED, NOISY, MISSING = 0, 1, 2
"""How a factor of a bank takes part: score as it is, value with noise, score from the run's."""
PRODUCT, WEIGHTED_MEAN, WHERE_EXPOSED, HAZARD_ONLY = 0, 1, 2, 3
_KEY_SCORE_BITS = 40
_KEY_ITEM_BITS = np.uint64(24)
_DIGIT_BITS, _DIGITS = 10, 4
"""The score's bits in digits; an even number of them, so that sorted keys end where they began."""
_KEY_SCALE = float(2**_KEY_SCORE_BITS - 1)


@numba.njit(cache=True, nogil=True)
def draw_priorities(  # type: ignore[no-untyped-def]  # pragma: no cover
    seed, draw, normal, state, score, value, value_se, bound, group, floors,
    knot_x, bend, first_score, pool, pool_start, weights,
    exposure, exposure_state, exposure_se, exposure_pool, rule, balance, out,
):  # fmt: skip
    """Fill ``out`` with one draw of every bank's priority, 0 to 100.

    Arrays of shape (banks, factors): state, score, value, value_se, bound. ``normal`` is
    `random_numbers.NORMAL_TABLE`. ``group`` names, per factor, the random number it shares;
    ``floors[j, k]`` is True where factor j, being a lower bound, scores at least the weighted mean
    of the factors k. Breakpoints come as a sum of bends, shape (factors, knots): the score is
    first_score plus the sum of bend * max(value - knot_x, 0), which has no branches. ``weights``
    are this draw's. ``balance`` is the unexposed share of the product or the exposure's weight in
    the mean.
    """
    banks, factors = score.shape
    knots = knot_x.shape[1]
    noise = np.empty(group.max() + 2)
    scored = np.empty(factors)
    blocks = (noise.size + 3) // 4
    for i in range(banks):
        random = stream(seed, draw, i)
        fill_normal(random, normal, noise)
        hazard = 0.0
        for j in range(factors):
            part = score[i, j]
            if state[i, j] == NOISY:
                disturbed = value[i, j] + value_se[i, j] * noise[group[j]]
                part = first_score[j]
                for k in range(knots):
                    part += bend[j, k] * max(disturbed - knot_x[j, k], 0.0)
                if bound[i, j]:
                    total, share = 0.0, 0.0
                    for k in range(j):
                        if floors[j, k]:
                            total += weights[k] * scored[k]
                            share += weights[k]
                    if share > 0.0:
                        part = max(part, total / share)
            elif state[i, j] == MISSING:
                size = pool_start[j + 1] - pool_start[j]
                at = np.int64(uniform(nth(random, blocks + j)) * size)
                part = pool[pool_start[j] + min(at, size - 1)]
            scored[j] = part
            hazard += weights[j] * part
        hazard = min(max(100.0 * hazard, 0.0), 100.0)
        lost = exposure[i]
        if exposure_state[i] == NOISY:
            lost = min(max(lost + exposure_se * noise[-1], 0.0), 100.0)
        elif exposure_state[i] == MISSING:
            at = np.int64(uniform(nth(random, blocks + factors)) * exposure_pool.size)
            lost = exposure_pool[min(at, exposure_pool.size - 1)]
        if rule == PRODUCT:
            out[i] = hazard * (balance + (1.0 - balance) * lost / 100.0)
        elif rule == WEIGHTED_MEAN:
            out[i] = (1.0 - balance) * hazard + balance * lost
        elif rule == WHERE_EXPOSED:
            out[i] = hazard if lost > 0.0 else 0.0
        else:
            out[i] = hazard


@numba.njit(cache=True, nogil=True)
def greatest_of_parts(values, owner, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with the greatest value among each owner's parts."""
    out[:] = -1.0
    for i in range(values.size):
        out[owner[i]] = max(out[owner[i]], values[i])


@numba.njit(cache=True, nogil=True)
def sort_keys(scores, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` (uint64) with keys whose order is that of falling scores; 40 bits of score."""
    for i in range(scores.size):
        part = 1.0 - min(max(scores[i], 0.0), 100.0) / 100.0
        out[i] = (np.uint64(part * _KEY_SCALE) << _KEY_ITEM_BITS) | np.uint64(i)


@numba.njit(cache=True, nogil=True)
def sort_by_score(keys, spare):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Sort keys that come in the order of their items; ``spare`` is room of the same shape.

    By the digits of the score, last one first, each time in the order before: four passes over
    the keys, whatever their number.
    """
    count = np.empty(1 << _DIGIT_BITS, np.int64)
    mask = np.uint64((1 << _DIGIT_BITS) - 1)
    given, sorted_ = keys, spare
    for digit in range(_DIGITS):
        shift = _KEY_ITEM_BITS + np.uint64(digit * _DIGIT_BITS)
        count[:] = 0
        for i in range(keys.size):
            count[(given[i] >> shift) & mask] += 1
        before = 0
        for value in range(count.size):
            before, count[value] = before + count[value], before
        for i in range(keys.size):
            value = (given[i] >> shift) & mask
            sorted_[count[value]] = given[i]
            count[value] += 1
        given, sorted_ = sorted_, given


@numba.njit(cache=True, nogil=True)
def ranks_of_sorted(keys, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with competition ranks from sorted keys."""
    item_mask = (np.uint64(1) << _KEY_ITEM_BITS) - np.uint64(1)
    rank = 1
    for position in range(keys.size):
        if position and (keys[position] >> _KEY_ITEM_BITS) != (
            keys[position - 1] >> _KEY_ITEM_BITS
        ):
            rank = position + 1
        out[np.int64(keys[position] & item_mask)] = rank


@numba.njit(cache=True, nogil=True)
def add_counts(ranks, bin_of_rank, top_n, first, last, counts, top):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Count the ranks of items first..last: into bins, and those among the first N."""
    for i in range(first, last):
        for d in range(ranks.shape[0]):
            rank = ranks[d, i]
            counts[i, bin_of_rank[rank - 1]] += 1
            if rank <= top_n:
                top[i] += 1


@numba.njit(cache=True, nogil=True)
def first_bins(counts, need, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with each item's first bin up to which ``need`` draws are counted."""
    for i in range(out.size):
        bin_number = 0
        running = np.int64(counts[i, 0])
        while running < need and bin_number < counts.shape[1] - 1:
            bin_number += 1
            running += counts[i, bin_number]
        out[i] = bin_number


@numba.njit(cache=True, nogil=True)
def _rank(scores, keys, spare, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    sort_keys(scores, keys)
    sort_by_score(keys, spare)
    ranks_of_sorted(keys, out)


@numba.njit(cache=True, nogil=True)
def rank_draws(  # type: ignore[no-untyped-def]  # pragma: no cover
    seed, first, normal, state, score, value, value_se, bound, group, floors,
    knot_x, bend, first_score, pool, pool_start, weights,
    exposure, exposure_state, exposure_se, exposure_pool, rule, balance, owner,
    of_banks, of_owners,
):  # fmt: skip
    """Fill a row of ranks of banks and one of their owners for each draw from ``first`` on.

    ``weights`` and ``balance`` have a row and a value for each draw, ``of_banks`` and ``of_owners``
    (int32) a row; an owner has the greatest priority of its banks. All else is as in
    `draw_priorities`. Many draws in one call: other threads may be busy with the interpreter.
    """
    banks, owners = of_banks.shape[1], of_owners.shape[1]
    priorities, greatest = np.empty(banks), np.empty(owners)
    keys, spare = np.empty(banks, np.uint64), np.empty(banks, np.uint64)
    for n in range(of_banks.shape[0]):
        draw_priorities(
            seed, first + np.uint64(n), normal, state, score, value, value_se, bound, group, floors,
            knot_x, bend, first_score, pool, pool_start, weights[n], exposure, exposure_state,
            exposure_se, exposure_pool, rule, balance[n], priorities,
        )  # fmt: skip
        _rank(priorities, keys, spare, of_banks[n])
        greatest_of_parts(priorities, owner, greatest)
        _rank(greatest, keys[:owners], spare[:owners], of_owners[n])
