"""The `priority` stage: hazard and exposure in; priority, ranks, classes and reasons out."""

from __future__ import annotations

from functools import partial
from typing import TypeAlias

import numpy as np
import pandas as pd

from reachrank.columns import floats
from reachrank.context import Context, Table, Tables, with_tables
from reachrank.hazard.registry import load_factors
from reachrank.priority.model import draw_model
from reachrank.priority.rank_draws import RankCounts, draw_ranks
from reachrank.priority.reason import bank_reasons, reach_reasons
from reachrank.priority.rule import (
    CLASSES,
    TIE_BREAK,
    checked_breaks,
    competition_rank,
    priority,
    priority_class,
)
from reachrank.progress import part
from reachrank.settings.priority import PrioritySettings

_FROM_BANK = ("hazard_score", "exposure_score", "priority_score", "confidence_frac")
Firmness: TypeAlias = tuple[pd.DataFrame, pd.DataFrame]
"""rank_low, rank_high and top_share of banks and of reaches, by their ids."""
_NOTHING = pd.DataFrame(
    {
        "rank_low": pd.array([], dtype="Int64"),
        "rank_high": pd.array([], dtype="Int64"),
        "top_share": np.empty(0),
    },
    index=pd.Index([], dtype=object),
)


def run(tables: Tables, ctx: Context) -> Tables:
    """Rank banks and reaches.

    Parameters
    ----------
    tables
        ``banks`` with hazard and exposure scores, ``reaches``, ``factors``; left as they are.
    ctx
        ``ctx.settings.priority`` holds the rule, the classes and the draws. With ``ctx.beside``
        ranks are drawn while the next stages run: rank_low, rank_high and top_share are null until
        the end.

    Returns
    -------
    Tables
        With priority_score, rank, rank_low, rank_high, top_share, confidence_frac and reason in
        ``banks`` and ``reaches``, and worst_bank and priority_class in ``reaches``. A reach takes
        its scores from its worst bank: the one with the higher priority; of equal ones the one
        with the higher hazard, then the left.
    """
    settings = ctx.settings.priority
    banks, reaches = tables["banks"].copy(), tables["reaches"].copy()
    exposure = floats(banks, "exposure_score")
    banks["exposure_score"] = exposure
    banks["priority_score"] = priority(floats(banks, "hazard_score"), exposure, settings)
    banks["rank"] = competition_rank(banks["priority_score"])
    exposed_share = settings.exposure_weight
    measured = floats(banks, "hazard_confidence_frac")
    confidence = (1.0 - exposed_share) * measured + exposed_share * np.isfinite(exposure)
    banks["confidence_frac"] = np.where(banks["priority_score"].notna(), confidence, 0.0)
    banks["reason"] = bank_reasons({**tables, "banks": banks}).reindex(banks["bank_id"]).to_numpy()

    _take_worst_bank(reaches, banks)
    reaches["rank"] = competition_rank(reaches["priority_score"])
    reaches["priority_class"] = pd.Series(
        priority_class(reaches["priority_score"], settings), index=reaches.index, dtype=object
    )
    texts = reach_reasons(reaches, banks, banks.set_index("bank_id")["reason"])
    reaches["reason"] = texts.reindex(reaches["reach_id"]).to_numpy()
    if len(reaches) and reaches["rank"].isna().all():
        ctx.findings.add(
            "warning",
            "nothing_ranked",
            "No bank was found on any reach, so nothing is ranked: the DEM does not show the "
            "channels, or a setting of the sections rules every bank out.",
            source_layer="reaches",
        )
    ctx.progress(0.1, "ranked")
    _facts(ctx, settings, bool(np.isfinite(exposure).any()))
    tables = with_tables(tables, banks=banks, reaches=reaches)
    given = _ranked(banks)[["bank_id", "reach_id", "exposure_score"]], tables["factors"]
    if ctx.beside is None:
        return _with_firmness(tables, _draw(*given, ctx.jobs, ctx))
    ctx.beside.begin(partial(_draw, *given, ctx.jobs - 1), _with_firmness, ctx)
    return _with_firmness(tables, None)


def _take_worst_bank(reaches: Table, banks: pd.DataFrame) -> None:
    ranked = banks[banks["priority_score"].notna()].assign(
        priority_round=lambda t: t["priority_score"].round(6),
        hazard_round=lambda t: t["hazard_score"].round(6),
    )
    worst = (
        ranked.sort_values(
            ["reach_id", "priority_round", "hazard_round", "bank"],
            ascending=[True, False, False, True],
            kind="stable",
        )
        .drop_duplicates("reach_id")
        .set_index("reach_id")
        .reindex(reaches["reach_id"])
    )
    reaches["worst_bank"] = pd.Series(worst["bank"].to_numpy(), index=reaches.index, dtype=object)
    reaches["worst_bank"] = reaches["worst_bank"].where(reaches["worst_bank"].notna(), None)
    for name in _FROM_BANK:
        reaches[name] = worst[name].to_numpy(np.float64)


def _draw(ranked: pd.DataFrame, factors: Table, jobs: int, ctx: Context) -> Firmness | None:
    """Return how firm the ranks of banks and of reaches are; None where no rank is drawn."""
    settings = ctx.settings.priority
    if not settings.draws or ranked.empty or factors.empty:
        return None
    model = draw_model(ranked, factors, load_factors(), ctx.settings.hazard, settings)
    of_banks, of_reaches = draw_ranks(
        model,
        draws=settings.draws,
        seed=settings.seed,
        top_n=settings.top_n,
        jobs=jobs,
        progress=part(ctx.progress, 0.1, 1.0),
    )
    reach_id = pd.Index(sorted(ranked["reach_id"].unique()))
    # the counts themselves are more than all banks and reaches together
    return _bounds(pd.Index(ranked["bank_id"]), of_banks), _bounds(reach_id, of_reaches)


def _bounds(ids: pd.Index, counts: RankCounts) -> pd.DataFrame:
    """Return rank_low, rank_high and top_share by id."""
    return pd.DataFrame(
        {
            "rank_low": pd.array(counts.quantile_low(0.05), dtype="Int64"),
            "rank_high": pd.array(counts.quantile_high(0.95), dtype="Int64"),
            "top_share": counts.top_share(),
        },
        index=ids,
    )


def _ranked(banks: Table) -> pd.DataFrame:
    ranked = pd.DataFrame(banks)[banks["priority_score"].notna()]
    return ranked.sort_values("bank_id", kind="stable")


def _with_firmness(tables: Tables, firmness: Firmness | None) -> Tables:
    """Put rank_low, rank_high and top_share into both tables; null where not ranked."""
    banks, reaches = tables["banks"].copy(), tables["reaches"].copy()
    of_banks, of_reaches = firmness or (_NOTHING, _NOTHING)
    for name, values in of_banks.reindex(banks["bank_id"]).items():
        banks[name] = values.array
    for name, values in of_reaches.reindex(reaches["reach_id"]).items():
        reaches[name] = values.array
    return with_tables(tables, banks=banks, reaches=reaches)


def _facts(ctx: Context, settings: PrioritySettings, is_exposure_known: bool) -> None:
    rule = settings.rule if is_exposure_known else "hazard alone: no structures were given"
    ctx.facts["priority_rule"] = str(rule)
    words = ", ".join(
        f"'{word}' from {least:g}"
        for word, least in zip(CLASSES[1:], checked_breaks(settings), strict=True)
    )
    ctx.facts["priority_classes"] = f"'{CLASSES[0]}', {words}"
    ctx.facts["rank_ties"] = (
        "ties share a rank and the next is skipped (1, 2, 2, 4); listed by " + ", ".join(TIE_BREAK)
    )
    ctx.facts["rank_draws"] = f"{settings.draws} draws, seed {settings.seed}"
