"""Unbroken stretches of true values."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def stretches(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return ``(first, stop)`` of every unbroken stretch of true values.

    Examples
    --------
    >>> import numpy as np
    >>> stretches(np.array([True, True, False, True]))
    [(0, 2), (3, 4)]
    """
    padded = np.concatenate([[False], mask, [False]]).astype(np.int8)
    change = np.diff(padded)
    return [
        (int(a), int(b))
        for a, b in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True)
    ]
