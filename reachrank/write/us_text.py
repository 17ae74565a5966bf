"""Lengths and areas inside sentences, for files and lines of output in U.S. customary units."""

from __future__ import annotations

import re

from reachrank.units import us_name, us_unit

_ENDING = {"m": "_m", "1/m": "_per_m", "m²": "_m2", "m³": "_m3", "km²": "_km2"}
_QUANTITY = re.compile(r"(?<![\w.])(-?\d[\d,]*(?:\.\d+)?) (km²|m²|m³|1/m|m)(?![\w²³/]| per m)")


def us_quantity(value: float, unit: str) -> tuple[float, str]:
    """Return a metric value in the customary unit; other units come back unchanged.

    >>> value, unit = us_quantity(0.3048, "m")
    >>> round(value, 12), unit
    (1.0, 'ft')
    """
    ending = _ENDING.get(unit)
    return (value * us_name(ending)[1], us_unit(unit)) if ending else (value, unit)


def us_text(text: str) -> str:
    """Convert the lengths and areas in a sentence, with as many decimals as they were given.

    >>> us_text("Bank 2.4 m high, barn 12 m from the top.")
    'Bank 7.9 ft high, barn 39 ft from the top.'

    A fall per length is the same number in both:

    >>> us_text("It falls by 0.0028 m per m.")
    'It falls by 0.0028 m per m.'
    """

    def convert(match: re.Match[str]) -> str:
        number, unit = match.groups()
        value, unit = us_quantity(float(number.replace(",", "")), unit)
        decimals = len(number.partition(".")[2])
        return f"{value:{',' if abs(value) >= 1000 else ''}.{decimals}f} {unit}"

    return _QUANTITY.sub(convert, text)
