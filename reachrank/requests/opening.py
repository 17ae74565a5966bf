"""Open what screening needs besides the applications: parcels, addresses, areas left out."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from reachrank.errors import InputError
from reachrank.read.source import parse_source
from reachrank.requests.address_file import read_addresses
from reachrank.requests.addresses import AddressBook, AddressPoint
from reachrank.requests.crs_text import crs_of
from reachrank.requests.docket import Screening
from reachrank.requests.parcels import read_parcels
from reachrank.requests.placing import Surroundings
from reachrank.requests.ranked_tables import RankedTables
from reachrank.requests.rules import Rules
from reachrank.requests.sites import book_of


def open_screening(
    ranked: RankedTables,
    rules: Rules,
    *,
    is_demo: bool,
    parcels: str | None = None,
    addresses: str | None = None,
    crs: str | None = None,
    sites: gpd.GeoDataFrame | None = None,
) -> Screening:
    """Read the other layers into the metric CRS and put them together.

    Parameters
    ----------
    ranked, rules
        The ranking and the rules.
    is_demo
        The rules are the demo rules.
    parcels, addresses
        Layers as any input is written, or None.
    crs
        CRS of the columns x and y in place of that of the rules.
    sites
        Sites that are known already.

    Raises
    ------
    InputError
        If the ranked file has no bank, or a layer cannot be read.
    """
    metric = ranked.metric_crs
    banks = ranked.tables["banks"]
    if banks.empty:
        raise InputError("The ranked file has no banks.", where=ranked.where)
    named = crs or rules.placing.crs
    where = "--crs" if crs else "The rule placing.crs"
    west, south, east, north = (float(v) for v in banks.to_crs(metric).total_bounds)
    areas = rules.eligibility.excluded_areas
    return Screening(
        ranked=ranked,
        rules=rules,
        is_demo=is_demo,
        around=Surroundings(
            crs=metric,
            stated_crs=crs_of(named, where) if named else ranked.crs,
            area=(west, south, east, north),
            book=_book(addresses, metric, rules) if addresses else None,
            parcels=read_parcels(parcels, metric, rules.columns.parcel_layer) if parcels else None,
        ),
        excluded=_areas(areas, metric) if areas else None,
        sites=book_of(sites, ranked) if sites is not None else None,
    )


def _book(spec: str, metric: CRS, rules: Rules) -> AddressBook:
    points, crs = read_addresses(spec, rules.columns.address_layer)
    turn = Transformer.from_crs(crs, metric, always_xy=True)
    x, y = turn.transform(np.array([p.x for p in points]), np.array([p.y for p in points]))
    return AddressBook(
        AddressPoint(point.text, float(east), float(north))
        for point, east, north in zip(points, x, y, strict=True)
        if np.isfinite([east, north]).all()
    )


def _areas(spec: str, metric: CRS) -> NDArray[np.object_]:
    from reachrank.read.vector import open_layer, read_layer  # noqa: PLC0415  (slow to load)

    table = read_layer(open_layer(parse_source(spec)), []).to_crs(metric)
    is_area = table.geometry.geom_type.isin(["Polygon", "MultiPolygon"]).to_numpy()
    return np.asarray(shapely.make_valid(table.geometry.to_numpy()[is_area]), dtype=object)
