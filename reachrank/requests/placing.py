"""Find the place that each application is about, and say how it was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from pyproj import CRS, Transformer

from reachrank.requests.addresses import AddressBook, Match, normal
from reachrank.requests.applications import Applications
from reachrank.requests.guesses import Guess, guesses
from reachrank.requests.parcels import Parcels, parcel_name
from reachrank.requests.rules import PlacingRules

Box = tuple[float, float, float, float]
_TOGETHER_M = 100.0
"""Readings this near each other are the same place for a screening."""


@dataclass(frozen=True)
class Placed:
    """One application's place, in the metric CRS; ``geometry`` is None where none was found.

    ``code`` and ``sentence`` say why not. ``parcel`` is a place in `Parcels`; ``parcel_key`` and
    ``address_key`` are equal for the same parcel and the same address.
    """

    geometry: shapely.Geometry | None
    how: str | None
    code: str | None = None
    sentence: str | None = None
    parcel: int | None = None
    parcel_key: str | None = None
    address_key: str | None = None
    is_outside: bool = False


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What places are found with; all geometry in ``crs``, a metric one.

    ``stated_crs`` is that of the columns x and y; ``area`` the box around the ranked banks.
    """

    crs: CRS
    stated_crs: CRS
    area: Box
    book: AddressBook | None = None
    parcels: Parcels | None = None


def place_all(
    applications: Applications, around: Surroundings, rules: PlacingRules
) -> list[Placed]:
    """Return the place of every application, in their order."""
    rows = [
        {str(key): str(value) for key, value in row.items()}
        for row in applications.rows.to_dict("records")
    ]
    given = _given_geometry(applications, around.crs)
    stated = around.stated_crs
    unit_m = float(stated.axis_info[0].unit_conversion_factor) if not stated.is_geographic else 0.0
    all_guesses = [guesses(row, unit_m) for row in rows]
    located = _located(all_guesses, around)
    return [
        _place(row, geometry, made, spots, around, rules)
        for row, geometry, made, spots in zip(rows, given, all_guesses, located, strict=True)
    ]


def _given_geometry(applications: Applications, crs: CRS) -> list[shapely.Geometry | None]:
    if applications.geometry is None:
        return [None] * len(applications)
    turned = applications.geometry.to_crs(crs).to_numpy()
    is_usable = ~shapely.is_missing(turned) & ~shapely.is_empty(turned)
    is_usable &= np.isfinite(shapely.bounds(turned)).all(axis=1)
    return [g if ok else None for g, ok in zip(turned, is_usable, strict=True)]


def _located(
    all_guesses: list[list[Guess]], around: Surroundings
) -> list[list[tuple[float, float]]]:
    """Turn all guesses into the metric CRS at once; one at a time takes minutes."""
    flat = [guess for row in all_guesses for guess in row]
    xy = np.full((len(flat), 2), np.inf)
    for is_degrees in (True, False):
        chosen = [k for k, guess in enumerate(flat) if guess.is_degrees == is_degrees]
        source = CRS.from_epsg(4326) if is_degrees else around.stated_crs
        if chosen:
            turn = Transformer.from_crs(source, around.crs, always_xy=True)
            first = np.array([flat[k].first for k in chosen])
            second = np.array([flat[k].second for k in chosen])
            xy[chosen] = np.column_stack(turn.transform(first, second))
    spots = iter(map(tuple, xy.tolist()))
    return [[next(spots) for _ in row] for row in all_guesses]


def _place(
    row: Mapping[str, str],
    geometry: shapely.Geometry | None,
    made: list[Guess],
    spots: list[tuple[float, float]],
    around: Surroundings,
    rules: PlacingRules,
) -> Placed:
    stated = around.parcels.of_name(row["parcel"]) if around.parcels else None
    keys = Placed(
        None,
        None,
        parcel_key=parcel_name(row["parcel"]) or None,
        address_key=_address_key(row["address"]),
    )
    if geometry is not None:
        is_outside = not _is_in(geometry.bounds, around.area, rules.area_margin_m)
        return _with_parcel(geometry, "its place on the map", stated, around, keys,
                            is_outside=is_outside)  # fmt: skip
    guess, spot, trouble = _settle(made, spots, around.area, rules)
    if guess is not None and spot is not None:
        return _with_parcel(shapely.Point(spot), guess.how, stated, around, keys)
    match = around.book.find(row["address"]) if around.book and row["address"] else None
    if match is not None and match.kind == "found":
        point = shapely.Point(match.points[0].x, match.points[0].y)
        how = "the county's address point" + (f"; {_OF_TROUBLE[trouble]}" if trouble else "")
        return _with_parcel(point, how, stated, around, keys)
    if stated is not None and around.parcels is not None:
        how = "its parcel" + (f"; {_OF_TROUBLE[trouble]}" if trouble else "")
        return _with_parcel(around.parcels.areas[stated], how, stated, around, keys)
    outside = next((s for g, s in zip(made, spots, strict=True)
                    if g.is_as_written and np.isfinite(s).all()), None)  # fmt: skip
    if trouble == "outside" and outside is not None:
        point = shapely.Point(outside)
        return replace(keys, geometry=point, how="its coordinates", is_outside=True)
    code, sentence = _why_not(row, trouble, match, around)
    return replace(keys, code=code, sentence=sentence)


_OF_TROUBLE = {
    "coarse": "its coordinates are rounded too coarsely",
    "unclear": "its coordinates can mean several places",
    "outside": "its coordinates lie outside the ranked area",
}


def _settle(
    made: list[Guess], spots: list[tuple[float, float]], area: Box, rules: PlacingRules
) -> tuple[Guess | None, tuple[float, float] | None, str]:
    """Return the guess that the ranked area speaks for, or a word for the trouble."""
    inside = [
        (guess, spot)
        for guess, spot in zip(made, spots, strict=True)
        if _is_in((*spot, *spot), area, rules.area_margin_m)
    ]
    if not inside:
        return None, None, "outside" if made else ""
    fine = [(g, s) for g, s in inside if g.error_m <= rules.coordinate_error_m]
    if not fine:
        return None, None, "coarse"
    plain = [(g, s) for g, s in fine if g.is_as_written]
    (guess, spot), others = (plain or fine)[0], (plain or fine)[1:]
    away = max((float(np.hypot(s[0] - spot[0], s[1] - spot[1])) for _, s in others), default=0.0)
    if away > _TOGETHER_M:
        return None, None, "unclear"
    return guess, spot, ""


def _is_in(bounds: Box, area: Box, margin_m: float) -> bool:
    west, south, east, north = bounds
    return bool(
        np.isfinite(bounds).all()
        and west <= area[2] + margin_m
        and east >= area[0] - margin_m
        and south <= area[3] + margin_m
        and north >= area[1] - margin_m
    )


def _with_parcel(
    geometry: shapely.Geometry,
    how: str,
    stated: int | None,
    around: Surroundings,
    keys: Placed,
    *,
    is_outside: bool = False,
) -> Placed:
    placed = replace(keys, geometry=geometry, how=how, is_outside=is_outside)
    if around.parcels is None:
        return placed
    inner = geometry if geometry.geom_type == "Point" else geometry.representative_point()
    parcel = around.parcels.of_place(inner, stated)
    if parcel is None:
        return placed
    return replace(placed, parcel=parcel, parcel_key=f"area {parcel}")


def _address_key(text: str) -> str | None:
    asked = normal(text) if text else None
    return f"{asked.number} {asked.street}" if asked and asked.number and asked.street else None


def _why_not(
    row: Mapping[str, str], trouble: str, match: Match | None, around: Surroundings
) -> tuple[str, str]:
    if trouble == "coarse":
        return "coordinates_coarse", (
            "Its coordinates are rounded too coarsely to tell the bank; please mark the place on "
            "a map or give its address."
        )
    if trouble == "unclear":
        return "coordinates_unclear", (
            "Its coordinates can mean several places; please mark the place on a map."
        )
    if match is not None and match.kind == "unsure":
        offered = "; ".join(point.text for point in match.points)
        return "address_unsure", (
            f"Its address is not in the county's list as written; was it one of these: {offered}?"
        )
    texts = (row["longitude"], row["latitude"], row["x"], row["y"], row["coordinates"])
    if any(texts) and not all(_is_zero(text) for text in texts if text):
        return "coordinates_unreadable", (
            "Its coordinates cannot be read; please mark the place on a map or give its address."
        )
    if row["address"]:
        where = "is not in the county's list" if around.book else "cannot be looked up here"
        return "address_unknown", (
            f"Its address {where}, and there is no other place; please mark the place on a map."
        )
    if row["parcel"]:
        where = "is not in the layer of parcels" if around.parcels else "cannot be looked up here"
        return "parcel_unknown", (
            f"Its parcel number {where}, and there is no other place; please mark it on a map."
        )
    return "no_place", (
        "It gives no place: no coordinates, no address, no parcel; please mark it on a map."
    )


def _is_zero(text: str) -> bool:
    return not text.strip("0.,-+° ")
