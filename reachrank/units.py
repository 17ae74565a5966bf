"""Units: what files call them, how long they are, and the U.S. customary names of columns.

Everything inside is SI. The foot written out as ``ft`` is the international foot; survey feet are
read for what they are. Lengths: NIST Special Publication 811 (2008), appendix B, and Federal
Register 85 FR 62698 (2020) for the U.S. survey foot.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeVar

if TYPE_CHECKING:
    import pandas as pd

LengthUnit = Literal["m", "ft", "us-ft"]

FOOT_M = 0.3048
"""International foot, exact."""
SURVEY_FOOT_M = 1200.0 / 3937.0
"""U.S. survey foot, exact as a fraction; retired at the end of 2022, still in older files."""

LENGTH_TO_M: dict[LengthUnit, float] = {"m": 1.0, "ft": FOOT_M, "us-ft": SURVEY_FOOT_M}
LENGTH_WORDS: dict[LengthUnit, str] = {
    "m": "metres",
    "ft": "international feet",
    "us-ft": "U.S. survey feet",
}
AREA_TO_KM2: dict[str, float] = {
    "km2": 1.0,
    "mi2": (5280.0 * FOOT_M / 1000.0) ** 2,
    "ha": 0.01,
    "acre": 43560.0 * FOOT_M**2 / 1e6,
}

_WORDS_OF_UNIT: dict[LengthUnit, tuple[str, ...]] = {
    "m": ("m", "metre", "meter", "metres", "meters", "mt"),
    "ft": ("ft", "foot", "feet", "internationalfoot", "internationalfeet", "ift", "intft"),
    "us-ft": (
        "usft", "ftus", "ussurveyfoot", "ussurveyfeet", "surveyfoot", "surveyfeet",
        "footus", "feetus", "usfoot", "usfeet", "foot_us", "sft",
    ),
}  # fmt: skip
_UNIT_OF_WORD = {
    "".join(c for c in word if c.isalnum()): unit
    for unit, words in _WORDS_OF_UNIT.items()
    for word in words
}


def length_unit(word: str | None) -> LengthUnit | None:
    """Return the length unit that a file's word for it means, None where it means none.

    Examples
    --------
    >>> length_unit("US survey foot"), length_unit("Feet"), length_unit("fathom")
    ('us-ft', 'ft', None)
    """
    return _UNIT_OF_WORD.get("".join(c for c in (word or "").lower() if c.isalnum()))


def length_unit_of_factor(metres: float) -> LengthUnit | None:
    """Return the unit that is so many metres long, None for any other length.

    International and survey foot differ by 2 parts in a million; the nearer one within one part
    in ten million is taken.

    Examples
    --------
    >>> length_unit_of_factor(0.304800609601219)
    'us-ft'
    """
    unit = min(LENGTH_TO_M, key=lambda u: abs(LENGTH_TO_M[u] - metres))
    return unit if abs(LENGTH_TO_M[unit] / metres - 1.0) < 1e-7 else None


POUND_KG = 0.45359237
"""Avoirdupois pound, exact."""
SHORT_TON_T = 2000.0 * POUND_KG / 1000.0
"""The ton of 2000 lb in tonnes."""
POUND_FORCE_N = POUND_KG * 9.80665
_SCREENING = "_screening"

# Longest ending first: the first that fits is the right one. A power per area keeps its unit.
_US_ENDINGS: tuple[tuple[str, str, float], ...] = (
    ("_w_per_m2", "_w_per_m2", 1.0),
    ("_m_per_s", "_ft_per_s", 1.0 / FOOT_M),
    ("_pa", "_lb_per_ft2", FOOT_M**2 / POUND_FORCE_N),
    ("_t_yr", "_ton_yr", 1.0 / SHORT_TON_T),
    ("_kg_yr", "_lb_yr", 1.0 / POUND_KG),
    ("_per_tonne_low_usd", "_per_ton_low_usd", SHORT_TON_T),
    ("_per_tonne_high_usd", "_per_ton_high_usd", SHORT_TON_T),
    ("_per_m", "_per_ft", FOOT_M),
    ("_km2", "_mi2", 1.0 / AREA_TO_KM2["mi2"]),
    ("_m3", "_yd3", (3.0 * FOOT_M) ** -3),
    ("_m2", "_yd2", (3.0 * FOOT_M) ** -2),
    ("_m", "_ft", 1.0 / FOOT_M),
)
_US_UNITS = {
    "m": "ft",
    "1/m": "1/ft",
    "km²": "mi²",
    "m³": "yd³",
    "m²": "yd²",
    "m/yr": "ft/yr",
    "m/s": "ft/s",
    "Pa": "lb/ft²",
    "t/yr": "ton/yr",
    "kg/yr": "lb/yr",
}
_FACTOR_OF_UNIT = {
    "m": 1.0 / FOOT_M,
    "1/m": FOOT_M,
    "km²": 1.0 / AREA_TO_KM2["mi2"],
    "m³": (3.0 * FOOT_M) ** -3,
    "m²": (3.0 * FOOT_M) ** -2,
    "m/yr": 1.0 / FOOT_M,
    "m/s": 1.0 / FOOT_M,
    "Pa": FOOT_M**2 / POUND_FORCE_N,
    "t/yr": 1.0 / SHORT_TON_T,
    "kg/yr": 1.0 / POUND_KG,
}
_QUANTITIES = ("value", "computed_low", "computed_high", "purchase_low", "purchase_high")
_PRICES = ("price_low_usd", "price_high_usd")


def us_name(name: str) -> tuple[str, float]:
    """Return the U.S. customary name of a metric column and the factor to multiply with.

    Examples
    --------
    >>> us_name("bank_height_m")[0], us_name("drainage_area_km2")[0], us_name("rank")
    ('bank_height_ft', 'drainage_area_mi2', ('rank', 1.0))
    """
    if name.endswith(_SCREENING):
        customary, factor = us_name(name.removesuffix(_SCREENING))
        return customary + _SCREENING, factor
    for metric, customary, factor in _US_ENDINGS:
        if name.endswith(metric):
            return name[: -len(metric)] + customary, factor
    return name, 1.0


def us_unit(unit: str) -> str:
    """Return the U.S. customary unit for a unit as the schema writes it.

    Examples
    --------
    >>> us_unit("km²"), us_unit("degrees")
    ('mi²', 'degrees')
    """
    return _US_UNITS.get(unit, unit)


T = TypeVar("T", bound="pd.DataFrame")


def to_us(table: T) -> T:
    """Return a copy with metric columns renamed and turned into U.S. customary units.

    A table with a column ``unit`` has its values, quantities and unit prices turned row by row.
    Geometry is not touched: that is the CRS's business.
    """
    out: T = table.copy()
    for name in table.columns:
        _, factor = us_name(str(name))
        if factor != 1.0:
            out[name] = out[name] * factor
    if "unit" in out.columns:
        _turn_rows(out, out["unit"].map(_FACTOR_OF_UNIT).fillna(1.0))
        out["unit"] = out["unit"].map(us_unit)
    renamed: T = out.rename(columns={name: us_name(str(name))[0] for name in table.columns})
    return renamed


def to_metric(table: T, metric_names: tuple[str, ...]) -> T:
    """Return a copy with the columns that `to_us` renamed turned back; others stay as they are.

    Parameters
    ----------
    table
        Columns in metric or U.S. customary names, mixed or not.
    metric_names
        The metric names that the layer may have.
    """
    out: T = table.copy()
    back: dict[str, str] = {}
    for metric in metric_names:
        customary, factor = us_name(metric)
        if customary != metric and customary in out.columns and metric not in out.columns:
            out[customary] = out[customary] / factor
            back[customary] = metric
    if "unit" in out.columns:
        metric_of = {customary: metric for metric, customary in _US_UNITS.items()}
        factors = {
            customary: 1.0 / _FACTOR_OF_UNIT[metric] for customary, metric in metric_of.items()
        }
        _turn_rows(out, out["unit"].map(factors).fillna(1.0))
        out["unit"] = out["unit"].map(lambda unit: metric_of.get(unit, unit))
    renamed: T = out.rename(columns=back)
    return renamed


def _turn_rows(table: pd.DataFrame, factor: pd.Series) -> None:
    for name in _QUANTITIES:
        if name in table.columns:
            table[name] = table[name] * factor
    for name in _PRICES:
        if name in table.columns:
            table[name] = table[name] / factor
