"""From hazard and exposure to priority, and from priority to a class and a rank."""

from __future__ import annotations

import itertools
from typing import Literal, cast

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from reachrank.errors import SettingsError
from reachrank.settings.priority import PRIORITY_CLASSES, PrioritySettings

Floats = NDArray[np.float64]
Rule = Literal["product", "weighted_mean", "hazard_where_exposed"]
RULES: tuple[Rule, ...] = ("product", "weighted_mean", "hazard_where_exposed")
CLASSES = PRIORITY_CLASSES
TIE_BREAK = ("hazard_score", "exposure_score", "length_m")
"""Of equal priorities the one with more of these is listed first, then by id; ranks stay shared."""


def priority(
    hazard_score: ArrayLike, exposure_score: ArrayLike, settings: PrioritySettings
) -> Floats:
    """Return the priority score, 0 to 100, by the rule in the settings.

    A missing exposure takes the run's median; where every exposure is missing, nothing is known
    of what could be lost, and the priority is the hazard itself. NaN where the hazard is.

    Examples
    --------
    >>> # by hand: 60 * (0.5 + 0.5 * 0.50) = 45
    >>> float(priority([60.0], [50.0], PrioritySettings())[0])
    45.0
    """
    hazard = np.asarray(hazard_score, np.float64)
    exposure = np.asarray(exposure_score, np.float64)
    known = np.isfinite(exposure) & np.isfinite(hazard)
    if not known.any():
        return hazard.copy()
    exposure = np.where(np.isfinite(exposure), exposure, np.median(exposure[known]))
    rule = cast("Rule", settings.rule)
    if rule == "product":
        keep = settings.unexposed_share
        return np.asarray(hazard * (keep + (1.0 - keep) * exposure / 100.0), np.float64)
    if rule == "weighted_mean":
        part = settings.exposure_weight
        return np.asarray((1.0 - part) * hazard + part * exposure, np.float64)
    return np.where(np.isnan(hazard), np.nan, np.where(exposure > 0, hazard, 0.0))


def competition_rank(scores: ArrayLike) -> pd.array:  # type: ignore[valid-type]
    """Return ranks, 1 for the greatest; ties share a rank and the next is skipped; null for NaN.

    Scores closer than a millionth of a point are ties, so that the order of a sum cannot matter.

    Examples
    --------
    >>> competition_rank([7.0, 9.0, 7.0, 3.0]).tolist()  # 1, 2, 2, 4 in order of score
    [2, 1, 2, 4]
    """
    rounded = pd.Series(np.round(np.asarray(scores, np.float64), 6))
    return rounded.rank(method="min", ascending=False).astype("Int64").array


def listing_order(table: pd.DataFrame, id_column: str) -> NDArray[np.int64]:
    """Return row positions in the order of a printed list: rank, then `TIE_BREAK`, then the id."""
    ids = table[id_column].astype(str).to_numpy()
    keys: list[NDArray[np.generic]] = [ids]
    for name in reversed(TIE_BREAK):
        if name in table.columns:
            values = table[name].to_numpy(np.float64, na_value=np.nan)
            keys.append(-np.nan_to_num(np.round(values, 6), nan=-1.0))
    ranks = table["rank"].to_numpy(np.float64, na_value=np.inf)
    return np.lexsort((*keys, ranks))


def priority_class(scores: ArrayLike, settings: PrioritySettings) -> NDArray[np.object_]:
    """Return the class word of each score, None for NaN; a score at a break is in the upper class.

    Raises
    ------
    SettingsError
        If there are not three rising breaks within 0 to 100.
    """
    breaks = checked_breaks(settings)
    values = np.asarray(scores, np.float64)
    words = np.array(CLASSES, object)[np.searchsorted(breaks, np.nan_to_num(values), "right")]
    words[np.isnan(values)] = None
    return words


def checked_breaks(settings: PrioritySettings) -> tuple[float, ...]:
    """Return the class breaks, or raise `SettingsError` where they cannot be used."""
    breaks = tuple(float(value) for value in settings.class_breaks)
    rising = all(a < b for a, b in itertools.pairwise(breaks))
    if len(breaks) != len(CLASSES) - 1 or not rising or not all(0 <= b <= 100 for b in breaks):
        raise SettingsError(
            f"class_breaks is {list(breaks)}.",
            hint=f"Give {len(CLASSES) - 1} rising scores within 0 to 100.",
            where="priority",
        )
    return breaks
