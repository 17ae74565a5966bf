"""The price file: what one unit of each item costs, low and high."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from reachrank.errors import SettingsError
from reachrank.units import FOOT_M

DEMO = "prices.toml"
UNITS: dict[str, str] = {
    "live_stake": "each",
    "live_fascine": "bundle",
    "dead_stake": "each",
    "twine": "ball",
    "coir_mat": "roll",
    "hardwood_stake": "each",
    "staple": "each",
    "work_by_hand": "hour",
}
"""Every item that a hand-built repair can take, and the unit that it is counted in."""


@dataclass(frozen=True)
class Price:
    """Low and high price of one unit, US$."""

    low_usd: float
    high_usd: float


@dataclass(frozen=True)
class Prices:
    """Prices by item, of designed work for each metre, and where they come from."""

    items: Mapping[str, Price]
    designed_work_per_m: Price | None
    note: str


def demo_prices_text() -> str:
    """Return the shipped price file, to copy and edit."""
    return resources.files("reachrank.repairs").joinpath(DEMO).read_text("utf-8")


def load_prices(path: str | Path | None = None) -> Prices:
    """Read a price file; the shipped one with invented prices if there is no path.

    Raises
    ------
    SettingsError
        Where the file cannot be read, or holds unknown items, wrong units, or prices that are no
        numbers, below 0, or high ones below low ones. All faults are told at once.

    Examples
    --------
    >>> load_prices().items["live_stake"]  # as in prices.toml
    Price(low_usd=0.3, high_usd=1.0)
    """
    where = str(path) if path else DEMO
    try:
        text = Path(path).read_text("utf-8-sig") if path else demo_prices_text()
        data = tomllib.loads(text)
    except OSError as error:
        raise SettingsError(
            f"The price file cannot be read: {error.strerror}.", where=where
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"This is not TOML: {error}.", where=where) from error
    faults = [
        f"unknown key {key}" for key in data if key not in ("note", "materials", "designed_work")
    ]
    rows = data.get("materials", {})
    items = {}
    for name, row in (rows if isinstance(rows, dict) else {}).items():
        if name not in UNITS:
            faults.append(f"unknown item materials.{name}; known are {', '.join(UNITS)}")
            continue
        price = _price(row, f"materials.{name}", {UNITS[name]: 1.0}, faults)
        if price:
            items[name] = price
    designed = data.get("designed_work")
    per_m = (
        None
        if designed is None
        else _price(designed, "designed_work", {"m": 1.0, "ft": 1.0 / FOOT_M}, faults)
    )
    if faults:
        raise SettingsError(
            f"The price file has faults: {'; '.join(faults)}.",
            hint="`reachrank settings --prices` prints one to start from.",
            where=where,
        )
    note = str(data.get("note") or f"prices of {Path(where).name}")
    return Prices(items, per_m, note)


def _price(row: Any, name: str, units: Mapping[str, float], faults: list[str]) -> Price | None:
    """Return a row's price for one unit of ours; a fault for each thing that is wrong with it."""
    if not isinstance(row, dict):
        faults.append(f"{name} is not a table with unit, low_usd and high_usd")
        return None
    before = len(faults)
    unknown = sorted(set(row) - {"unit", "low_usd", "high_usd"})
    if unknown:
        faults.append(f"{name} has unknown keys {', '.join(unknown)}")
    if row.get("unit") not in units:
        faults.append(f"{name}: the unit must be {' or '.join(units)}, not {row.get('unit')!r}")
    low, high = (_amount(row.get(key), f"{name}.{key}", faults) for key in ("low_usd", "high_usd"))
    if len(faults) > before:
        return None
    if high < low:
        faults.append(f"{name}: high_usd {high} is below low_usd {low}")
        return None
    factor = units[str(row["unit"])]
    return Price(low * factor, high * factor)


def _amount(value: Any, name: str, faults: list[str]) -> float:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not 0.0 <= value < float("inf"):
        faults.append(f"{name} must be a number of 0 or more, not {value!r}")
        return 0.0
    return float(value)
