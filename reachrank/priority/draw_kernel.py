"""One draw: disturb every bank's measurements, score, sum, and give each its priority."""

from __future__ import annotations

import numba
import numpy as np

from reachrank.priority.random_numbers import fill_normal, nth, stream, uniform

FIXED, NOISY, MISSING = 0, 1, 2
"""How a factor of a bank takes part: score as it is, value with noise, score from the run's."""
PRODUCT, WEIGHTED_MEAN, WHERE_EXPOSED, HAZARD_ONLY = 0, 1, 2, 3
BANKS_AT_ONCE = 256
"""Banks that are drawn together: what is worked out of them stays in the nearest cache."""
_KEY_SCORE_BITS = 40
_KEY_ITEM_BITS = np.uint64(24)
_DIGIT_BITS, _DIGITS = 10, 4
"""The score's bits in digits; an even number of them, so that sorted keys end where they began."""
_KEY_SCALE = float(2**_KEY_SCORE_BITS - 1)


@numba.njit(cache=True, nogil=True)
def draw_priorities(  # type: ignore[no-untyped-def]  # pragma: no cover
    seed, draw, weights, balance, normal, state, score, value, value_se, bound, group, floors,
    knot_x, bend, first_score, pool, pool_start,
    exposure, exposure_state, exposure_se, exposure_pool, rule, out,
):  # fmt: skip
    """Fill ``out`` with one draw of every bank's priority, 0 to 100.

    Arrays of shape (factors, banks): state, score, value, value_se, bound. ``normal`` is
    `random_numbers.NORMAL_TABLE`. ``group`` names, per factor, the random number it shares;
    ``floors[j, k]`` is True where factor j, being a lower bound, scores at least the weighted mean
    of the factors k. Breakpoints come as a sum of bends, shape (factors, knots): the score is
    first_score plus the sum of bend * max(value - knot_x, 0), which has no branches. ``weights``
    are this draw's. ``balance`` is the unexposed share of the product or the exposure's weight in
    the mean.
    """
    factors, banks = score.shape
    knots = knot_x.shape[1]
    most = min(BANKS_AT_ONCE, banks)
    numbers = group.max() + 2
    blocks = (numbers + 3) // 4
    random = np.empty(most, np.uint64)
    noise = np.empty((4 * blocks, most))
    scored = np.empty((factors, most))
    disturbed, least, hazard = np.empty(most), np.empty(most), np.empty(most)
    for first in range(0, banks, BANKS_AT_ONCE):
        count = min(BANKS_AT_ONCE, banks - first)
        for b in range(count):
            random[b] = stream(seed, draw, first + b)
            hazard[b] = 0.0
        fill_normal(random[:count], normal, noise)
        for j in range(factors):
            here = slice(first, first + count)
            kind, fixed, measured = state[j, here], score[j, here], value[j, here]
            se, error, part = value_se[j, here], noise[group[j]], scored[j]
            for b in range(count):
                disturbed[b] = measured[b] + se[b] * error[b]
                part[b] = first_score[j]
            for k in range(knots):
                x, slope = knot_x[j, k], bend[j, k]
                if slope != 0.0:  # all factors have as many bends, some of them none
                    for b in range(count):
                        beyond = disturbed[b] - x
                        part[b] += slope * (beyond if beyond > 0.0 else 0.0)
            for b in range(count):
                part[b] = part[b] if kind[b] == NOISY else fixed[b]
            if floors[j].any():
                _not_below(scored, floors[j], weights, j, kind, bound[j, here], least)
            if _has(kind, MISSING):
                size, start = pool_start[j + 1] - pool_start[j], pool_start[j]
                for b in range(count):
                    at = min(np.int64(uniform(nth(random[b], blocks + j)) * size), size - 1)
                    part[b] = pool[start + at] if kind[b] == MISSING else part[b]
            for b in range(count):
                hazard[b] += weights[j] * part[b]
        kind, lost, total = exposure_state[first : first + count], least, out[first : first + count]
        error = noise[numbers - 1]
        for b in range(count):
            total[b] = min(max(100.0 * hazard[b], 0.0), 100.0)
            known = exposure[first + b]
            drawn = min(max(known + exposure_se * error[b], 0.0), 100.0)
            lost[b] = drawn if kind[b] == NOISY else known
        if _has(kind, MISSING):
            size = exposure_pool.size
            for b in range(count):
                at = min(np.int64(uniform(nth(random[b], blocks + factors)) * size), size - 1)
                lost[b] = exposure_pool[at] if kind[b] == MISSING else lost[b]
        if rule == PRODUCT:
            for b in range(count):
                total[b] *= balance + (1.0 - balance) * lost[b] / 100.0
        elif rule == WEIGHTED_MEAN:
            for b in range(count):
                total[b] = (1.0 - balance) * total[b] + balance * lost[b]
        elif rule == WHERE_EXPOSED:
            for b in range(count):
                total[b] = total[b] if lost[b] > 0.0 else 0.0


@numba.njit(cache=True, nogil=True)
def _has(kinds, kind):  # type: ignore[no-untyped-def]  # pragma: no cover
    seen = 0
    for b in range(kinds.size):
        seen |= kinds[b] == kind
    return seen != 0


@numba.njit(cache=True, nogil=True)
def _not_below(scored, floor, weights, j, kind, bound, least):  # type: ignore[no-untyped-def]  # pragma: no cover
    # a drawn score that is a lower bound is no lower than the weighted mean of those before it
    share = 0.0
    least[:] = 0.0
    for k in range(j):
        if floor[k]:
            share += weights[k]
            for b in range(kind.size):
                least[b] += weights[k] * scored[k, b]
    if share > 0.0:
        for b in range(kind.size):
            if kind[b] == NOISY and bound[b]:
                scored[j, b] = max(scored[j, b], least[b] / share)


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
    count = np.zeros((_DIGITS, 1 << _DIGIT_BITS), np.int64)
    mask = np.uint64((1 << _DIGIT_BITS) - 1)
    bits = np.uint64(_DIGIT_BITS)
    for i in range(keys.size):
        left = keys[i] >> _KEY_ITEM_BITS
        for digit in range(_DIGITS):
            count[digit, left & mask] += 1
            left >>= bits
    given, sorted_ = keys, spare
    for digit in range(_DIGITS):
        shift = _KEY_ITEM_BITS + np.uint64(digit) * bits
        place = count[digit]
        before = 0
        for value in range(place.size):
            before, place[value] = before + place[value], before
        for i in range(keys.size):
            value = (given[i] >> shift) & mask
            sorted_[place[value]] = given[i]
            place[value] += 1
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
    seed, first, weights, balance, normal, state, score, value, value_se, bound, group, floors,
    knot_x, bend, first_score, pool, pool_start,
    exposure, exposure_state, exposure_se, exposure_pool, rule, owner, of_banks, of_owners,
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
            seed, first + np.uint64(n), weights[n], balance[n], normal, state, score, value,
            value_se, bound, group, floors, knot_x, bend, first_score, pool, pool_start, exposure,
            exposure_state, exposure_se, exposure_pool, rule, priorities,
        )  # fmt: skip
        _rank(priorities, keys, spare, of_banks[n])
        greatest_of_parts(priorities, owner, greatest)
        _rank(greatest, keys[:owners], spare[:owners], of_owners[n])
