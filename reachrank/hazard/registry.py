"""Finding the factors: entry points of the group ``reachrank.factors``."""

from __future__ import annotations

from importlib.metadata import EntryPoint, entry_points

from reachrank.findings import Findings
from reachrank.hazard.factor import Factor
from reachrank.hazard.factors import BUILT_IN, GROUP


def load_factors(findings: Findings | None = None) -> list[Factor]:
    """Return every factor that is installed: built-in ones first, then by name.

    One that cannot be loaded, is no `Factor` or takes a name that is in use becomes a finding and
    is left out.
    """
    findings = Findings() if findings is None else findings
    factors: dict[str, Factor] = {}
    for point in _points():
        try:
            factor = point.load()
        except (Exception, SystemExit) as error:
            _leave_out(findings, point, f"it cannot be loaded: {type(error).__name__}: {error}")
            continue
        if not isinstance(factor, Factor):
            _leave_out(findings, point, f"{point.value} is no Factor but {type(factor).__name__}")
        elif factor.name in factors:
            _leave_out(findings, point, f"the name '{factor.name}' is in use")
        else:
            factors[factor.name] = factor
    return list(factors.values())


def _points() -> list[EntryPoint]:
    built_in = [EntryPoint(name, value, GROUP) for name, value in BUILT_IN.items()]
    ours = set(BUILT_IN.values())
    others = [point for point in entry_points(group=GROUP) if point.value not in ours]
    return built_in + sorted(others, key=lambda point: (point.name, point.value))


def _leave_out(findings: Findings, point: EntryPoint, why: str) -> None:
    findings.add(
        "left_out",
        "factor_left_out",
        f"The factor '{point.name}' is left out of every score: {why}.",
        source_layer="factors",
        source_id=point.name,
    )
