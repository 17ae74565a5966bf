"""Random numbers that depend on where they are used and on nothing else.

Each pair of draw and place has its own stream (SplitMix64: Steele, Lea & Flood 2014, OOPSLA), so
the result is the same for any number of threads and any order of work.
"""

from __future__ import annotations

import numba
import numpy as np
from scipy.special import ndtri

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX_A = np.uint64(0xBF58476D1CE4E5B9)
_MIX_B = np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31, _S11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)
_S16, _S32, _S48, _LOW = np.uint64(16), np.uint64(32), np.uint64(48), np.uint64(0xFFFF)


@numba.njit(cache=True, nogil=True, inline="always")
def mixed(state):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return 64 well-mixed bits of a 64-bit state."""
    z = (state ^ (state >> _S30)) * _MIX_A
    z = (z ^ (z >> _S27)) * _MIX_B
    return z ^ (z >> _S31)


@numba.njit(cache=True, nogil=True, inline="always")
def stream(seed, draw, place):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the first state of the stream of a draw at a place."""
    start = mixed(np.uint64(seed) + _STEP)
    start = mixed(start ^ (np.uint64(draw) * _MIX_A + _STEP))
    return mixed(start ^ (np.uint64(place) * _MIX_B + _STEP))


@numba.njit(cache=True, nogil=True, inline="always")
def nth(state, number):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the state that many steps on."""
    return state + np.uint64(number) * _STEP


@numba.njit(cache=True, nogil=True, inline="always")
def uniform(state):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return a number evenly spread over 0 to 1, both ends left out."""
    return (np.float64(mixed(state) >> _S11) + 0.5) * (1.0 / 9007199254740992.0)


NORMAL_BITS = 16
NORMAL_TABLE = ndtri((np.arange(2**NORMAL_BITS) + 0.5) / 2**NORMAL_BITS).astype(np.float32)
"""Standard normal quantiles at 65,536 evenly spaced probabilities: ends at 4.3 either way; four
entries are drawn with one mix of 64 bits."""


@numba.njit(cache=True, nogil=True)
def fill_normal(states, table, out):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Fill ``out`` with independent standard normal numbers, read from `NORMAL_TABLE`.

    Four rows of it for each mix, and a column for each of ``states``.
    """
    for block in range(out.shape[0] // 4):
        a, b, c, d = out[4 * block], out[4 * block + 1], out[4 * block + 2], out[4 * block + 3]
        for i in range(states.size):
            bits = mixed(nth(states[i], block))
            a[i] = table[bits & _LOW]
            b[i] = table[(bits >> _S16) & _LOW]
            c[i] = table[(bits >> _S32) & _LOW]
            d[i] = table[bits >> _S48]
