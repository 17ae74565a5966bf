"""A factor in words: what it measures, its breakpoints, its weight, its source."""

from __future__ import annotations

from reachrank.errors import UsageError
from reachrank.hazard.breakpoints import knots_of, knots_source, weight_of
from reachrank.hazard.factor import Factor
from reachrank.hazard.registry import load_factors
from reachrank.settings.hazard import HazardSettings


def factor_names() -> list[str]:
    """Return the names of the factors that are installed, built-in ones first."""
    return [factor.name for factor in load_factors()]


def factors_text(name: str | None = None, settings: HazardSettings | None = None) -> str:
    """Return one factor in words, or a line for each without a name.

    Raises
    ------
    UsageError
        If no factor has that name.
    """
    settings = settings or HazardSettings()
    factors = load_factors()
    if name is None:
        width = max(len(factor.name) for factor in factors)
        return "\n".join(
            f"{factor.name:<{width}}  {weight_of(factor, settings):.2f}  {factor.gives}"
            for factor in factors
        )
    for factor in factors:
        if factor.name == name:
            return _one(factor, settings)
    raise UsageError(
        f"There is no factor '{name}'.",
        hint=f"Choose one of: {', '.join(factor.name for factor in factors)}.",
    )


def _one(factor: Factor, settings: HazardSettings) -> str:
    weight = HazardSettings.__dataclass_fields__.get(f"{factor.name}_weight")
    knots = "\n".join(f"  {x:>8g}  {y:.2f}" for x, y in knots_of(factor, settings))
    why = f" ({weight.metadata['text']})" if weight else ""
    lines = [
        f"{factor.name}: {factor.gives}",
        f"Unit: {factor.unit}",
        f"Needs: {', '.join(factor.needs)}",
        f"Weight: {weight_of(factor, settings):g}{why}",
        f"Breakpoints, value and score; straight between, level beyond:\n{knots}",
        f"Measure: {factor.reference}",
    ]
    lines.insert(5, f"Breakpoints from: {knots_source(factor, settings)}")
    if factor.lower_bound:
        floor = " and ".join(factor.at_least_as)
        lines.append(f"A lower bound scores no less than {floor} together.")
    return "\n".join(lines)
