"""Lengths and areas inside sentences, for files and lines of output in U.S. customary units."""

from __future__ import annotations

import re

from reachrank.units import us_name, us_unit

_ENDING = {
    "m": "_m", "1/m": "_per_m", "m²": "_m2", "m³": "_m3", "km²": "_km2",
    "m/s": "_m_per_s", "Pa": "_pa", "t": "_t_yr", "kg": "_kg_yr",
}  # fmt: skip
_PER: dict[str, tuple[float, str]] = {
    "m³/m": (us_name("_m3")[1] / us_name("_m")[1], "yd³/ft"),
    "per m²": (1.0 / us_name("_m2")[1], "per yd²"),
    "kg/m³": (us_name("_kg_yr")[1] / us_name("_m3")[1] / 27.0, "lb/ft³"),
}
_SHORT = {"t": "ton", "kg": "lb"}
_MORE_DECIMALS = {"Pa": 2}
_NUMBER = r"-?\d[\d,]*(?:\.\d+)?"
_UNITS = "km²|m³/m|m³|m²|1/m|m/s|m|Pa|kg/m³|kg|t|per m²"
_QUANTITY = re.compile(rf"(?<![\w.])(?:({_NUMBER}) to )?({_NUMBER}) ({_UNITS})(?![\w²³/]| per m)")
SENTENCES = ("reason", "text", "path_reasons", "permit_questions", "velocity_source")
"""Columns that hold sentences, in any layer; ``source`` is one in the layer ``materials``."""


def us_quantity(value: float, unit: str) -> tuple[float, str]:
    """Return a metric value in the customary unit; other units come back unchanged.

    >>> value, unit = us_quantity(0.3048, "m")
    >>> round(value, 12), unit
    (1.0, 'ft')
    """
    if unit in _PER:
        factor, name = _PER[unit]
        return value * factor, name
    ending = _ENDING.get(unit)
    if ending is None:
        return value, unit
    return value * us_name(ending)[1], _SHORT.get(unit, us_unit(unit))


def us_text(text: str) -> str:
    """Convert the lengths and areas in a sentence, with as many decimals as they were given.

    >>> us_text("Bank 2.4 m high, barn 12 m from the top.")
    'Bank 7.9 ft high, barn 39 ft from the top.'

    A fall per length is the same number in both:

    >>> us_text("It falls by 0.0028 m per m.")
    'It falls by 0.0028 m per m.'

    Both ends of a range are converted:

    >>> us_text("Rows 1.52 to 1.22 m apart, 2.00 per m², 0.50 m³/m, 1.83 m/s, 48 Pa.")
    'Rows 4.99 to 4.00 ft apart, 1.67 per yd², 0.20 yd³/ft, 6.00 ft/s, 1.00 lb/ft².'
    """

    def convert(match: re.Match[str]) -> str:
        first, last, metric = match.groups()
        shown = []
        for number in (first, last):
            if number is None:
                continue
            value, unit = us_quantity(float(number.replace(",", "")), metric)
            decimals = len(number.partition(".")[2]) + _MORE_DECIMALS.get(metric, 0)
            shown.append(f"{value:{',' if abs(value) >= 1000 else ''}.{decimals}f}")
        return f"{' to '.join(shown)} {unit}"

    return _QUANTITY.sub(convert, text)
