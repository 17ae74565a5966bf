"""Parcels: found by their number or by a place, in the CRS that lengths are measured in."""

from __future__ import annotations

import re
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from reachrank.read.source import parse_source

_ID_COLUMNS = ("parcel_id", "parcelid", "parcel_no", "parcel_number", "parcelno", "pin", "apn",
               "pid", "parcel", "tax_id", "taxid", "parcel_pin")  # fmt: skip
_NEAR_M = 100.0
"""A place this near its stated parcel is taken to be about that parcel: pins are set in roads."""


@dataclass(frozen=True)
class Parcels:
    """Areas and the names that they are known by."""

    areas: NDArray[np.object_]
    names: dict[str, int]
    tree: shapely.STRtree

    def of_name(self, text: str) -> int | None:
        """Return the parcel with a number, however its dashes and blanks are written."""
        name = parcel_name(text)
        return self.names.get(name) if name else None

    def of_place(self, place: shapely.Geometry, stated: int | None) -> int | None:
        """Return the parcel of a place: the stated one if it is near, else the one around it."""
        if stated is not None and shapely.distance(self.areas[stated], place) <= _NEAR_M:
            return stated
        inside = self.tree.query(place, predicate="intersects")
        return int(inside.min()) if inside.size else None


def parcel_name(text: str) -> str:
    """Return a parcel number without its marks: ``17-0129`` and ``17 0129`` are the same.

    >>> parcel_name("17-0129 ")
    '170129'
    """
    return re.sub(r"[^a-z0-9]", "", text.casefold())


def make_parcels(table: gpd.GeoDataFrame, column: str | None) -> Parcels:
    """Return parcels from areas in a metric CRS; a number that two parcels have names neither."""
    is_area = table.geometry.geom_type.isin(["Polygon", "MultiPolygon"]) & ~table.geometry.is_empty
    table = table[is_area.to_numpy()]
    areas = shapely.make_valid(table.geometry.to_numpy())
    names: dict[str, int] = {}
    twice: set[str] = set()
    if column is not None:
        for place, value in enumerate(table[column]):
            name = "" if value is None or value != value else parcel_name(str(value))  # noqa: PLR0124
            if name and names.setdefault(name, place) != place:
                if shapely.equals(areas[names[name]], areas[place]):
                    continue
                twice.add(name)
    return Parcels(
        np.asarray(areas, dtype=object),
        {name: place for name, place in names.items() if name not in twice},
        shapely.STRtree(areas),
    )


def read_parcels(spec: str, crs: CRS, column: str = "") -> Parcels:
    """Read parcels into a metric CRS.

    Parameters
    ----------
    spec
        The layer, as any input is written.
    column
        The column of the number; empty means it is recognised. Without one, parcels are found by
        place only.
    """
    from reachrank.read.vector import find_column, open_layer, read_layer  # noqa: PLC0415

    layer = open_layer(parse_source(spec))
    found = find_column(layer, column, _ID_COLUMNS, "columns.parcel_layer")
    table = read_layer(layer, [found] if found else [])
    return make_parcels(table.to_crs(crs), found)
