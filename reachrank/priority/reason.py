"""Why a bank scores as it does, in plain words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import pandas as pd

from reachrank.columns import floats

if TYPE_CHECKING:
    from reachrank.context import Table

Units = Literal["metric", "us"]
_FOOT_M = 0.3048
_TIGHT_BELOW, _GENTLE_ABOVE = 2.5, 5.0
"""Radius in widths: words for a bend, tool default."""
_BEND_FROM = 0.1
"""Width over radius below which a bank is as good as straight, tool default."""
_STEEP_FROM_DEG, _GENTLE_BELOW_DEG = 45.0, 20.0
_BARE_BELOW, _COVERED_FROM = 0.2, 0.7
_UNEVEN_RATIO, _UNEVEN_M = 1.25, 0.3
"""A bank whose high part is higher than its middle by both is told with both heights."""
_NUMBERS = (
    "bank_height_m", "bank_height_p90_m", "bank_angle_deg", "is_angle_lower_bound", "cover_frac",
    "structure_distance_m", "hazard_score",
)  # fmt: skip
_NAMES = {
    "bank_height": "bankfull depth",
    "bank_angle": "bank angle",
    "bend": "bend",
    "cover": "cover",
    "soil": "soil",
    "unit_stream_power": "stream power",
    "cutting_down": "the other bank's height",
}


@dataclass(frozen=True, kw_only=True)
class BankFacts:
    """What a reason is made of; NaN and '' where unknown."""

    bank: str
    height_m: float = math.nan
    height_p90_m: float = math.nan
    """The high part of the bank, which often makes its score."""
    angle_deg: float = math.nan
    is_angle_lower_bound: bool = False
    width_radius_ratio: float = math.nan
    """0 on a straight bank and on the inside of a bend."""
    cover_frac: float = math.nan
    cutting_down_score: float = math.nan
    structure: str = ""
    structure_distance_m: float = math.nan
    are_structures_known: bool = True
    is_ranked: bool = True
    missing: tuple[str, ...] = ()


def reason(facts: BankFacts, units: Units = "metric") -> str:
    """Return the reason as a sentence, lengths in metres or in feet.

    Examples
    --------
    >>> house = BankFacts(bank="right", height_m=2.1, angle_deg=60.0, width_radius_ratio=0.5,
    ...                   structure="house", structure_distance_m=9.0)
    >>> reason(house)
    'Outside of a tight bend on the right bank, 2.1 m high and steep; house 9 m from the edge.'
    >>> reason(house, units="us")
    'Outside of a tight bend on the right bank, 6.9 ft high and steep; house 30 ft from the edge.'

    What makes the score of an uneven bank is mostly its high part:

    >>> reason(BankFacts(bank="left", height_m=1.1, height_p90_m=2.9, are_structures_known=False))
    'Left bank, 1.1 m high (in places 2.9 m); structures nearby not looked at.'
    """
    if not facts.is_ranked:
        return f"No usable section shows the top of the {facts.bank} bank: not ranked."
    first = [_place(facts), _shape(facts, units)]
    if facts.cover_frac < _BARE_BELOW:
        first.append("hardly any trees or shrubs behind it")
    elif facts.cover_frac >= _COVERED_FROM:
        first.append("trees or shrubs behind it")
    if facts.cutting_down_score >= 0.5:
        first.append("high banks on both sides")
    parts = [", ".join(part for part in first if part), _near(facts, units)]
    if facts.missing:
        parts.append(f"not known here: {', '.join(facts.missing)}")
    return "; ".join(part for part in parts if part) + "."


def _place(facts: BankFacts) -> str:
    curved = facts.width_radius_ratio
    if not curved >= _BEND_FROM:
        return f"{facts.bank.capitalize()} bank"
    radius = 1.0 / curved
    tight = "tight " if radius < _TIGHT_BELOW else "gentle " if radius > _GENTLE_ABOVE else ""
    return f"Outside of a {tight}bend on the {facts.bank} bank"


def _shape(facts: BankFacts, units: Units) -> str:
    words = []
    if math.isfinite(facts.height_m):
        more = facts.height_p90_m - facts.height_m
        is_uneven = more >= max(_UNEVEN_M, (_UNEVEN_RATIO - 1.0) * facts.height_m)
        high = f" (in places {_length(facts.height_p90_m, units, 1)})" if is_uneven else ""
        words.append(f"{_length(facts.height_m, units, 1)} high{high}")
    if facts.is_angle_lower_bound and math.isfinite(facts.angle_deg):
        words.append(f"{facts.angle_deg:.0f}° steep or more")
    elif facts.angle_deg >= _STEEP_FROM_DEG:
        words.append("steep")
    elif facts.angle_deg < _GENTLE_BELOW_DEG:
        words.append("gently sloping")
    return " and ".join(words)


def _near(facts: BankFacts, units: Units) -> str:
    if not facts.are_structures_known:
        return "structures nearby not looked at"
    if not math.isfinite(facts.structure_distance_m):
        return "no structure near"
    name = facts.structure or "structure"
    if facts.structure_distance_m < 0.5:
        return f"{name} at the edge"
    return f"{name} {_length(facts.structure_distance_m, units, 0)} from the edge"


def _length(metres: float, units: Units, decimals: int) -> str:
    if units == "us":
        return f"{metres / _FOOT_M:.{decimals}f} ft"
    return f"{metres:.{decimals}f} m"


def bank_reasons(tables: Mapping[str, Table], units: Units = "metric") -> pd.Series:
    """Return each bank's reason, indexed by bank_id, from ``banks`` and ``factors``."""
    banks, factors = tables["banks"], tables["factors"]
    cells = {name: factors.set_index(["factor", "bank_id"])[name] for name in ("value", "score")}
    missing = factors[factors["state"] == "missing"]
    words = missing.groupby("bank_id")["factor"].agg(tuple).to_dict()
    classes = _structure_classes(tables)
    known = bool(banks["exposure_score"].notna().any()) if "exposure_score" in banks else False
    bends = _of_factor(cells["value"], "bend")
    cutting = _of_factor(cells["score"], "cutting_down")
    texts = {}
    numbers = [floats(banks, name).tolist() for name in _NUMBERS]
    structure_id = (
        banks["structure_id"].tolist() if "structure_id" in banks else [None] * len(banks)
    )
    for bank_id, bank, structure, height, high, angle, is_bound, cover, distance, hazard in zip(
        banks["bank_id"].tolist(), banks["bank"].tolist(), structure_id, *numbers, strict=True
    ):
        facts = BankFacts(
            bank=str(bank),
            height_m=height,
            height_p90_m=high,
            angle_deg=angle,
            is_angle_lower_bound=is_bound == 1.0,
            width_radius_ratio=bends.get(bank_id, math.nan),
            cover_frac=cover,
            cutting_down_score=cutting.get(bank_id, math.nan),
            structure=classes.get(structure, ""),
            structure_distance_m=distance,
            are_structures_known=known,
            is_ranked=math.isfinite(hazard),
            missing=tuple(_NAMES.get(n, n.replace("_", " ")) for n in words.get(bank_id, ())),
        )
        texts[bank_id] = reason(facts, units)
    return pd.Series(texts, dtype=object)


def reach_reasons(reaches: pd.DataFrame, banks: pd.DataFrame, of_bank: pd.Series) -> pd.Series:
    """Return each reach's reason: that of its worst bank; indexed by reach_id."""
    key = pd.MultiIndex.from_arrays([banks["reach_id"], banks["bank"]])
    by_key = dict(zip(key, of_bank.reindex(banks["bank_id"]), strict=True))
    texts = {
        reach: by_key.get((reach, bank), "No usable section shows the top of a bank: not ranked.")
        for reach, bank in zip(reaches["reach_id"], reaches["worst_bank"], strict=True)
    }
    return pd.Series(texts, dtype=object)


def _structure_classes(tables: Mapping[str, Table]) -> dict[object, str]:
    classes: dict[object, str] = {}
    for layer in ("structures", "exposures"):
        if layer in tables:
            table = tables[layer]
            classes |= dict(zip(table["structure_id"], table["structure_class"], strict=True))
    return classes


def _of_factor(values: pd.Series, name: str) -> dict[object, float]:
    is_there = name in values.index.get_level_values("factor")
    if not is_there:
        return {}
    of_factor = values.loc[name]
    return dict(zip(of_factor.index.tolist(), of_factor.tolist(), strict=True))
