"""Read address points: from a GeoPackage at once, from other formats by the libraries."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pyproj import CRS

from reachrank.errors import InputError
from reachrank.read.source import Source, parse_source
from reachrank.read.trust import check_path, head
from reachrank.requests.addresses import AddressPoint
from reachrank.requests.lookup import Lookup

WHOLE = (
    "address", "full_address", "fulladdr", "full_addr", "site_address", "siteaddress", "siteaddr",
    "situs_address", "situs", "address_full", "addr_full", "location_address", "label",
)  # fmt: skip
NUMBER = ("number", "house_number", "housenumber", "add_number", "addnum", "addrnum", "st_num",
          "addr:housenumber", "house_no")  # fmt: skip
STREET = ("street", "street_name", "st_name", "stname", "fullname", "full_name", "streetname",
          "addr:street", "road")  # fmt: skip


def read_addresses(spec: str, column: str = "") -> tuple[list[AddressPoint], CRS]:
    """Read address points and their CRS.

    Parameters
    ----------
    spec
        The layer, as any input is written.
    column
        The column that holds the whole address; empty means it is recognised by its name, or put
        together from a number and a street.

    Raises
    ------
    InputError
        For a file that cannot be read, or without a column of addresses.
    """
    source = parse_source(spec)
    check_path(source.path)
    if head(source.path, 16).startswith(b"SQLite format 3") and source.path.endswith(".gpkg"):
        return _from_geopackage(source, column)
    return _from_any(source, column)


def _from_geopackage(source: Source, column: str) -> tuple[list[AddressPoint], CRS]:
    with Lookup(source.path) as file:
        layers = sorted(file.layers - {"layer_styles"})
        if source.layer is None and len(layers) != 1:
            raise InputError(
                f"The file has {len(layers)} layers and none was chosen: {', '.join(layers)}.",
                hint=f"Write {source.path}|layername=NAME.",
                where=source.path,
            )
        layer = source.layer or layers[0]
        file.require(layer)
        crs = file.crs(layer)
        rows = file.all_rows(layer)
    names = list(rows[0].values) if rows else []
    texts = _texts([row.values for row in rows], names, column, str(source))
    points = [row.geometry for row in rows]
    return list(_made(texts, points)), crs


def _from_any(source: Source, column: str) -> tuple[list[AddressPoint], CRS]:
    from reachrank.read.vector import open_layer, read_layer  # noqa: PLC0415  (slow to load)

    layer = open_layer(source)
    table = read_layer(layer, layer.columns)
    rows = table.drop(columns=table.geometry.name).astype(object).to_dict("records")
    texts = _texts(rows, list(layer.columns), column, layer.where)
    return list(_made(texts, list(table.geometry))), layer.crs


def _texts(
    rows: Sequence[Mapping[Any, Any]], names: list[str], column: str, where: str
) -> Iterator[str]:
    by_lower = {name.lower(): name for name in reversed(names)}
    if column:
        if rows and column.lower() not in by_lower:
            raise InputError(
                f"The address layer has no column {column!r}.",
                hint=f"It has: {', '.join(names)}.",
                where=where,
            )
        return (_text(row.get(by_lower[column.lower()])) for row in rows)
    whole = next((by_lower[name] for name in WHOLE if name in by_lower), None)
    if whole:
        return (_text(row.get(whole)) for row in rows)
    number = next((by_lower[name] for name in NUMBER if name in by_lower), None)
    street = next((by_lower[name] for name in STREET if name in by_lower), None)
    if number and street:
        return (f"{_text(row.get(number))} {_text(row.get(street))}".strip() for row in rows)
    if not rows:
        return iter(())
    raise InputError(
        "No column of addresses was recognised.",
        hint=f"Name it with --address-column. The layer has: {', '.join(names)}.",
        where=where,
    )


def _text(value: Any) -> str:
    if value is None or value != value:  # noqa: PLR0124  (not a number)
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _made(texts: Iterator[str], points: Sequence[Any]) -> Iterator[AddressPoint]:
    for text, point in zip(texts, points, strict=True):
        if text and point is not None and not point.is_empty:
            place = point if point.geom_type == "Point" else point.representative_point()
            yield AddressPoint(text, place.x, place.y)
