"""From a measurement to a score: straight between breakpoints, level beyond them."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import ArrayLike

from reachrank.errors import SettingsError
from reachrank.hazard.factor import Factor
from reachrank.hazard.side_frame import Floats
from reachrank.settings.hazard import HazardSettings, Knots


def score(values: ArrayLike, knots: Knots) -> Floats:
    """Return the score at each value, NaN where the value is.

    Examples
    --------
    >>> float(score(3.0, ((2.0, 0.4), (4.0, 0.8))))  # half of the way from 0.4 to 0.8
    0.6000000000000001
    """
    x, y = zip(*knots, strict=True)
    values = np.asarray(values, np.float64)
    return np.where(np.isnan(values), np.nan, np.interp(values, x, y))


def value_at(target: float, knots: Knots) -> float:
    """Return the first value, from the low end, where the score is ``target``; NaN for none."""
    for (x0, y0), (x1, y1) in itertools.pairwise(knots):
        if min(y0, y1) <= target <= max(y0, y1) and y0 != y1:
            return x0 + (x1 - x0) * (target - y0) / (y1 - y0)
    return float("nan")


def knots_of(factor: Factor, settings: HazardSettings) -> Knots:
    """Return a factor's breakpoints: from the settings, else its own."""
    if factor.name == "bend" and settings.bend_rule == "peaked":
        peak = 1.0 / settings.bend_peak_ratio
        return ((0.0, 0.0), (peak, 1.0), (max(1.0, peak + 1e-6), settings.bend_peak_floor))
    own: Knots = getattr(settings, f"{factor.name}_knots", factor.knots)
    knots = settings.factor_knots.get(factor.name, own)
    check_knots(factor.name, knots)
    return tuple((float(x), float(y)) for x, y in knots)


def weight_of(factor: Factor, settings: HazardSettings) -> float:
    """Return a factor's weight: from the settings, else its own."""
    own: float = getattr(settings, f"{factor.name}_weight", factor.weight)
    weight = float(settings.factor_weights.get(factor.name, own))
    if not 0.0 <= weight <= 1.0:
        raise SettingsError(
            f"The weight of '{factor.name}' is {weight:g}.",
            hint="Give a weight from 0 to 1.",
            where="hazard",
        )
    return weight


def knots_source(factor: Factor, settings: HazardSettings) -> str:
    """Return where a factor's breakpoints come from, in words."""
    name = f"{factor.name}_knots"
    declared = HazardSettings.__dataclass_fields__.get(name)
    if factor.name == "bend" and settings.bend_rule == "peaked":
        return "peaked at bend_peak_ratio, Hickin & Nanson 1975"
    if factor.name in settings.factor_knots:
        return "set in the settings"
    if declared is None:
        return factor.reference
    is_default = getattr(settings, name) == declared.default
    return str(declared.metadata["source"]) if is_default else "set in the settings"


def check_knots(name: str, knots: Knots) -> None:
    """Raise `SettingsError` where breakpoints do not rise in value or leave 0 to 1 in score."""
    x = [float(knot[0]) for knot in knots]
    y = [float(knot[1]) for knot in knots]
    if len(x) < 2 or any(b <= a for a, b in itertools.pairwise(x)):
        raise SettingsError(
            f"The breakpoints of '{name}' do not rise from knot to knot: {x}.",
            hint="Give at least two knots [value, score] with rising values.",
            where="hazard",
        )
    if not all(0.0 <= part <= 1.0 for part in y):
        raise SettingsError(
            f"The breakpoints of '{name}' score outside of 0 to 1: {y}.",
            hint="Scores run from 0 to 1.",
            where="hazard",
        )
