"""Numbers as they are printed: in the reader's units, each with its unit, rounded by its size."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import pandas as pd

from reachrank.report.plain import plain
from reachrank.units import us_name, us_unit
from reachrank.write.us_text import us_text

_ENDINGS = {
    "m": "_m",
    "1/m": "_per_m",
    "m²": "_m2",
    "m³": "_m3",
    "km²": "_km2",
    "m/s": "_m_per_s",
    "Pa": "_pa",
    "t/yr": "_t_yr",
    "kg/yr": "_kg_yr",
}
_WITHIN_WORD = re.compile(r"(?<=[a-z])_(?=[a-z])")
NOTHING = "–"
"""Shown where nothing is known."""


@dataclass(frozen=True)
class Measures:
    """Turns metric values into what is printed.

    Examples
    --------
    >>> Measures(us=True).of(2.4, "m"), Measures(us=False).of(2.4, "m")
    ('7.9 ft', '2.4 m')
    """

    us: bool

    def unit(self, unit: str) -> str:
        """Return the unit that a metric one is printed as."""
        return us_unit(unit) if self.us else unit

    def number(self, value: float, unit: str) -> float:
        """Return a metric value in the printed unit."""
        ending = _ENDINGS.get(unit)
        return value * us_name(ending)[1] if self.us and ending else value

    def of(self, value: Any, unit: str, decimals: int | None = None) -> str:
        """Return a value with its unit; `NOTHING` where it is missing."""
        if is_missing(value):
            return NOTHING
        return f"{rounded(self.number(float(value), unit), decimals)} {self.unit(unit)}"

    def span(self, low: Any, high: Any, unit: str, decimals: int | None = None) -> str:
        """Return ``low to high`` with the unit once; one value where both read the same."""
        if is_missing(low) or is_missing(high):
            return self.of(low if is_missing(high) else high, unit, decimals)
        a, b = self.number(float(low), unit), self.number(float(high), unit)
        if decimals is None:
            decimals = decimals_for(max(abs(a), abs(b)))
        first, last = rounded(a, decimals), rounded(b, decimals)
        return f"{first if first == last else f'{first} to {last}'} {self.unit(unit)}"

    def reason(self, text: Any) -> str:
        """Return a reason from the file; classes of structures lose their underscores."""
        return _WITHIN_WORD.sub(" ", self.sentence(text))

    def sentence(self, text: Any) -> str:
        """Return a sentence from the file, its lengths in the reader's units; ``""`` for none."""
        if is_missing(text):
            return ""
        if self.us:
            return us_text(plain(text))
        from reachrank.page.sentences import metric_text  # noqa: PLC0415  (the page is large)

        return metric_text(plain(text))


def is_missing(value: Any) -> bool:
    """Tell whether there is no value: None, pandas' null, not a number, or empty text."""
    return value is None or value == "" or bool(pd.isna(value))


def decimals_for(size: float) -> int:
    """Return how many decimals a value of this size is printed with: two or three figures."""
    if not math.isfinite(size) or size == 0.0:
        return 0
    return 0 if size >= 20.0 else 1 if size >= 1.0 else 2 if size >= 0.1 else 4


def rounded(value: float, decimals: int | None = None) -> str:
    """Return a number as text, thousands parted by commas.

    Examples
    --------
    >>> rounded(1234.5), rounded(2.36), rounded(0.0038)
    ('1,234', '2.4', '0.0038')
    """
    places = decimals_for(abs(value)) if decimals is None else decimals
    shown = f"{value:,.{places}f}"
    return shown.removeprefix("-") if float(shown.replace(",", "")) == 0.0 else shown


def share(value: Any) -> str:
    """Return a fraction as per cent."""
    return NOTHING if is_missing(value) else f"{100.0 * float(value):.0f} %"


def money(low: Any, high: Any) -> str:
    """Return an amount of U.S. dollars, or from one to another, to two figures.

    Examples
    --------
    >>> money(1204.0, 23990.0)
    'US$ 1,200 to 24,000'
    """
    values = [f"{_figures(float(value)):,.0f}" for value in (low, high) if not is_missing(value)]
    return f"US$ {' to '.join(dict.fromkeys(values))}" if values else NOTHING


def _figures(value: float) -> float:
    return round(value, 1 - math.floor(math.log10(abs(value)))) if abs(value) >= 100.0 else value


def word(value: Any, most: int = 60) -> str:
    """Return a name or class from the data, safe and short; underscores become spaces."""
    return NOTHING if is_missing(value) else plain(value, most).replace("_", " ")


def name(value: Any, most: int = 60) -> str:
    """Return a name or id from the data as it is, safe and short."""
    return NOTHING if is_missing(value) else plain(value, most)
