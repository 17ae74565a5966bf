"""Profiles as text: whole centimetres with commas between, for a hundred thousand of them."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

_LONGEST = 8
"""Bytes that one value takes at most: a sign, six digits, a comma."""
_MOST_CM = 999_999


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _write(above, first, ends, out):  # type: ignore[no-untyped-def]
    # each row from its first known value to its last; ``ends[i]`` is where its text ends in ``out``
    rows, columns = above.shape
    digits = np.empty(_LONGEST, np.uint8)
    at = 0
    for i in range(rows):
        first[i] = -1
        last = -1
        for j in range(columns):
            if np.isfinite(above[i, j]):
                if first[i] < 0:
                    first[i] = j
                last = j
        if first[i] >= 0:
            for j in range(first[i], last + 1):
                if j > first[i]:
                    out[at] = 44  # a comma
                    at += 1
                if not np.isfinite(above[i, j]):
                    continue
                value = int(np.rint(min(max(above[i, j] * 100.0, -_MOST_CM), _MOST_CM)))
                if value < 0:
                    out[at] = 45  # a minus
                    at += 1
                    value = -value
                count = 0
                while value > 0 or count == 0:
                    digits[count] = 48 + value % 10
                    value //= 10
                    count += 1
                for k in range(count - 1, -1, -1):
                    out[at] = digits[k]
                    at += 1
        ends[i] = at


def centimetre_texts(
    above_m: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
    """Return the place of each row's first known value and the row as text from there on.

    Parameters
    ----------
    above_m
        Shape (n, columns), metres; NaN where unknown.

    Returns
    -------
    first
        Shape (n,); -1 where a row knows nothing.
    texts
        Shape (n,), whole centimetres with commas between; nothing between two commas where a value
        within the row is unknown.

    Examples
    --------
    >>> first, texts = centimetre_texts(np.array([[np.nan, 1.204, np.nan, -0.05, np.nan]]))
    >>> int(first[0]), texts[0]
    (1, '120,,-5')
    """
    above = np.ascontiguousarray(above_m, np.float64)
    first, ends = np.empty(len(above), np.int64), np.empty(len(above), np.int64)
    out = np.empty(above.size * _LONGEST, np.uint8)
    _write(above, first, ends, out)
    whole = out[: ends[-1] if len(ends) else 0].tobytes().decode("ascii")
    starts = [0, *ends[:-1].tolist()]
    texts = np.empty(len(above), dtype=object)
    texts[:] = [whole[a:b] for a, b in zip(starts, ends.tolist(), strict=True)]
    return first, texts
