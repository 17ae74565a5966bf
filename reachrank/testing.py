"""The contract test of a scoring factor, for authors of factors in other packages.

Examples
--------
>>> from reachrank.hazard.factors.height import BANK_HEIGHT
>>> from reachrank.testing import check_factor
>>> check_factor(BANK_HEIGHT)  # says nothing: it keeps the contract
"""

from __future__ import annotations

import dataclasses
import itertools
import re

import numpy as np

from reachrank.hazard.breakpoints import knots_of, score, weight_of
from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import ARRAYS, SideFrame
from reachrank.settings.hazard import HazardSettings

__all__ = ["FactorContractError", "check_factor", "example_frame"]


class FactorContractError(AssertionError):
    """A factor breaks its contract; the message says how."""


def example_frame(
    sections: int = 40, seed: int = 0, settings: HazardSettings | None = None
) -> SideFrame:
    """Return a frame of likely measurements, the same for the same seed; nothing is missing."""
    rng = np.random.default_rng(seed)
    shape = (sections, 2)

    def both(low: float, high: float) -> np.ndarray:
        return np.repeat(rng.uniform(low, high, (sections, 1)), 2, axis=1)

    height = rng.uniform(0.3, 4.0, shape)
    is_outside = np.zeros(shape, np.bool_)
    is_outside[np.arange(sections), rng.integers(0, 2, sections)] = rng.uniform(size=sections) < 0.6
    width, mean_depth = both(3.0, 12.0), both(0.3, 1.2)
    return SideFrame(
        counts=np.ones(shape, np.bool_),
        bank_height_m=height,
        bank_height_se_m=rng.uniform(0.03, 0.2, shape),
        bank_angle_deg=rng.uniform(10.0, 85.0, shape),
        is_angle_lower_bound=rng.uniform(size=shape) < 0.3,
        both_banks_height_m=np.repeat(height.min(axis=1, keepdims=True), 2, axis=1),
        is_outside=is_outside,
        width_radius_ratio=np.where(is_outside, rng.uniform(0.1, 0.8, shape), 0.0),
        cover_frac=rng.uniform(0.0, 1.0, shape),
        soil_index=rng.uniform(0.0, 1.0, shape),
        slope_ratio=both(0.001, 0.02),
        drainage_area_km2=both(0.5, 80.0),
        discharge_m3s=both(1.0, 40.0),
        unit_stream_power_w_per_m2=both(5.0, 300.0),
        width_m=width,
        bankfull_width_m=width,
        mean_depth_m=mean_depth,
        greatest_depth_m=mean_depth * 1.5,
        settings=settings or HazardSettings(),
    )


def check_factor(factor: Factor, frame: SideFrame | None = None) -> None:
    """Raise `FactorContractError` unless the factor keeps its contract.

    It must name itself, its unit and its source; need only what a frame has; leave the frame as it
    is; return float64 of shape (n, 2), the same when asked twice; give NaN where what it needs is
    NaN;
    have breakpoints that rise in value and score from 0 to 1, in the direction it declares; and
    have errors that are not negative.
    """
    frame = frame or example_frame()
    _check_words(factor)
    before = {name: getattr(frame, name).copy() for name in ARRAYS}
    value = factor.compute(frame)
    _require(isinstance(value, np.ndarray), factor, "compute returns no array")
    _require(value.dtype == np.float64, factor, f"compute returns {value.dtype}, not float64")
    _require(value.shape == frame.shape, factor, f"compute returns shape {value.shape}")
    for name, was in before.items():
        now = getattr(frame, name)
        _require(np.array_equal(was, now, equal_nan=was.dtype.kind == "f"), factor,
                 f"compute changes {name}")  # fmt: skip
        _require(not np.shares_memory(value, now), factor, f"compute returns {name} itself")
    _require(np.array_equal(value, factor.compute(frame), equal_nan=True), factor,
             "compute gives other values when asked again")  # fmt: skip
    _require(bool(np.isfinite(value).any()), factor, "compute gives no value at all")
    _check_missing(factor, frame)
    _check_scores(factor, frame, value)
    if factor.error is not None:
        error = factor.error(frame)
        _require(error.shape == frame.shape, factor, f"error returns shape {error.shape}")
        _require(not bool((error < 0).any()), factor, "error is below 0")


def _check_words(factor: Factor) -> None:
    _require(bool(re.fullmatch(r"[a-z][a-z0-9_]*", factor.name)), factor,
             "its name is not lower case with underscores")  # fmt: skip
    for field in ("gives", "unit", "reference"):
        _require(bool(str(getattr(factor, field)).strip()), factor, f"{field} is empty")
    unknown = [name for name in factor.needs if name not in ARRAYS]
    _require(bool(factor.needs) and not unknown, factor, f"it needs {unknown or 'nothing'}")
    if factor.lower_bound:
        _require(factor.lower_bound in ARRAYS, factor, f"lower_bound names {factor.lower_bound}")


def _check_missing(factor: Factor, frame: SideFrame) -> None:
    for name in factor.needs:
        was = getattr(frame, name)
        if was.dtype.kind != "f":
            continue
        holed = was.copy()
        holed[::3] = np.nan
        with np.errstate(all="ignore"):
            value = factor.compute(dataclasses.replace(frame, **{name: holed}))
        _require(bool(np.isnan(value[::3]).all()), factor, f"a value where {name} is missing")


def _check_scores(factor: Factor, frame: SideFrame, value: np.ndarray) -> None:
    settings = frame.settings
    weight_of(factor, settings)
    knots = knots_of(factor, settings)
    scores = score(value, knots)
    known = np.isfinite(value)
    _require(bool(((scores[known] >= 0) & (scores[known] <= 1)).all()), factor,
             "a score outside of 0 to 1")  # fmt: skip
    _require(bool(np.isnan(scores[~known]).all()), factor, "a score where the value is missing")
    steps = [b[1] - a[1] for a, b in itertools.pairwise(knots)]
    if factor.rises is True:
        _require(min(steps) >= 0, factor, "it is declared to rise, its breakpoints fall")
    elif factor.rises is False:
        _require(max(steps) <= 0, factor, "it is declared to fall, its breakpoints rise")


def _require(holds: bool, factor: Factor, what: str) -> None:
    if not holds:
        raise FactorContractError(f"Factor '{factor.name}': {what}.")
