"""Every place that written coordinates may mean, so that the ranked area can tell which it was."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from reachrank.requests.coordinates import Reading, degrees, pair, readings
from reachrank.units import LENGTH_TO_M, LENGTH_WORDS, LengthUnit

# Survey feet first: plane coordinates of U.S. states were kept in them until 2022, and where both
# kinds of feet fall into the area they are some metres apart.
_UNITS: tuple[LengthUnit, ...] = ("us-ft", "ft", "m")
METRES_PER_DEGREE = 111_320.0
"""Of latitude, and of longitude at the equator: good enough to say how coarse a rounding is."""


@dataclass(frozen=True)
class Guess:
    """One place: degrees (longitude, latitude) or the stated CRS (x, y).

    ``is_as_written`` is False where something had to be put right; ``how`` says what.
    """

    is_degrees: bool
    first: float
    second: float
    error_m: float
    how: str
    is_as_written: bool


def guesses(row: Mapping[str, str], unit_m: float) -> list[Guess]:
    """Return the places that a row's coordinates may mean, the likelier first.

    Parameters
    ----------
    row
        Texts ``longitude``, ``latitude``, ``coordinates``, ``x`` and ``y``, ``""`` for nothing.
    unit_m
        Length in metres of the unit of the CRS that x and y are promised in; 0 for degrees.

    Returns
    -------
    list of Guess
        Nothing for a place at 0, 0, which is what empty cells become on their way.
    """
    found = [*_from_degrees(row), *_from_xy(row, unit_m)]
    found.sort(key=lambda guess: not guess.is_as_written)
    return [g for g in found if abs(g.first) > 1e-9 or abs(g.second) > 1e-9]


def _from_degrees(row: Mapping[str, str]) -> Iterator[Guess]:
    lon, lat = row["longitude"], row["latitude"]
    both = pair(row["coordinates"]) if row["coordinates"] else None
    if not (lon and lat) and both is not None:
        lat, lon = both
    for a, b in product(degrees(lon), degrees(lat)):
        if max(abs(a.value), abs(b.value)) > 360.0:
            error = max(a.error, b.error)
            how = "its coordinates, which are not in degrees as promised"
            yield Guess(False, a.value, b.value, error, how, False)
            yield Guess(False, b.value, a.value, error, f"{how}, and swapped", False)
            continue
        is_order_free = both is not None and not (row["longitude"] and row["latitude"])
        yield from _turned(a, b, "its coordinates in degrees", is_order_free=is_order_free)


def _turned(
    a: Reading, b: Reading, what: str, *, is_order_free: bool = False, is_as_written: bool = True
) -> Iterator[Guess]:
    """Yield longitude a, latitude b; then swapped, then with the longitude's sign turned."""
    error = min(a.error, b.error) * METRES_PER_DEGREE
    is_swapped = a.axis == "lat" or b.axis == "lon"
    swapped = f"{what}, longitude and latitude swapped back"
    straight = [(a.value, b.value, what, is_as_written)]
    turned = [(b.value, a.value, what if is_order_free else swapped, is_as_written and
               is_order_free)]  # fmt: skip
    for lon, lat, how, is_plain in turned if is_swapped else straight + turned:
        if abs(lat) <= 90.0 and abs(lon) <= 360.0:
            yield Guess(True, lon, lat, error, how, is_plain)
            if a.axis is None and b.axis is None:
                yield Guess(True, -lon, lat, error, f"{how}, the sign of the longitude put right",
                            False)  # fmt: skip


def _from_xy(row: Mapping[str, str], unit_m: float) -> Iterator[Guess]:
    if not (row["x"] and row["y"]):
        return
    for a, b in product(readings(row["x"]), readings(row["y"])):
        error = max(a.error, b.error) * (unit_m or METRES_PER_DEGREE)
        yield Guess(not unit_m, a.value, b.value, error, "its coordinates", True)
        swapped = "its coordinates, x and y swapped back"
        yield Guess(not unit_m, b.value, a.value, error, swapped, False)
        if unit_m:
            for unit in _UNITS:
                scale = LENGTH_TO_M[unit] / unit_m
                if abs(scale - 1.0) > 1e-9:
                    how = f"its coordinates, read as {LENGTH_WORDS[unit]}"
                    x, y = a.value * scale, b.value * scale
                    yield Guess(False, x, y, error, how, False)
                    yield Guess(False, y, x, error, f"{how}, x and y swapped back", False)
    angles = degrees(row["x"]), degrees(row["y"])
    for c, d in product(*angles):
        if unit_m and max(abs(c.value), abs(d.value)) <= 360.0:
            yield from _turned(c, d, "its coordinates, which are in degrees", is_as_written=False)
