"""The repairs: where they are, what kind of work, what it costs, what to buy."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from reachrank.page.encode import encode_lines, whole
from reachrank.page.sentences import Clauses
from reachrank.report.plain import plain
from reachrank.units import to_us

if TYPE_CHECKING:
    from reachrank.context import Table

_LABELS = {
    "hand_built": "built by hand",
    "design_first": "design first",
    "visit_first": "visit first",
    "leave_alone": "leave alone",
    "": "kind of work not decided",
}
"""In the order of the filter; a path that is not here is shown by its own words, after these."""
_TEXTS = ("path_reasons", "permit_questions", "constraint_names", "structure_id")
_NUMBERS = {
    "length": ("length_m", 10),
    "height": ("bank_height_m", 100),
    "height_max": ("bank_height_max_m", 100),
    "cost_low": ("cost_low_usd", 1),
    "cost_high": ("cost_high_usd", 1),
    "hours_low": ("crew_hours_low", 10),
    "hours_high": ("crew_hours_high", 10),
    "soil_low": ("sediment_low_t_yr_screening", 100),
    "soil_mid": ("sediment_mid_t_yr_screening", 100),
    "soil_high": ("sediment_high_t_yr_screening", 100),
}


def kinds_of_work(repairs: pd.DataFrame) -> list[dict[str, str]]:
    """Return the kinds of work that the repairs name, ``path`` and ``label``, in a fixed order."""
    paths = {"" if pd.isna(path) else str(path) for path in _paths(repairs)}
    order = [*_LABELS, *sorted(paths - set(_LABELS))]
    return [
        {"path": path, "label": _LABELS.get(path, plain(path.replace("_", " "), 40))}
        for path in order
        if path in paths
    ]


def kinds_by_reach(repairs: pd.DataFrame, kinds: list[dict[str, str]]) -> dict[str, int]:
    """Return for each reach_id the kinds of work there: bit k for the k-th kind."""
    bit = {kind["path"]: 1 << k for k, kind in enumerate(kinds)}
    out: defaultdict[str, int] = defaultdict(int)
    for path, reaches in zip(_paths(repairs), repairs["reach_ids"], strict=True):
        for reach in _reach_ids(reaches):
            out[reach] |= bit["" if pd.isna(path) else str(path)]
    return dict(out)


def repairs_of(
    repairs: pd.DataFrame,
    lines_deg: np.ndarray,
    row_of_reach: Mapping[str, int],
    kinds: list[dict[str, str]],
    clauses: Clauses,
) -> dict[str, Any]:
    """Return the repairs as columns, their lines, and the list's rows that each lies in."""
    number = {kind["path"]: k for k, kind in enumerate(kinds)}
    out: dict[str, Any] = {
        "id": [plain(value, 120) for value in repairs["repair_id"]],
        "side": repairs["bank"].map({"left": 1, "right": 2}).fillna(0).astype(int).tolist(),
        "kind": [number["" if pd.isna(path) else str(path)] for path in _paths(repairs)],
        "rows": [
            [row_of_reach[reach] for reach in _reach_ids(value) if reach in row_of_reach]
            for value in repairs["reach_ids"]
        ],
        "lines": encode_lines(lines_deg),
    }
    for short, (name, per_unit) in _NUMBERS.items():
        if name in repairs.columns and repairs[name].notna().any():
            out[short] = whole(repairs[name].to_numpy("float64", na_value=np.nan), per_unit)
    for name in _TEXTS:
        if name in repairs.columns and repairs[name].notna().any():
            out[name] = [clauses.numbers(text) for text in repairs[name]]
    return out


def materials_of(
    materials: Table | None, repair_ids: list[str], clauses: Clauses
) -> dict[int, list[list[Any]]]:
    """Return what to buy for each repair, by its place among ``repair_ids``.

    Each item is a list: its name, then in metric and again in U.S. units the unit and the least
    and greatest quantity to buy, then low and high cost in US$.
    """
    if materials is None or materials.empty:
        return {}
    place = {repair: i for i, repair in enumerate(repair_ids)}
    out: defaultdict[int, list[list[Any]]] = defaultdict(list)
    metric, us = materials.reset_index(drop=True), to_us(materials.reset_index(drop=True))
    for row, other in zip(metric.to_dict("records"), us.to_dict("records"), strict=True):
        if row["repair_id"] not in place:
            continue
        out[place[row["repair_id"]]].append(
            [
                clauses.numbers(row["item"]),
                *(
                    value
                    for system in (row, other)
                    for value in (
                        plain(system["unit"], 30),
                        _round(system.get("purchase_low")),
                        _round(system.get("purchase_high")),
                    )
                ),
                _round(row.get("cost_low_usd")),
                _round(row.get("cost_high_usd")),
            ]
        )
    return dict(out)


def _paths(repairs: pd.DataFrame) -> pd.Series:
    if "path" in repairs.columns:
        return repairs["path"]
    return pd.Series([None] * len(repairs), repairs.index, dtype=object)


def _reach_ids(text: Any) -> list[str]:
    return [] if pd.isna(text) else [word for word in str(text).split(",") if word]


def _round(value: Any) -> float | int | None:
    if value is None or pd.isna(value):
        return None
    rounded = round(float(value), 2)
    return int(rounded) if rounded.is_integer() else rounded
