"""The whole arithmetic of one bank's or reach's priority, line by line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from reachrank.errors import CHANGED, InputError, UsageError
from reachrank.hazard.breakpoints import knots_of, value_at
from reachrank.hazard.factor import Factor
from reachrank.hazard.registry import load_factors
from reachrank.priority.rule import CLASSES, checked_breaks, priority
from reachrank.settings import Settings
from reachrank.settings.hazard import Knots

if TYPE_CHECKING:
    from reachrank.context import Table

COLUMNS = (
    "bank_id", "step", "measurement", "unit", "breakpoints", "score", "weight", "contribution",
    "source", "moves",
)  # fmt: skip


def explain_table(
    tables: Mapping[str, Table], id: str, settings: Settings | None = None
) -> pd.DataFrame:
    """Return how a bank, or a reach's worst bank, came to its priority.

    Parameters
    ----------
    tables
        ``banks``, ``reaches`` and ``factors`` of a ranked run, metric.
    id
        A bank_id or a reach_id.
    settings
        Those of the run; the defaults if None.

    Returns
    -------
    DataFrame
        One row per factor (``step`` is its name), then ``hazard``, ``exposure`` and ``priority``.
        ``score`` is 0 to 1 for factors and 0 to 100 below; contributions of the factors sum to the
        hazard. ``breakpoints`` names the knots on either side of the measurement. ``moves`` says
        what single change would bring the priority into the next class up or down.

    Raises
    ------
    UsageError
        If no bank or reach has that id.
    InputError
        If a factor of the bank has no score, weight or contribution, the bank a hazard and no
        priority, or the reach no bank.
    """
    settings = settings or Settings()
    bank = _bank_of(tables, id)
    factors = tables["factors"]
    own = factors[factors["bank_id"] == bank["bank_id"]]
    known = {factor.name: factor for factor in load_factors()}
    hazard, exposure = _number(bank, "hazard_score"), _number(bank, "exposure_score")
    total = _number(bank, "priority_score")
    if math.isfinite(hazard) and not math.isfinite(total):
        raise InputError(
            f"The layer banks has a hazard of {bank['bank_id']} and no priority.",
            hint=CHANGED,
        )
    slope = _slope(hazard, exposure, settings)
    needed = {
        word: (target - total) / slope
        for word, target in _targets(total, settings).items()
        if slope
    }
    rows = [_factor_row(row, known.get(str(row["factor"])), needed, settings)
            for _, row in own.iterrows()]  # fmt: skip
    blank = {"measurement": math.nan, "unit": "", "breakpoints": "", "weight": math.nan}
    rows.append({**blank, "step": "hazard", "score": hazard, "contribution": math.nan,
                 "source": f"quantile {settings.hazard.bank_quantile:g} of the bank's sections",
                 "moves": ""})  # fmt: skip
    distance = _number(bank, "structure_distance_m")
    rows.append({**blank, "step": "exposure", "score": exposure, "contribution": math.nan,
                 "measurement": distance, "unit": "m" if math.isfinite(distance) else "",
                 "source": _text(bank.get("structure_id")),
                 "moves": ""})  # fmt: skip
    rows.append({**blank, "step": "priority", "score": total, "contribution": total,
                 "source": _rule_text(hazard, exposure, total, settings),
                 "moves": _class_text(total, settings)})  # fmt: skip
    table = pd.DataFrame(rows)
    table.insert(0, "bank_id", bank["bank_id"])
    return table[list(COLUMNS)]


def _bank_of(tables: Mapping[str, Table], id: str) -> pd.Series:
    banks, reaches = tables["banks"], tables["reaches"]
    found = banks[banks["bank_id"] == id]
    if found.empty:
        reach = reaches[reaches["reach_id"] == id]
        if reach.empty:
            raise UsageError(
                f"There is no reach or bank '{id}'.", hint="Ids are in reach_id and bank_id."
            )
        own = banks[banks["reach_id"] == id]
        if own.empty:
            raise InputError(
                f"The layer banks has no bank of the reach '{id}'.",
                hint=CHANGED,
            )
        found = own[own["bank"] == reach["worst_bank"].iloc[0]]
        found = own if found.empty else found
    return pd.DataFrame(found).iloc[0]


def _factor_row(
    row: pd.Series,
    factor: Factor | None,
    needed: dict[str, float],
    settings: Settings,
) -> dict[str, object]:
    knots = knots_of(factor, settings.hazard) if factor is not None else ()
    value, score, weight, part = (
        float(row[name]) for name in ("value", "score", "weight", "contribution")
    )
    if not (math.isfinite(score * weight * part) and weight > 0.0):
        raise InputError(
            f"The layer factors does not say the score, weight and share of {row['factor']}.",
            hint=CHANGED,
        )
    texts = []
    for word, points in needed.items():
        wanted = score + points / (100.0 * weight)
        at = value_at(wanted, knots) if 0.0 <= wanted <= 1.0 and knots else math.nan
        if math.isfinite(at) and math.isfinite(value):
            beyond = "above" if at > value else "below"
            texts.append(f"{beyond} {at:.3g} {row['unit']}: '{word}'")
    bound = " (at least)" if row["state"] == "lower_bound" else ""
    return {
        "step": row["factor"],
        "measurement": value,
        "unit": f"{row['unit']}{bound}",
        "breakpoints": _around(value, knots),
        "score": score,
        "weight": weight,
        "contribution": part,
        "source": _text(row["source"]),
        "moves": "; ".join(texts),
    }


def _text(value: object) -> str:
    """Return text, "" for what another program has taken out."""
    return "" if pd.isna(value) else str(value)


def _around(value: float, knots: Knots) -> str:
    if not knots or not math.isfinite(value):
        return ""
    x = [knot[0] for knot in knots]
    at = int(np.searchsorted(x, value, "right"))
    near = knots[max(at - 1, 0) : at + 1]
    return ", ".join(f"{value:g} → {score:g}" for value, score in near)


def _targets(total: float, settings: Settings) -> dict[str, float]:
    """Class words and the priorities at which they are entered: one up, one down."""
    if not math.isfinite(total):
        return {}
    breaks = checked_breaks(settings.priority)
    here = int(np.searchsorted(breaks, total, "right"))
    found = {}
    if here < len(breaks):
        found[CLASSES[here + 1]] = breaks[here]
    if here > 0:
        found[CLASSES[here - 1]] = breaks[here - 1] - 1e-6
    return found


def _slope(hazard: float, exposure: float, settings: Settings) -> float:
    """Points of priority per point of hazard."""
    if not math.isfinite(hazard):
        return 0.0
    pair = priority([hazard, hazard + 1.0], [exposure, exposure], settings.priority)
    return float(pair[1] - pair[0])


def _rule_text(hazard: float, exposure: float, total: float, settings: Settings) -> str:
    if not math.isfinite(hazard):
        return "no hazard: no usable section shows the top of the bank"
    if not math.isfinite(exposure):
        return f"exposure not known here; priority {total:.1f}"
    own = settings.priority
    if own.rule == "product":
        keep = own.unexposed_share
        return f"{hazard:.1f} * ({keep:g} + {1 - keep:g} * {exposure:.1f} / 100) = {total:.1f}"
    if own.rule == "weighted_mean":
        part = own.exposure_weight
        return f"{1 - part:g} * {hazard:.1f} + {part:g} * {exposure:.1f} = {total:.1f}"
    return f"hazard {hazard:.1f} where exposure {exposure:.1f} is above 0, else 0: {total:.1f}"


def _class_text(total: float, settings: Settings) -> str:
    steps = [
        f"{'up' if target > total else 'down'} to '{word}' at {target:.1f}"
        for word, target in _targets(total, settings).items()
    ]
    return "; ".join(steps)


def _number(row: pd.Series, name: str) -> float:
    value = row.get(name)
    return math.nan if value is None or pd.isna(value) else float(value)
