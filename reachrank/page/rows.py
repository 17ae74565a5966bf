"""The ranked list: one row per reach, as columns of whole numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from reachrank.page.encode import whole
from reachrank.page.looks import class_numbers
from reachrank.page.sentences import Clauses
from reachrank.priority.rule import listing_order
from reachrank.report.plain import plain

if TYPE_CHECKING:
    from reachrank.context import Table

SIDES = ("", "left", "right")
NAME_LETTERS = 120


def in_order(reaches: pd.DataFrame) -> pd.DataFrame:
    """Return the reaches as they are listed: by rank, ties as on the command line, then by id."""
    return reaches.iloc[listing_order(reaches, "reach_id")].reset_index(drop=True)


def streams_of(reaches: pd.DataFrame) -> list[list[str]]:
    """Return each stream's id and name (the first that a reach has, else empty), by id."""
    named = reaches[["stream_id", "stream_name"]].drop_duplicates()
    names: dict[str, str] = {}
    for stream, name in named.itertuples(index=False):
        known = names.setdefault(str(stream), "")
        if not known and pd.notna(name):
            names[str(stream)] = plain(name, NAME_LETTERS).strip()
    return [[plain(stream, NAME_LETTERS), names[stream]] for stream in sorted(names)]


def rows_of(
    reaches: pd.DataFrame, kinds: Mapping[str, int], clauses: Clauses
) -> dict[str, list[Any]]:
    """Return the columns of the list.

    Parameters
    ----------
    reaches
        In listing order; metric.
    kinds
        reach_id to the kinds of work there, as bits; see `reachrank.page.work`.
    clauses
        Where the reasons' clauses go.

    Returns
    -------
    dict
        Column to values, all of the same length. Lengths in tenths of a metre, heights in
        centimetres, scores in tenths, shares in percent; None where missing.
    """
    stream_ids = sorted(set(reaches["stream_id"].astype(str)))
    stream_number = {stream: i for i, stream in enumerate(stream_ids)}
    side = reaches["worst_bank"].map({"left": 1, "right": 2}).fillna(0).astype(int)
    return {
        "id": [plain(value, NAME_LETTERS) for value in reaches["reach_id"]],
        "stream": [stream_number[str(value)] for value in reaches["stream_id"]],
        "from": whole(reaches["station_from_m"], 10),
        "to": whole(reaches["station_to_m"], 10),
        "rank": whole(_column(reaches, "rank")),
        "low": whole(_column(reaches, "rank_low")),
        "high": whole(_column(reaches, "rank_high")),
        "top": whole(_column(reaches, "top_share"), 100),
        "score": whole(_column(reaches, "priority_score"), 10),
        "hazard": whole(_column(reaches, "hazard_score"), 10),
        "exposure": whole(_column(reaches, "exposure_score"), 10),
        "class": class_numbers(_words(reaches["priority_class"])),
        "sure": whole(_column(reaches, "confidence_frac"), 100),
        "side": side.tolist(),
        "height": whole(_of_side(reaches, side, "bank_height_m"), 100),
        "angle": whole(_of_side(reaches, side, "bank_angle_deg")),
        "near": whole(_column(reaches, "structure_distance_m"), 10),
        "repair": whole(_column(reaches, "repair_length_m"), 10),
        "kinds": [kinds.get(str(value), 0) for value in reaches["reach_id"]],
        "why": [clauses.numbers(text) for text in _words(reaches["reason"])],
    }


def _of_side(reaches: pd.DataFrame, side: pd.Series, name: str) -> np.ndarray:
    left, right = _column(reaches, f"left_{name}"), _column(reaches, f"right_{name}")
    return np.select([side == 1, side == 2], [left, right], np.nan)


def _column(table: Table, name: str) -> np.ndarray:
    if name not in table.columns:
        return np.full(len(table), np.nan)
    return np.asarray(table[name].to_numpy("float64", na_value=np.nan))


def _words(values: pd.Series) -> list[str | None]:
    return [None if pd.isna(value) else str(value) for value in values]
