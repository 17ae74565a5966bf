"""The curves that come with the package, by name."""

from __future__ import annotations

import csv
import math
from functools import cache
from importlib import resources
from typing import Literal, cast

from reachrank.curves.curve import SQUARE_MILE_KM2, Curve, PowerLaw
from reachrank.errors import SettingsError

_TABLES = ("continental.csv", "states.csv")


def curve_names() -> list[str]:
    """Return the names of the shipped curves, sorted.

    Examples
    --------
    >>> "md-piedmont" in curve_names()  # the Piedmont curve of Maryland ships
    True
    """
    return sorted(_shipped())


def curve(name: str) -> Curve:
    """Return a shipped curve.

    Raises
    ------
    SettingsError
        If no curve has that name.
    """
    try:
        return _shipped()[name]
    except KeyError:
        names = ", ".join(curve_names())
        raise SettingsError(
            f"There is no regional curve named '{name}'.",
            hint=f"Choose one of: {names}; or give your own with 'own'.",
            where="curve",
        ) from None


@cache
def _shipped() -> dict[str, Curve]:
    curves: dict[str, Curve] = {}
    for table in _TABLES:
        text = resources.files("reachrank.curves").joinpath(table).read_text("utf-8")
        for row in csv.DictReader(text.splitlines()):
            width, depth = _law(row, "width"), _law(row, "depth")
            if width is None or depth is None:
                raise SettingsError(f"{table} lacks the width or depth of {row['name']}.")
            curves[row["name"]] = Curve(
                name=row["name"],
                title=row["title"],
                units=cast("Literal['metric', 'us']", row["units"]),
                width=width,
                depth=depth,
                area=_law(row, "area"),
                discharge=_law(row, "discharge"),
                fit_km2=_fit_km2(row),
                citation=row["citation"],
                certainty=row["certainty"],
            )
    return curves


def _law(row: dict[str, str], what: str) -> PowerLaw | None:
    a, b = row[f"{what}_a"], row[f"{what}_b"]
    return PowerLaw(float(a), float(b)) if a and b else None


def _fit_km2(row: dict[str, str]) -> tuple[float, float]:
    unit_km2 = SQUARE_MILE_KM2 if row["units"] == "us" else 1.0
    least, greatest = (
        float(text) * unit_km2 if text else math.nan for text in (row["fit_from"], row["fit_to"])
    )
    return least, greatest
