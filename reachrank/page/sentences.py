"""Sentences in metric and in U.S. units, each clause kept once.

A county's reasons repeat themselves: "no structure near" stands there a thousand times. Sentences
are cut into clauses, and each clause is written into the page once, in both systems of units.
"""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

from reachrank.report.plain import plain
from reachrank.units import us_name
from reachrank.write.us_text import us_text

_CLAUSE = re.compile(r".+?(?:[,;] +|$)")  # 1,234 stays whole: no blank behind its comma
_ENDING = {"ft": "_m", "1/ft": "_per_m", "yd²": "_m2", "yd³": "_m3", "mi²": "_km2"}
_QUANTITY = re.compile(r"(?<![\w.])(-?\d[\d,]*(?:\.\d+)?) (mi²|yd²|yd³|1/ft|ft)(?![\w²³/]| per ft)")
_METRIC_WORD = {"ft": "m", "1/ft": "1/m", "yd²": "m²", "yd³": "m³", "mi²": "km²"}
MOST_LETTERS = 1200


def metric_text(text: str) -> str:
    """Convert the lengths and areas of a sentence in U.S. units, with the decimals they had.

    The way back from `reachrank.write.us_text.us_text`, as far as its rounding lets one go.

    Examples
    --------
    >>> metric_text("Bank 7.9 ft high, barn 39 ft from the top.")
    'Bank 2.4 m high, barn 12 m from the top.'
    """

    def convert(match: re.Match[str]) -> str:
        number, unit = match.groups()
        value = float(number.replace(",", "")) / us_name(_ENDING[unit])[1]
        decimals = len(number.partition(".")[2])
        return f"{value:{',' if abs(value) >= 1000 else ''}.{decimals}f} {_METRIC_WORD[unit]}"

    return _QUANTITY.sub(convert, text)


class Clauses:
    """Every clause that the page shows, numbered; a sentence is a list of their numbers.

    Parameters
    ----------
    is_us
        The sentences come from a file in U.S. units.

    Examples
    --------
    >>> clauses = Clauses(is_us=False)
    >>> clauses.numbers("Left bank, 3.0 m high; no structure near.")
    [0, 1, 2]
    >>> clauses.table  # one text where both systems say the same
    ['Left bank, ', ['3.0 m high; ', '9.8 ft high; '], 'no structure near.']
    """

    def __init__(self, *, is_us: bool) -> None:
        self._is_us = is_us
        self._number: dict[str, int] = {}
        self._numbers: dict[Any, tuple[int, ...]] = {}
        self.table: list[str | list[str]] = []

    def numbers(self, sentence: Any) -> list[int]:
        """Return the numbers of a sentence's clauses; none for a missing sentence."""
        if sentence is None or sentence is pd.NA or sentence != sentence:  # noqa: PLR0124  (NaN)
            return []
        known = self._numbers.get(sentence)
        if known is None:
            clauses = _CLAUSE.findall(plain(sentence, MOST_LETTERS))
            known = self._numbers[sentence] = tuple(self._of(clause) for clause in clauses)
        return list(known)

    def _of(self, clause: str) -> int:
        number = self._number.get(clause)
        if number is None:
            number = self._number[clause] = len(self.table)
            metric = metric_text(clause) if self._is_us else clause
            us = clause if self._is_us else us_text(clause)
            self.table.append(clause if metric == us else [metric, us])
        return number
