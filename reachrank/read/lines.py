"""Clean the stream lines: single parts, no doubles, on the DEM."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from reachrank.along import locate_along_m
from reachrank.errors import InputError
from reachrank.findings import Findings, Severity
from reachrank.read.crs import show_box
from reachrank.read.told import tell_each

_LINES = (1, 5)  # shapely's type numbers: LineString, MultiLineString
_COLLECTION = 7

Tell = Callable[[Severity, str, str, gpd.GeoDataFrame], None]


@np.errstate(invalid="ignore")  # infinite coordinates, until they are dropped
def clean_lines(
    table: gpd.GeoDataFrame,
    *,
    layer: str,
    crs: CRS,
    footprint: shapely.Geometry,
    least_line_m: float,
    findings: Findings,
) -> gpd.GeoDataFrame:
    """Return the `streams` layer from raw lines.

    Parameters
    ----------
    table
        In the working CRS, with the columns ``row`` (number in the input layer), ``stream_name``,
        ``attribute_area_km2``, ``attribute_width_m`` and any two-dimensional geometry; what the
        projection cannot reach is infinite there.
    layer
        Name of the input layer, for findings.
    footprint
        The ground that the DEM covers.
    least_line_m
        Lines shorter than this are left out.

    Returns
    -------
    GeoDataFrame
        Columns of ``schema.STREAMS``, one single-part line a row, sorted by place.

    Raises
    ------
    InputError
        Where the layer holds no line at all, or none on the DEM.
    """

    def tell(severity: Severity, code: str, text: str, rows: gpd.GeoDataFrame) -> None:
        if len(rows):
            shown = rows.assign(_order=_place_order(rows.geometry.to_numpy())).sort_values("_order")
            places = [g if g is not None and not g.is_empty else None for g in shown.geometry]
            tell_each(
                findings, severity, code, text, shown["source_id"].tolist(),
                source_layer=layer, geometries=places,
            )  # fmt: skip

    lines = table.assign(source_id=table["row"].astype(str))
    lines = _only_lines(lines, layer, tell)
    lines = _finite(lines, tell)
    lines = _single_parts(lines)
    lines = _mended(lines, least_line_m, tell)
    if lines.empty:
        raise InputError("The stream layer holds no usable line.", where=layer)
    lines = _on_dem(lines, layer, footprint, least_line_m, tell)
    lines = _without_doubles(lines, tell)
    closed = shapely.is_closed(lines.geometry.to_numpy())
    tell(
        "warning", "closed_loop", "This line ends where it begins; it has no up and down.",
        lines[closed],
    )  # fmt: skip
    lines = lines.iloc[_place_order(lines.geometry.to_numpy()).argsort(kind="stable")]
    columns = ["source_id", "stream_name", "attribute_area_km2", "attribute_width_m", "geometry"]
    return gpd.GeoDataFrame(lines[columns].reset_index(drop=True), geometry="geometry", crs=crs)


def _only_lines(table: gpd.GeoDataFrame, layer: str, tell: Tell) -> gpd.GeoDataFrame:
    geometry = table.geometry.to_numpy()
    nothing = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    kind = shapely.get_type_id(geometry)
    is_line = np.isin(kind, _LINES) & ~nothing
    if nothing.all():
        raise InputError("The stream layer is empty: no feature has a geometry.", where=layer)
    if not is_line.any() and not np.isin(kind[~nothing], (_COLLECTION,)).any():
        words = sorted({str(name) for name in table.geometry.geom_type.dropna()})
        raise InputError(
            f"The stream layer holds {' and '.join(words)} features, not lines.",
            hint="Give the layer of stream centrelines.",
            where=layer,
        )
    tell("left_out", "no_geometry", "This feature has no geometry.", table[nothing])
    mixed = ~nothing & (kind == _COLLECTION)
    if mixed.any():
        found = [
            shapely.MultiLineString([p for p in _leaves(g) if p.geom_type == "LineString"])
            for g in geometry[mixed]
        ]
        geometry = geometry.copy()
        geometry[mixed] = found
        table = table.set_geometry(gpd.GeoSeries(geometry, table.index, crs=table.crs))
        is_line |= mixed & ~shapely.is_empty(geometry)
    tell("left_out", "not_a_line", "This feature is not a line.", table[~nothing & ~is_line])
    return table[is_line]


def _leaves(geometry: shapely.Geometry) -> list[shapely.Geometry]:
    parts = shapely.get_parts(geometry)
    if len(parts) == 1 and parts[0].equals_exact(geometry):
        return [geometry]
    return [leaf for part in parts for leaf in _leaves(part)]


def _finite(table: gpd.GeoDataFrame, tell: Tell) -> gpd.GeoDataFrame:
    geometry = table.geometry.to_numpy()
    xy, which = shapely.get_coordinates(geometry, return_index=True)
    bad = np.unique(which[~np.isfinite(xy).all(axis=1)])
    if not bad.size:
        return table
    mended = geometry.copy()
    for i in bad:
        parts = [_finite_part(part) for part in shapely.get_parts(geometry[i])]
        mended[i] = shapely.MultiLineString([part for part in parts if part is not None])
    gone = np.zeros(len(table), np.bool_)
    gone[bad] = shapely.is_empty(mended[bad])
    was_bad = np.isin(np.arange(len(table)), bad)
    table = table.set_geometry(gpd.GeoSeries(mended, table.index, crs=table.crs))
    tell(
        "left_out", "non_finite", "This line has no two points with real coordinates.", table[gone]
    )
    tell(
        "warning", "non_finite_dropped",
        "Points without real coordinates were dropped from this line.", table[was_bad & ~gone],
    )  # fmt: skip
    return table[~gone]


def _finite_part(part: shapely.Geometry) -> shapely.Geometry | None:
    xy = shapely.get_coordinates(part)
    xy = xy[np.isfinite(xy).all(axis=1)]
    return shapely.linestrings(xy) if len(xy) >= 2 else None


def _single_parts(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Explode; parts of a feature with several are named row.0, row.1, ... in their order."""
    parts, which = shapely.get_parts(table.geometry.to_numpy(), return_index=True)
    return _named_parts(table, parts, which)


def _named_parts(
    table: gpd.GeoDataFrame, parts: NDArray[Any], which: NDArray[np.intp]
) -> gpd.GeoDataFrame:
    made = table.iloc[which].reset_index(drop=True)
    made = made.set_geometry(gpd.GeoSeries(parts, made.index, crs=table.crs))
    number = made.groupby("row", sort=False).cumcount()
    several = made.groupby("row", sort=False)["row"].transform("size") > 1
    plain = made["row"].astype(str)
    made["source_id"] = plain.where(~several, plain + "." + number.astype(str))
    return made


def _mended(table: gpd.GeoDataFrame, least_line_m: float, tell: Tell) -> gpd.GeoDataFrame:
    geometry = table.geometry.to_numpy()
    once = shapely.remove_repeated_points(geometry, 0.0)
    fewer = shapely.get_num_points(once) < shapely.get_num_points(geometry)
    length = shapely.length(once)
    is_zero = ~(length > 0.0)
    is_short = ~is_zero & (length < least_line_m)
    table = table.set_geometry(gpd.GeoSeries(once, table.index, crs=table.crs))
    tell("left_out", "zero_length", "This line has no length.", table[is_zero])
    tell(
        "left_out", "too_short",
        f"This line is shorter than {least_line_m:g} m (setting inputs.least_line_m).",
        table[is_short],
    )  # fmt: skip
    tell(
        "info", "repeated_points", "Points that repeat the one before were removed.",
        table[fewer & ~is_zero & ~is_short],
    )  # fmt: skip
    return table[~is_zero & ~is_short].reset_index(drop=True)


def _on_dem(
    table: gpd.GeoDataFrame,
    layer: str,
    footprint: shapely.Geometry,
    least_line_m: float,
    tell: Tell,
) -> gpd.GeoDataFrame:
    geometry = table.geometry.to_numpy()
    shapely.prepare(footprint)
    touches = shapely.intersects(footprint, geometry)
    inside = shapely.covers(footprint, geometry)
    clipped = geometry.copy()
    partly = touches & ~inside
    clipped[partly] = shapely.intersection(geometry[partly], footprint)
    on = inside.copy()
    on[partly] = shapely.length(clipped[partly]) >= max(least_line_m, 1e-6)
    partly &= on
    if not on.any():
        raise InputError(
            "No stream line lies on the DEM: the lines reach from "
            f"{show_box(tuple(shapely.total_bounds(geometry)))}, the DEM from "
            f"{show_box(tuple(footprint.bounds))}, both in {table.crs.name}.",
            hint="Check that both are of the same place and say the right CRS.",
            where=layer,
        )
    tell("left_out", "off_dem", "This line lies off the DEM.", table[~on])
    tell(
        "warning", "partly_off_dem",
        "This line leaves the DEM; only what lies on it is ranked.", table[partly],
    )  # fmt: skip
    if not partly.any():
        return table[on].reset_index(drop=True)
    merged = clipped.copy()
    merged[partly] = [
        _along(part, whole) for part, whole in zip(clipped[partly], geometry[partly], strict=True)
    ]
    parts, which = shapely.get_parts(merged[on], return_index=True)
    is_line = (shapely.get_type_id(parts) == 1) & (shapely.length(parts) >= max(least_line_m, 1e-6))
    return _named_parts(table[on], parts[is_line], which[is_line])


def _along(clipped: shapely.Geometry, whole: shapely.Geometry) -> shapely.Geometry:
    """Return the clipped parts joined where they touch and in the order of the whole line."""
    lines = [part for part in shapely.get_parts(clipped) if part.geom_type == "LineString"]
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(lines), directed=True))
    at = locate_along_m(whole, shapely.get_point(merged, 0))
    return shapely.MultiLineString(list(merged[np.argsort(at, kind="stable")]))


def _without_doubles(table: gpd.GeoDataFrame, tell: Tell) -> gpd.GeoDataFrame:
    """Leave out lines that repeat another point for point, forwards or backwards.

    Of such lines the one with a name, then with an area, then the first by its own coordinates
    stays, so that the choice does not depend on the order of the rows.
    """
    geometry = table.geometry.to_numpy()
    keys = pd.DataFrame(
        {
            "shape": shapely.to_wkb(shapely.normalize(geometry)),
            "nameless": table["stream_name"].isna().to_numpy(),
            "arealess": table["attribute_area_km2"].isna().to_numpy(),
            "wkb": shapely.to_wkb(geometry),
            "name": table["stream_name"].fillna("").to_numpy(),
            "area": table["attribute_area_km2"].to_numpy(),
        }
    )
    order = keys.sort_values(["nameless", "arealess", "wkb", "name", "area"], kind="stable")
    double = order.duplicated("shape").reindex(keys.index).to_numpy()
    tell("left_out", "double", "This line repeats another point for point.", table[double])
    return table[~double].reset_index(drop=True)


def _place_order(geometry: NDArray[Any]) -> NDArray[np.intp]:
    """Return each geometry's rank by place: west first, then south, then shape."""
    filled = np.where(shapely.is_missing(geometry), shapely.Point(), geometry)
    boxes = pd.DataFrame(shapely.bounds(filled), columns=["west", "south", "east", "north"])
    boxes["wkb"] = shapely.to_wkb(filled)
    order = boxes.sort_values(["west", "south", "east", "north", "wkb"], kind="stable").index
    ranks = np.empty(len(order), np.intp)
    ranks[order.to_numpy()] = np.arange(len(order))
    return ranks
