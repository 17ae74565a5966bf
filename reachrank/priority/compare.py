"""Two runs side by side, bank by bank, matched by place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.columns import need_columns
from reachrank.errors import CHANGED, InputError, UsageError
from reachrank.settings.priority import PrioritySettings

if TYPE_CHECKING:
    from reachrank.context import Table

_MOVED_POINTS = 0.05
"""A contribution that moved by less is not worth a word."""
_OF_FACTORS = ("bank_id", "factor", "value", "unit", "score", "weight", "contribution")
_SCORES = ("rank", "priority_score", "hazard_score", "exposure_score", "confidence_frac")


def compare(
    a_tables: Mapping[str, Table],
    b_tables: Mapping[str, Table],
    match_distance_m: float = PrioritySettings().match_distance_m,
) -> pd.DataFrame:
    """Return how banks moved from run a to run b, and why.

    Banks are the same place where they lie on the same side of the stream, run the same way, and
    more than half of the length of each lies within ``match_distance_m`` of the other. Each bank
    is matched once, the longest overlap first.

    Returns
    -------
    DataFrame
        bank, bank_id_a, bank_id_b, overlap_frac; rank, priority_score, hazard_score,
        exposure_score and confidence_frac of both (``_a``, ``_b``); rank_change (positive: moved
        towards the top) and why, in words. Banks of one run alone have the other's columns empty.
        Ordered by rank in b, then by rank in a.

    Raises
    ------
    UsageError
        If the runs are in different coordinate systems.
    InputError
        If a column that tells why a bank moved is not there, or a bank has a factor twice.
    """
    for end, tables in (("first", a_tables), ("second", b_tables)):
        need_columns(tables["factors"], "factors", _OF_FACTORS, f" of the {end} file")
        if tables["factors"].duplicated(["bank_id", "factor"]).any():
            raise InputError(
                f"The layer factors of the {end} file has a factor of one bank twice.",
                hint=CHANGED,
            )
    a, b = gpd.GeoDataFrame(a_tables["banks"]), gpd.GeoDataFrame(b_tables["banks"])
    if a.crs != b.crs:
        raise UsageError(
            "The two runs are in different coordinate systems.",
            hint="Bring one of them into the other's first.",
        )
    pairs = _matched(a, b, match_distance_m)
    rest_a = np.setdiff1d(np.arange(len(a)), pairs["a"].to_numpy())
    rest_b = np.setdiff1d(np.arange(len(b)), pairs["b"].to_numpy())
    at_a = np.concatenate([pairs["a"], rest_a, np.full(rest_b.size, -1)]).astype(np.int64)
    at_b = np.concatenate([pairs["b"], np.full(rest_a.size, -1), rest_b]).astype(np.int64)
    overlap = np.concatenate([pairs["overlap"], np.zeros(rest_a.size + rest_b.size)])
    rows_a, rows_b = _rows(a, at_a), _rows(b, at_b)
    table = pd.DataFrame(
        {
            "bank": rows_a["bank"].where(rows_a["bank"].notna(), rows_b["bank"]),
            "bank_id_a": rows_a["bank_id"],
            "bank_id_b": rows_b["bank_id"],
            "overlap_frac": overlap,
        }
    )
    for name in _SCORES:
        for end, rows in (("a", rows_a), ("b", rows_b)):
            kind = "Int64" if name == "rank" else "float64"
            table[f"{name}_{end}"] = rows[name].astype(kind) if name in rows else pd.NA
    table["rank_change"] = (table["rank_a"] - table["rank_b"]).astype("Int64")
    table["why"] = _why(table, a_tables["factors"], b_tables["factors"])
    order = ["rank_b", "rank_a", "bank_id_b", "bank_id_a"]
    return table.sort_values(order, na_position="last", kind="stable", ignore_index=True)


def _rows(table: pd.DataFrame, at: np.ndarray) -> pd.DataFrame:
    """Rows by position, empty for -1."""
    plain = pd.DataFrame(table).drop(columns="geometry").reset_index(drop=True)
    return plain.reindex(at).reset_index(drop=True)


def _matched(a: gpd.GeoDataFrame, b: gpd.GeoDataFrame, distance_m: float) -> pd.DataFrame:
    lines_a, lines_b = a.geometry.to_numpy(), b.geometry.to_numpy()
    tree = shapely.STRtree(lines_b)
    left, right = tree.query(lines_a, predicate="dwithin", distance=distance_m)
    same = a["bank"].to_numpy()[left] == b["bank"].to_numpy()[right]
    left, right = left[same], right[same]
    shares = [_overlap(lines_a[left], lines_b[right], distance_m),
              _overlap(lines_b[right], lines_a[left], distance_m)]  # fmt: skip
    pairs = pd.DataFrame(
        {
            "a": left,
            "b": right,
            "overlap": np.minimum(*shares),
            "id_a": a["bank_id"].to_numpy()[left],
            "id_b": b["bank_id"].to_numpy()[right],
        }
    )
    pairs = pairs[(pairs["overlap"] > 0.5) & _run_alike(lines_a[left], lines_b[right])]
    pairs = pairs.sort_values(
        ["overlap", "id_a", "id_b"], ascending=[False, True, True], kind="stable"
    )
    used_a: set[int] = set()
    used_b: set[int] = set()
    keep = []
    for row in pairs.itertuples():
        is_free = row.a not in used_a and row.b not in used_b
        keep.append(is_free)
        if is_free:
            used_a.add(row.a)
            used_b.add(row.b)
    return pairs[np.array(keep, np.bool_)]


def _overlap(lines: np.ndarray, others: np.ndarray, distance_m: float) -> np.ndarray:
    """Share of each line's length within the distance of the other, ends cut square."""
    near = shapely.buffer(others, distance_m, cap_style="flat")
    length = shapely.length(lines)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = shapely.length(shapely.intersection(lines, near)) / length
    return np.asarray(np.nan_to_num(share), np.float64)


def _run_alike(lines: np.ndarray, others: np.ndarray) -> np.ndarray:
    def direction(of: np.ndarray) -> np.ndarray:
        ends = [shapely.get_coordinates(shapely.get_point(of, end)) for end in (0, -1)]
        return np.asarray(ends[1] - ends[0], np.float64)

    return np.asarray((direction(lines) * direction(others)).sum(axis=1) > 0)


def _why(table: pd.DataFrame, a: pd.DataFrame, b: pd.DataFrame) -> list[str]:
    of_a = {key: part.set_index("factor") for key, part in a.groupby("bank_id")}
    of_b = {key: part.set_index("factor") for key, part in b.groupby("bank_id")}
    texts = []
    for row in table.itertuples():
        if pd.isna(row.bank_id_a):
            texts.append("only in b")
        elif pd.isna(row.bank_id_b):
            texts.append("only in a")
        else:
            texts.append(_moves(row, of_a.get(row.bank_id_a), of_b.get(row.bank_id_b)))
    return texts


def _moves(row: object, a: pd.DataFrame | None, b: pd.DataFrame | None) -> str:
    moves: list[tuple[float, str]] = []
    if a is not None and b is not None:
        for name in sorted({*a.index, *b.index}):
            before, after = _cell(a, name, "contribution"), _cell(b, name, "contribution")
            change = np.nan_to_num(after) - np.nan_to_num(before)
            if abs(change) >= _MOVED_POINTS:
                unit = str((b if name in b.index else a).loc[name, "unit"])
                text = _step(a, b, name, "value", unit)
                if abs(_cell(a, name, "score") - _cell(b, name, "score")) < 1e-9:
                    text = _step(a, b, name, "weight", "of the weight")
                moves.append((change, f"{name} {text} ({change:+.1f} points)"))
    exposure = [float(getattr(row, f"exposure_score_{end}")) for end in "ab"]
    if abs(np.nan_to_num(exposure[1]) - np.nan_to_num(exposure[0])) >= _MOVED_POINTS:
        text = f"exposure {_shown(exposure[0])} → {_shown(exposure[1])}"
        moves.append((exposure[1] - exposure[0], text))
    moves.sort(key=lambda move: (-abs(np.nan_to_num(move[0])), move[1]))
    return "; ".join(text for _, text in moves) or "nothing moved"


def _step(a: pd.DataFrame, b: pd.DataFrame, name: str, column: str, unit: str) -> str:
    return f"{_shown(_cell(a, name, column))} → {_shown(_cell(b, name, column))} {unit}"


def _cell(table: pd.DataFrame, name: str, column: str) -> float:
    return float(table.loc[name, column]) if name in table.index else math.nan


def _shown(value: float) -> str:
    return "unknown" if math.isnan(value) else f"{value:.3g}"
