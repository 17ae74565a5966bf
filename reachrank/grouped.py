"""Statistics of many small groups at once: values side by side, and where each group starts.

Thousands of reaches, banks and repairs have a few dozen sections each; a call of a library
function for every one of them takes far longer than its few numbers.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def rows_by_group(group: NDArray[np.integer], count: int) -> tuple[NDArray[np.intp], Ints]:
    """Return the rows of groups 0 .. count - 1 one after the other, and where each group starts.

    Parameters
    ----------
    group
        Number of each row's group, -1 for none, shape (n,).
    count
        How many groups there are.

    Returns
    -------
    rows, starts
        Rows of group k are ``rows[starts[k] : starts[k + 1]]``, in their own order; shapes (at
        most n,) and (count + 1,).

    Examples
    --------
    >>> import numpy as np
    >>> rows, starts = rows_by_group(np.array([1, 0, -1, 1]), 3)
    >>> rows.tolist(), starts.tolist()  # group 0 has row 1, group 1 rows 0 and 3, group 2 none
    ([1, 0, 3], [0, 1, 3, 3])
    """
    inside = np.flatnonzero(group >= 0)
    rows = inside[np.argsort(group[inside], kind="stable")]
    sizes = np.bincount(group[inside], minlength=count)
    return rows, starts_of(sizes)


def starts_of(sizes: NDArray[np.integer]) -> Ints:
    """Return where groups of these sizes start, and at last where the last one ends; (n + 1,)."""
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def group_sums(values: NDArray[np.generic], starts: Ints) -> Ints:
    """Return how many true values, or the sum of whole numbers, each group has; 0 for an empty one.

    Examples
    --------
    >>> import numpy as np
    >>> group_sums(np.array([True, False, True]), np.array([0, 2, 2, 3])).tolist()
    [1, 0, 1]
    """
    running = np.concatenate([[0], np.cumsum(values.astype(np.int64))])
    sums: Ints = running[starts[1:]] - running[starts[:-1]]
    return sums


def group_medians(values: Floats, starts: Ints) -> Floats:
    """Return the median of each group's finite values, NaN for a group without any.

    Examples
    --------
    >>> import numpy as np
    >>> group_medians(np.array([3.0, np.nan, 1.0, 7.0]), np.array([0, 3, 3, 4])).tolist()
    [2.0, nan, 7.0]
    """
    return run_medians(values, starts[:-1], starts[1:])


def run_medians(values: Floats, first: Ints, stop: Ints) -> Floats:
    """Return the median of the finite values from ``first`` up to ``stop``, one for each run.

    Runs may overlap and leave values out; NaN for a run without any.
    """
    found: Floats = _medians(values, first, stop)
    return found


def group_quantiles(values: Floats, starts: Ints, share: float) -> Floats:
    """Return a quantile of each group's finite values, NaN for a group without any.

    Between two values it lies on the straight line, as numpy's default has it.

    Examples
    --------
    >>> import numpy as np
    >>> group_quantiles(np.array([1.0, 3.0, 2.0]), np.array([0, 2, 3]), 0.25).tolist()
    [1.5, 2.0]
    """
    found: Floats = _quantiles(values, starts, share)
    return found


def group_greatest(values: Floats, starts: Ints) -> Floats:
    """Return the greatest of each group's finite values, NaN for a group without any."""
    found: Floats = _quantiles(values, starts, 1.0)
    return found


@numba.njit(cache=True, nogil=True, error_model="numpy")
def median_of(values):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the median of values without NaN, one or more; the mean of the middle two."""
    half = values.size // 2
    part = np.partition(values, half)
    if values.size % 2:
        return part[half]
    return (part[:half].max() + part[half]) / 2.0


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _medians(values, first, stop):  # type: ignore[no-untyped-def]  # pragma: no cover
    found = np.full(first.size, np.nan)
    for k in range(found.size):
        own = values[first[k] : stop[k]]
        own = own[np.isfinite(own)]
        if own.size:
            found[k] = median_of(own)
    return found


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _quantiles(values, starts, share):  # type: ignore[no-untyped-def]  # pragma: no cover
    found = np.full(starts.size - 1, np.nan)
    for k in range(found.size):
        own = values[starts[k] : starts[k + 1]]
        own = np.sort(own[np.isfinite(own)])
        if not own.size:
            continue
        place = share * (own.size - 1)
        low = int(np.floor(place))
        high = min(low + 1, own.size - 1)
        part = place - low
        step = own[high] - own[low]
        # from the nearer end, so that a quantile never leaves the two values it lies between
        found[k] = own[low] + step * part if part < 0.5 else own[high] - step * (1.0 - part)
    return found
