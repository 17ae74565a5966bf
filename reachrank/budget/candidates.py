"""The candidates of a docket or a ranked file: what each is worth, and what it takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.budget.best_set import Problem
from reachrank.budget.value_by_cost import Cents, Floats
from reachrank.errors import UsageError
from reachrank.requests.ranked_tables import RankedTables
from reachrank.requests.sites import repairs_named

Worth = Literal["priority", "tons", "structures"]
Cost = Literal["share", "low", "middle", "high"]
WORTH_WORDS: dict[Worth, str] = {
    "priority": "priority score times length, in points of a metre over 100",
    "tons": "soil kept at the bank in a year, middle screening figure",
    "structures": "structures within reach, each counted once",
}


@dataclass(frozen=True)
class Candidates:
    """Repairs that may be chosen, in the order of repair_id; arrays have shape (n,).

    ``left_out`` says how many were left out, by reason.
    """

    repair_ids: list[str]
    worth: Floats
    cost_cents: Cents
    streams: list[str]
    left_out: dict[str, int]


def candidates_of(
    ranked: RankedTables, worth: Worth, cost: Cost | None, never: list[str]
) -> Candidates:
    """Return the candidates of a docket (its eligible repairs) or of a ranked file (all repairs).

    Parameters
    ----------
    ranked
        The file.
    worth
        ``priority``: score times length over 100, so that a long bad bank is worth more than a
        short one; ``tons``; or ``structures``.
    cost
        What is charged; None is the program's share for a docket, the high cost for a ranked file.
    never
        Names that stay out.
    """
    barred = set(repairs_named(ranked, never)) if never else set()
    repairs = pd.DataFrame(ranked.repairs)
    left_out: dict[str, int] = {}

    def leave(mask: pd.Series, why: str) -> None:
        nonlocal repairs
        count = int(mask.sum())
        if count:
            left_out[why] = count
            repairs = repairs[~mask]

    if ranked.is_docket:
        docket = ranked.tables["docket"]
        eligible = set(docket.loc[docket["state"] == "eligible", "repair_id"].dropna())
        leave(~repairs["repair_id"].isin(eligible), "not eligible")
    elif cost == "share":
        raise UsageError("A ranked file has no shares.", hint="Give a docket, or --cost high.")
    leave(repairs["repair_id"].isin(barred), "named by --never")
    if "path" in repairs:
        leave(repairs["path"] == "leave_alone", "best left alone")
    charge = _charges(ranked, repairs, cost or ("share" if ranked.is_docket else "high"))
    leave(charge.isna(), "without a cost")
    value = _worths(repairs, worth)
    leave(value.isna(), f"without a worth ({worth})")
    charge, value = charge.loc[repairs.index], value.loc[repairs.index]
    cents = np.ceil(np.round(charge.to_numpy(dtype=np.float64) * 100.0, 6)).astype(np.int64)
    return Candidates(
        repairs["repair_id"].astype(str).tolist(),
        value.to_numpy(dtype=np.float64),
        cents,
        repairs["stream_id"].fillna("").astype(str).tolist(),
        left_out,
    )


def make_problem(
    candidates: Candidates, amount_usd: float, must: list[str], per_stream: int | None
) -> Problem:
    """Return the choice to be made: amounts in cents, streams as numbers.

    Raises
    ------
    UsageError
        If the amount is not money, or something that must be in is not among the candidates.
    """
    if not 0.0 <= amount_usd < 1e12:
        raise UsageError(f"--amount is {amount_usd:g}; it must be money from 0 up.")
    place_of = {name: place for place, name in enumerate(candidates.repair_ids)}
    missing = [name for name in must if name not in place_of]
    if missing:
        raise UsageError(
            f"{', '.join(missing)} must be in but is no candidate: not eligible, best left alone, "
            "named by --never too, or without a cost.",
        )
    is_must = np.zeros(len(place_of), dtype=np.bool_)
    is_must[[place_of[name] for name in must]] = True
    names = {name: number for number, name in enumerate(sorted(set(candidates.streams)))}
    group: NDArray[np.intp] = np.array([names[s] for s in candidates.streams], dtype=np.intp)
    return Problem(
        worth=candidates.worth,
        cost_cents=candidates.cost_cents,
        amount_cents=int(np.floor(round(amount_usd * 100.0, 6))),
        must=is_must,
        group=group,
        per_group=per_stream,
    )


def _charges(ranked: RankedTables, repairs: pd.DataFrame, cost: Cost) -> pd.Series:
    if cost == "share":
        docket = ranked.tables["docket"]
        eligible = docket[docket["state"] == "eligible"]
        shares = eligible.groupby("repair_id")["share_usd"].agg(lambda s: s.sum(skipna=False))
        return repairs["repair_id"].map(shares).astype("float64")
    nothing = pd.Series(np.nan, index=repairs.index)
    low = repairs.get("cost_low_usd", nothing).astype("float64")
    high = repairs.get("cost_high_usd", nothing).astype("float64")
    return {"low": low, "high": high, "middle": (low + high) / 2.0}[cost]


def _worths(repairs: pd.DataFrame, worth: Worth) -> pd.Series:
    if worth == "priority":
        score = repairs["priority_score"].astype("float64")
        return score * repairs["length_m"].astype("float64") / 100.0
    if worth == "tons":
        nothing = pd.Series(np.nan, index=repairs.index)
        return repairs.get("sediment_mid_t_yr_screening", nothing).astype("float64")
    return repairs["structures_count"].astype("float64")
