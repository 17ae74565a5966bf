"""Failing lengths along one bank of one stream, from the hazard at its sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reachrank.reaches.stretches import stretches

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Interval = tuple[float, float]


def cells(measure_m: Floats, length_m: float) -> tuple[Floats, Floats]:
    """Return where the part of the bank that each section stands for begins and ends.

    Parameters
    ----------
    measure_m
        Distance of the sections down the bank line, rising, shape (n,).
    length_m
        Length of the line.

    Returns
    -------
    starts, ends
        Halfway to the neighbours; at the ends of the line as far as the half step to the only
        neighbour goes, and no farther than the line. A lone section stands for the whole line.

    Examples
    --------
    >>> import numpy as np
    >>> starts, ends = cells(np.array([4.0, 6.0, 10.0]), 11.0)
    >>> starts.tolist(), ends.tolist()
    ([3.0, 5.0, 8.0], [5.0, 8.0, 11.0])
    """
    if measure_m.size == 1:
        return np.zeros(1), np.full(1, length_m)
    middle = (measure_m[:-1] + measure_m[1:]) / 2.0
    first = measure_m[0] - (middle[0] - measure_m[0])
    last = measure_m[-1] + (measure_m[-1] - middle[-1])
    starts = np.concatenate([[max(first, 0.0)], middle])
    ends = np.concatenate([middle, [min(last, length_m)]])
    return starts, ends


def with_holes(measure_m: Floats, hazard_score: Floats) -> tuple[Floats, Floats]:
    """Return places and hazards with unknown ones put into stretches without sections.

    A section speaks for half a step either way. Where the next one is more than 2.5 usual steps
    off, a place with hazard NaN is put one step from either, so that nothing is said of the
    ground between.

    Examples
    --------
    >>> import numpy as np
    >>> measure, hazard = with_holes(np.array([0.0, 5.0, 10.0, 50.0]), np.full(4, 80.0))
    >>> measure.tolist(), np.isnan(hazard).tolist()
    ([0.0, 5.0, 10.0, 15.0, 45.0, 50.0], [False, False, False, True, True, False])
    """
    if measure_m.size < 2:
        return measure_m, hazard_score
    steps = np.diff(measure_m)
    usual = float(np.median(steps))
    holes = np.flatnonzero(steps > 2.5 * usual)
    if usual <= 0.0 or holes.size == 0:
        return measure_m, hazard_score
    places = np.column_stack([measure_m[holes] + usual, measure_m[holes + 1] - usual]).ravel()
    before = np.repeat(holes + 1, 2)
    return np.insert(measure_m, before, places), np.insert(hazard_score, before, np.nan)


def failing_runs(
    hazard_score: Floats,
    starts_m: Floats,
    ends_m: Floats,
    *,
    start_score: float,
    keep_score: float,
    gap_m: float,
    least_m: float,
) -> list[Interval]:
    """Return the failing lengths ``(from, to)`` in metres down the line, in order.

    Parameters
    ----------
    hazard_score
        Hazard of each section in order down the line; NaN where it does not count; shape (n,).
    starts_m, ends_m
        What each section stands for, rising; shape (n,).
    start_score, keep_score
        A length holds at least one section with ``start_score`` or more, and goes on both ways
        while the hazard is ``keep_score`` or more (two thresholds, so that a score that wavers
        about one of them does not cut a bank into crumbs).
    gap_m
        Sound or unmeasured lengths shorter than this between failing ones are taken in.
    least_m
        Shorter lengths are dropped, after the gaps are closed.

    Examples
    --------
    >>> import numpy as np
    >>> hazard = np.array([50.0, 70.0, 50.0, 20.0, 50.0, 50.0])
    >>> failing_runs(
    ...     hazard, np.arange(6) * 5.0, np.arange(1, 7) * 5.0,
    ...     start_score=60.0, keep_score=45.0, gap_m=2.0, least_m=5.0,
    ... )  # the last two never reach 60
    [(0.0, 15.0)]
    """
    keep_score = min(keep_score, start_score)
    with np.errstate(invalid="ignore"):
        goes_on = hazard_score >= keep_score
        starts = hazard_score >= start_score
    unknown = np.isnan(hazard_score)
    bridged = _with_short_gaps(goes_on, starts_m, ends_m, gap_m, only=unknown)
    kept = np.zeros_like(bridged)
    for first, stop in stretches(bridged):
        kept[first:stop] = starts[first:stop].any()
    kept = _with_short_gaps(kept, starts_m, ends_m, gap_m, only=np.ones_like(kept))
    found = [(float(starts_m[first]), float(ends_m[stop - 1])) for first, stop in stretches(kept)]
    return [(a, b) for a, b in found if b - a >= least_m]


def _with_short_gaps(
    mask: Bools, starts_m: Floats, ends_m: Floats, gap_m: float, *, only: Bools
) -> Bools:
    """Return the mask with inner gaps below ``gap_m`` filled, if all of a gap is ``only``."""
    filled = mask.copy()
    inner = [gap for gap in stretches(~mask) if gap[0] > 0 and gap[1] < len(mask)]
    for first, stop in inner:
        if only[first:stop].all() and ends_m[stop - 1] - starts_m[first] < gap_m:
            filled[first:stop] = True
    return filled
