"""Numbers and lines as short JSON: whole numbers, and steps from the one before."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

DEGREE_STEPS = 1_000_000
"""Steps to a degree: 0.11 m on the ground, a tenth of what a lidar bank line is good for."""


def whole(values: Iterable[Any], per_unit: float = 1.0) -> list[int | None]:
    """Return values times ``per_unit`` as whole numbers, None where missing.

    Examples
    --------
    >>> whole([1.26, float("nan")], per_unit=10)
    [13, None]
    """
    numbers = np.asarray(list(values) if not hasattr(values, "__array__") else values, "float64")
    return [
        None if missing else int(number)
        for number, missing in zip(
            np.rint(np.nan_to_num(numbers * per_unit)), ~np.isfinite(numbers), strict=True
        )
    ]


def steps(values: Iterable[int | None]) -> list[int | None]:
    """Return each number as its step from the last one that was there; None stays.

    Examples
    --------
    >>> steps([100, 103, None, 101])
    [100, 3, None, -2]
    """
    out: list[int | None] = []
    last = 0
    for value in values:
        out.append(None if value is None else value - last)
        last = last if value is None else value
    return out


def encode_lines(lines: ArrayLike) -> dict[str, list[int]]:
    """Return lines in degrees as counts of points and steps in millionths of a degree.

    Parameters
    ----------
    lines
        Shape (n,), LineStrings in longitude and latitude; None or empty gives a count of 0.

    Returns
    -------
    dict
        ``counts`` (n), ``x`` and ``y``: steps from point to point, on from line to line.
    """
    geometry = np.asarray(lines, dtype=object)
    xy, row = shapely.get_coordinates(geometry, return_index=True)
    counts = np.bincount(row, minlength=len(geometry))
    at = np.rint(xy * DEGREE_STEPS).astype(np.int64)
    jumps = np.diff(at, axis=0, prepend=np.zeros((1, 2), np.int64)) if len(at) else at
    return {
        "counts": counts.tolist(),
        "x": jumps[:, 0].tolist() if len(at) else [],
        "y": jumps[:, 1].tolist() if len(at) else [],
    }


def decode_lines(coded: dict[str, list[int]]) -> list[NDArray[np.float64]]:
    """Return the points of each line, shape (k, 2), longitude and latitude: what the page does."""
    xy = np.column_stack([np.cumsum(coded["x"]), np.cumsum(coded["y"])]) / DEGREE_STEPS
    return np.split(xy, np.cumsum(coded["counts"])[:-1])


def as_json(content: object) -> str:
    r"""Return JSON that may stand inside a ``script`` element: no ``<`` is left in it.

    Examples
    --------
    >>> as_json({"name": "</script>"})
    '{"name":"\\u003c/script>"}'
    """
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
