"""Years until the edge of a bank gets to a structure.

Recession categories are a field observer's, feet a year; which hazard score stands for which
category is a tool default. The figures tell near from far; they are no forecast: banks fail in
steps, in the floods that happen to come.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from reachrank.context import Context, Tables, with_tables
from reachrank.errors import SettingsError
from reachrank.settings.exposure import ExposureSettings

FOOT_M = 0.3048
"""International foot, exactly."""
YEARS = ("reached_soonest_yr", "reached_middle_yr", "reached_latest_yr")


def category_of_rate(recession_ft_per_yr: float) -> str:
    """Return the recession category of a measured rate in feet a year.

    The printed classes leave gaps at 0.05-0.06 and 0.2-0.3 ft/yr; both are closed in the middle,
    at 0.055 and 0.25 (tool default, no published limit). 0.5 belongs to very_severe.

    Examples
    --------
    >>> [category_of_rate(rate) for rate in (0.03, 0.1, 0.24, 0.26, 0.5)]
    ['slight', 'moderate', 'moderate', 'severe', 'very_severe']
    """
    edges = ((0.055, "slight"), (0.25, "moderate"), (0.5, "severe"))
    return next((name for edge, name in edges if recession_ft_per_yr < edge), "very_severe")


def recession_rates(
    hazard_score: ArrayLike, settings: ExposureSettings | None = None
) -> NDArray[np.float64]:
    """Return low, middle and high recession in m/yr for hazard scores; shape (n, 3).

    NaN where the score is NaN. The middle is halfway between low and high.

    Raises
    ------
    SettingsError
        Where a category of the hazard table has no rates, or the scores do not rise from 0.

    References
    ----------
    NRCS lateral recession categories as used in Illinois (Windhorn 2000), from memory.

    Examples
    --------
    >>> (recession_rates([60.0])[0] / 0.3048).round(3).tolist()  # severe: 0.3 to 0.5 ft/yr
    [0.3, 0.4, 0.5]
    """
    settings = settings or ExposureSettings()
    starts = np.array([start for start, _ in settings.hazard_categories], dtype=np.float64)
    names = [name for _, name in settings.hazard_categories]
    unknown = sorted(set(names) - set(settings.recession_ft_per_yr))
    if unknown or starts.size == 0 or starts[0] > 0.0 or np.any(np.diff(starts) <= 0.0):
        raise SettingsError(
            f"The hazard categories {settings.hazard_categories} cannot be used.",
            hint="Scores must rise from 0, and every category needs a row of recession rates.",
            where="exposure.hazard_categories",
        )
    table = np.array([settings.recession_ft_per_yr[name] for name in names]) * FOOT_M
    table = np.column_stack([table[:, 0], table.mean(axis=1), table[:, 1]])
    score = np.atleast_1d(np.asarray(hazard_score, dtype=np.float64))
    row = np.searchsorted(starts, score, side="right") - 1
    rates = table[np.clip(row, 0, len(names) - 1)]
    rates[np.isnan(score)] = np.nan
    return rates


def years_to_edge(
    distance_m: ArrayLike, hazard_score: ArrayLike, settings: ExposureSettings | None = None
) -> NDArray[np.float64]:
    """Return the years until the edge has gone a distance: soonest, middle, latest; shape (n, 3).

    Parameters
    ----------
    distance_m
        From the top of the bank to the structure; n values, NaN for none.
    hazard_score
        Hazard of that bank, 0 to 100; n values, NaN for unknown.
    settings
        Categories and rates; the default ones if None.

    Returns
    -------
    ndarray
        At the high, the middle and the low recession of the score's category; no more than
        ``years_cap_yr``, which then means that many or more. NaN where either input is.

    Examples
    --------
    >>> years_to_edge([6.096], [60.0]).round(1).tolist()  # 20 ft at 0.5, 0.4 and 0.3 ft/yr
    [[40.0, 50.0, 66.7]]
    """
    settings = settings or ExposureSettings()
    rates = recession_rates(hazard_score, settings)[:, ::-1]
    distance = np.atleast_1d(np.asarray(distance_m, dtype=np.float64))
    years: NDArray[np.float64] = np.minimum(distance[:, None] / rates, settings.years_cap_yr)
    return years


def add_years(tables: Tables, ctx: Context) -> Tables:
    """Add the years until the edge gets to the nearest structure to `banks` and `exposures`.

    To be called once `banks` has its ``hazard_score``, which belongs to a later stage than the
    distances; without that column the years are NaN.
    """
    settings = ctx.settings.exposure
    banks, exposures = tables["banks"].copy(), tables["exposures"].copy()
    if "hazard_score" in banks:
        hazard = banks["hazard_score"].to_numpy(dtype=np.float64, na_value=np.nan)
    else:
        hazard = np.full(len(banks), np.nan)
    distance = banks["structure_distance_m"].to_numpy(dtype=np.float64, na_value=np.nan)
    banks[list(YEARS)] = years_to_edge(distance, hazard, settings)
    of_bank = exposures["bank_id"].map(pd.Series(hazard, index=banks["bank_id"].to_numpy()))
    exposures[list(YEARS)] = years_to_edge(
        exposures["bank_distance_m"].to_numpy(dtype=np.float64),
        of_bank.to_numpy(dtype=np.float64, na_value=np.nan),
        settings,
    )
    return with_tables(tables, banks=banks, exposures=exposures)
