"""From the tables to the arrays of a draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from reachrank.hazard.breakpoints import knots_of
from reachrank.hazard.factor import Factor
from reachrank.priority.draw_kernel import FIXED, MISSING, NOISY
from reachrank.priority.rank_draws import DrawModel, bends_of
from reachrank.settings.hazard import HazardSettings, Knots
from reachrank.settings.priority import PrioritySettings

_LEVEL: Knots = ((0.0, 0.0), (1.0, 0.0))


def draw_model(
    banks: pd.DataFrame,
    factors: pd.DataFrame,
    known: Sequence[Factor],
    hazard: HazardSettings,
    settings: PrioritySettings,
) -> DrawModel:
    """Return the model of banks that have a hazard, in the order of ``banks``.

    A measured value with a standard error is drawn about itself, a missing one from the scores of
    the run's measured ones, everything else stays. Heights share one error. A factor whose package
    is not installed keeps its scores.
    """
    by_name = {factor.name: factor for factor in known}
    present = set(factors["factor"])
    names = [factor.name for factor in known if factor.name in present]
    names += sorted(present - set(names))
    names.sort(key=lambda name: bool(name in by_name and by_name[name].at_least_as))
    row = pd.Series(np.arange(len(banks)), index=banks["bank_id"]).reindex(factors["bank_id"])
    inside = row.notna().to_numpy()
    rows = row[inside].to_numpy(np.int64)
    table = factors[inside]
    column = pd.Series(np.arange(len(names)), index=names).reindex(table["factor"])
    at = rows, column.to_numpy(np.int64)

    def spread(name: str) -> np.ndarray:
        whole = np.full((len(banks), len(names)), np.nan)
        whole[at] = table[name].to_numpy(np.float64, na_value=np.nan)
        return whole

    score, value, value_se = spread("score"), spread("value"), spread("value_se")
    words = np.full(score.shape, "missing", object)
    words[at] = table["state"].to_numpy(object)
    is_missing = (words == "missing") | np.isnan(score)
    has_knots = np.array([name in by_name for name in names], np.bool_)
    noisy = ~is_missing & (np.nan_to_num(value_se) > 0) & np.isfinite(value) & has_knots
    state = np.where(is_missing, MISSING, np.where(noisy, NOISY, FIXED)).astype(np.uint8)
    pools = [np.sort(score[~is_missing[:, j], j]) for j in range(len(names))]
    pools = [pool if pool.size else np.zeros(1) for pool in pools]
    knots = [knots_of(by_name[n], hazard) if n in by_name else _LEVEL for n in names]
    knot_x, bend, first = bends_of(knots)
    weight = table.groupby("factor")["weight"].first().reindex(names).to_numpy(np.float64)
    groups: dict[str, int] = {}
    group = [_group(by_name.get(name), name, groups) for name in names]
    floors = [[_is_floor(by_name.get(a), b) for b in names] for a in names]

    exposure = banks["exposure_score"].to_numpy(np.float64, na_value=np.nan)
    seen = np.isfinite(exposure)
    exposure_state = np.where(seen, np.where(exposure > 0, NOISY, FIXED), MISSING).astype(np.uint8)
    rule = settings.rule if seen.any() else "hazard_only"
    owner, reaches = pd.factorize(banks["reach_id"], sort=True)
    return DrawModel(
        state=state,
        score=np.nan_to_num(score),
        value=np.nan_to_num(value),
        value_se=np.nan_to_num(value_se),
        bound=words == "lower_bound",
        group=np.array(group, np.int64),
        floors=np.array(floors, np.bool_).reshape(len(names), len(names)),
        knot_x=knot_x,
        bend=bend,
        first_score=first,
        pool=np.concatenate(pools),
        pool_start=np.concatenate(([0], np.cumsum([pool.size for pool in pools]))).astype(np.int64),
        weights=weight / weight.sum(),
        weight_concentration=settings.weight_concentration,
        exposure=np.nan_to_num(exposure),
        exposure_state=exposure_state,
        exposure_se=settings.exposure_se_points,
        exposure_pool=np.sort(exposure[seen]) if seen.any() else np.zeros(1),
        rule=rule,
        balance=(settings.exposure_weight if rule == "weighted_mean" else settings.unexposed_share),
        owner=owner.astype(np.int64),
        owners=len(reaches),
    )


def _group(factor: Factor | None, name: str, groups: dict[str, int]) -> int:
    key = (factor.error_group if factor is not None else "") or name
    return groups.setdefault(key, len(groups))


def _is_floor(factor: Factor | None, other: str) -> bool:
    return factor is not None and other in factor.at_least_as
