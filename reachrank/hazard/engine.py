"""Measure, score and sum: every factor on every section and side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import EllipsisType
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from reachrank.errors import SettingsError
from reachrank.findings import Findings
from reachrank.hazard.breakpoints import check_knots, knots_of, score, weight_of
from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import ARRAYS, Bools, Floats, SideFrame
from reachrank.running.mapped import let_go, mapped
from reachrank.settings.hazard import Knots

Place: TypeAlias = EllipsisType | slice | tuple[NDArray[np.int64], NDArray[np.int64]]
"""Everywhere, some sections, or sections and sides."""
ROWS_AT_A_TIME = 65_536
"""Sections that are scored together."""
LOWER_BOUND_COUNTS = 0.5
"""A value that is only a lower bound counts as half measured in the confidence."""


@dataclass(frozen=True, kw_only=True)
class Scored:
    """One factor on every section and side; arrays of shape (n, 2).

    Scores follow from the values, and a county has two million of them for each factor, so they
    are worked out where they are asked for.
    """

    factor: Factor
    knots: Knots
    weight: float
    """Weight after sharing out those of absent factors; the weights of a run sum to 1."""
    value: Floats
    error: Floats
    """Standard error of the value, whatever it may be where the value is missing."""
    fill: float
    """Score where the value is missing: that of the run's median, or the least."""
    is_bound: Bools
    """Where a value, if there is one, is only a lower bound."""
    floors: tuple[Scored, ...]
    """Where it is only a lower bound, the score is at least the weighted mean of these."""

    def is_missing(self, at: Place = ...) -> Bools:
        """Return where the value is missing, everywhere or at a place."""
        return np.asarray(np.isnan(self.value[at]))

    def value_se(self, at: Place = ...) -> Floats:
        """Return the standard error, NaN where none is known or the value is missing."""
        return np.where(self.is_missing(at), np.nan, self.error[at])

    def is_lower_bound(self, at: Place = ...) -> Bools:
        """Return where the value is only a lower bound."""
        return np.asarray(self.is_bound[at] & ~self.is_missing(at))

    def score(self, at: Place = ...) -> Floats:
        """Return scores, 0 to 1, everywhere or at a place."""
        scores = np.where(self.is_missing(at), self.fill, score(self.value[at], self.knots))
        if not self.floors:
            return scores
        share = sum(part.weight for part in self.floors)
        floor = np.sum([part.weight / share * part.score(at) for part in self.floors], axis=0)
        return np.where(self.is_bound[at], np.fmax(scores, floor), scores)


@dataclass(frozen=True, kw_only=True)
class Hazard:
    """The sum: 0 to 100, NaN on sides that do not count, and how much of it was measured."""

    parts: tuple[Scored, ...]
    absent: tuple[str, ...]
    hazard_score: Floats
    measured_frac: Floats


def assess(factors: Sequence[Factor], frame: SideFrame, findings: Findings) -> Hazard:
    """Return the hazard of every section and side.

    A factor absent from the whole run shares its weight among the others in proportion; a value
    absent in one place is scored as the run's median, or as little as can be, by ``missing_rule``.
    A factor that raises or returns something unfit becomes a finding and is left out entirely.

    Raises
    ------
    SettingsError
        If no factor is left that has a weight, or breakpoints are unfit.
    """
    settings = frame.settings
    weights = {f.name: weight_of(f, settings) for f in factors}
    weighted = [f for f in factors if weights[f.name] > 0]
    measured = {f.name: _measure(f, frame, findings) for f in weighted}
    present = [f for f in weighted if measured[f.name] is not None]
    whole = sum(weights[f.name] for f in weighted)
    shared = sum(weights[f.name] for f in present)
    if whole <= 0:
        raise SettingsError(
            "No factor has a weight.", hint="Give at least one a weight above 0.", where="hazard"
        )
    parts: dict[str, Scored] = {}
    for factor in sorted(present, key=lambda f: bool(f.at_least_as)):
        value_and_error = measured[factor.name]
        if value_and_error is not None:
            weight = weights[factor.name] / shared
            parts[factor.name] = _score(factor, weight, value_and_error, frame, parts)
    total = np.zeros(frame.shape)
    known = np.zeros(frame.shape)
    for start in range(0, len(total), ROWS_AT_A_TIME):  # for the room of what comes between
        at = slice(start, start + ROWS_AT_A_TIME)
        for part in parts.values():
            total[at] += part.weight * part.score(at)
            counted = np.where(part.is_lower_bound(at), LOWER_BOUND_COUNTS, 1.0)
            known[at] += weights[part.factor.name] / whole * (counted * ~part.is_missing(at))
        let_go()
    hazard = np.clip(100.0 * total, 0.0, 100.0, out=total)
    hazard[~frame.counts] = np.nan
    if not parts:
        hazard[:] = np.nan
    return Hazard(
        parts=tuple(parts[f.name] for f in present),
        absent=tuple(f.name for f in weighted if f.name not in parts),
        hazard_score=hazard,
        measured_frac=np.clip(known, 0.0, 1.0, out=known),
    )


def _measure(factor: Factor, frame: SideFrame, findings: Findings) -> tuple[Floats, Floats] | None:
    """Return value and standard error, None where the factor is absent from the run or unfit."""
    let_go()
    unknown = [name for name in factor.needs if name not in ARRAYS]
    if unknown:
        _unfit(factor, f"it needs {', '.join(unknown)}, which nothing measures", findings)
        return None
    if any(frame.is_absent(name) for name in factor.needs):
        return None
    try:
        check_knots(factor.name, knots_of(factor, frame.settings))
        with np.errstate(all="ignore"):
            value = _real(factor.compute(frame))
            error = np.broadcast_to(np.nan, frame.shape)
            if factor.error is not None:
                error = _real(factor.error(frame))
    except SettingsError:
        raise
    except (Exception, SystemExit) as problem:  # a stranger's exit must not end the run as good
        _unfit(factor, f"it raised {type(problem).__name__}: {problem}", findings)
        return None
    if value.shape != frame.shape or error.shape != frame.shape:
        _unfit(factor, f"its values have shape {value.shape}, not {frame.shape}", findings)
        return None
    known = np.isfinite(value)
    if (error[known] < 0).any():
        _unfit(factor, "some of its standard errors are below 0", findings)
        return None
    if np.isinf(value).any():
        value = np.where(known, value, np.nan)
    if not known[frame.counts].any():
        return None
    return mapped(value), mapped(error)


def _real(values: object) -> Floats:
    """Return what a factor gave as float64; complex numbers and words are no measure."""
    array = np.asarray(values)
    if array.dtype.kind not in "fiub":
        raise TypeError(f"it gives values of type {array.dtype}")
    return array.astype(np.float64, copy=False)


def _unfit(factor: Factor, why: str, findings: Findings) -> None:
    findings.add(
        "left_out",
        "factor_left_out",
        f"The factor '{factor.name}' is left out of every score: {why}.",
        source_layer="factors",
        source_id=factor.name,
    )


def _score(
    factor: Factor,
    weight: float,
    measured: tuple[Floats, Floats],
    frame: SideFrame,
    before: dict[str, Scored],
) -> Scored:
    value, error = measured
    knots = knots_of(factor, frame.settings)
    if frame.settings.missing_rule == "least":
        fill = min(knot[1] for knot in knots)
    else:
        fill = float(score(np.median(value[frame.counts & np.isfinite(value)]), knots))
    bound = np.broadcast_to(np.False_, frame.shape)
    floors: tuple[Scored, ...] = ()
    if factor.lower_bound:
        bound = np.array(getattr(frame, factor.lower_bound), np.bool_)
        floors = tuple(before[name] for name in factor.at_least_as if name in before)
    return Scored(
        factor=factor,
        knots=knots,
        weight=weight,
        value=value,
        error=error,
        fill=fill,
        is_bound=bound,
        floors=floors,
    )
