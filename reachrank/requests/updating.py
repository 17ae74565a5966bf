"""Bring a docket up to date: decisions are carried over, and what is different is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd

DECISIONS = ("decision", "decided_on", "decision_note")
_TOLD = (("state", "state"), ("reason_code", "reason"), ("repair_id", "repair"), ("rank", "rank"),
         ("path", "kind of work"), ("share_usd", "share"), ("rules_hash", "rules"))  # fmt: skip


@dataclass(frozen=True)
class Changes:
    """What an update brought, by application_id."""

    new: tuple[str, ...]
    gone: tuple[str, ...]
    gone_decided: tuple[str, ...]
    changed: tuple[tuple[str, str], ...]
    decided_and_changed: tuple[str, ...]
    carried: int


def carry_over(docket: gpd.GeoDataFrame, old: pd.DataFrame) -> tuple[gpd.GeoDataFrame, Changes]:
    """Return the docket with the decisions of an older one, and what changed.

    Rows are the same application when they have the same application_id; where several have it,
    the first goes with the first. Nothing but the decisions is taken from the older docket.
    """
    before = dict(zip(_keys(old), _records(old), strict=True))
    keys = _keys(docket)
    rows = _records(docket)
    values: dict[str, list[Any]] = {name: [] for name in (*DECISIONS, "changed")}
    new, changed, uneasy = [], [], []
    for key, row in zip(keys, rows, strict=True):
        was = before.get(key)
        for name in DECISIONS:
            values[name].append(None if was is None else was.get(name))
        told = "" if was is None else _difference(was, row)
        values["changed"].append("new" if was is None else (told or None))
        if was is None:
            new.append(key[0])
        elif told:
            changed.append((key[0], told))
            if was.get("decision") and was.get("state") != row.get("state"):
                uneasy.append(key[0])
    out = docket.copy()
    for name, column in values.items():
        out[name] = pd.Series(column, index=out.index, dtype=object)
    here = set(keys)
    left = [key for key in before if key not in here]
    return out, Changes(
        new=tuple(new),
        gone=tuple(key[0] for key in left),
        gone_decided=tuple(key[0] for key in left if before[key].get("decision")),
        changed=tuple(changed),
        decided_and_changed=tuple(uneasy),
        carried=sum(bool(value) for value in values["decision"]),
    )


def _keys(table: pd.DataFrame) -> list[tuple[str, int]]:
    seen: Counter[str] = Counter()
    keys = []
    for name in table["application_id"].astype(str):
        keys.append((name, seen[name]))
        seen[name] += 1
    return keys


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    plain = pd.DataFrame(table).astype(object)
    rows: list[dict[str, Any]] = plain.where(plain.notna(), None).to_dict("records")
    return rows


def _difference(was: dict[str, Any], now: dict[str, Any]) -> str:
    return "; ".join(_parts(was, now))


def _parts(was: dict[str, Any], now: dict[str, Any]) -> Iterable[str]:
    for name, word in _TOLD:
        before, after = was.get(name), now.get(name)
        if name == "share_usd" and before is not None and after is not None:
            if abs(before - after) < 0.005:
                continue
            yield f"{word} ${before:,.2f} to ${after:,.2f}"
        elif before != after:
            yield f"{word} {_shown(before)} to {_shown(after)}"


def _shown(value: object) -> str:
    return "none" if value is None else str(value)
