"""The working CRS: always projected, true to scale where the data are, and in metres.

A DEM in a projected CRS keeps it, so that its cells are used as they are. In feet, its *metric
twin* is used: the same projection with its axes in metres, so that a coordinate in feet times the
length of the foot is the coordinate in metres, exactly. A DEM in degrees, or in a projection
that stretches by more than 1 % (Web Mercator at 40 degrees north: 30 %), goes to UTM.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Proj, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import ProjError

from reachrank.errors import InputError
from reachrank.units import LENGTH_WORDS, LengthUnit, length_unit_of_factor

SCALE_ERROR_FRAC = 0.01
"""Largest error of a length on the map that is accepted; lengths and slopes carry it."""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class WorkingCrs:
    """How coordinates of a DEM become working coordinates.

    Attributes
    ----------
    source
        The DEM's own CRS without its vertical part.
    working
        The CRS of all work: projected, metres.
    output
        The CRS of the written file: the DEM's own, or UTM where the DEM is warped.
    unit_m
        Length in metres of the unit of ``output``.
    is_warped
        True where the DEM's cells are resampled to UTM.
    """

    source: CRS
    working: CRS
    output: CRS
    unit_m: float
    is_warped: bool

    @property
    def unit_words(self) -> str:
        """The unit of the DEM's own coordinates, in words."""
        if not self.source.is_projected:
            return "degrees"
        return unit_words(axis_unit_m(self.source))


def unit_words(metres: float) -> str:
    """Return the name of a length unit for a sentence."""
    unit = length_unit_of_factor(metres)
    return LENGTH_WORDS[unit] if unit else f"units of {metres:g} metres"


def horizontal_part(crs: CRS) -> CRS:
    """Return a CRS without its vertical part and without a bound datum shift."""
    if crs.is_bound and crs.source_crs is not None:
        return horizontal_part(crs.source_crs)
    if crs.is_compound:
        return horizontal_part(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) == 3 else crs


def vertical_unit(crs: CRS) -> LengthUnit | None:
    """Return the unit of a CRS's height axis; None where it has no height axis.

    Raises
    ------
    InputError
        Where heights are in a unit that is neither metres nor feet.
    """
    if crs.is_bound and crs.source_crs is not None:
        return vertical_unit(crs.source_crs)
    parts = [part for part in crs.sub_crs_list if part.is_vertical] if crs.is_compound else []
    axes = parts[0].axis_info if parts else crs.axis_info[2:3]
    if not axes:
        return None
    factor = float(axes[0].unit_conversion_factor)
    unit = length_unit_of_factor(factor) if factor > 0 else None
    if unit is None:
        raise InputError(
            f"The DEM's heights are in {axes[0].unit_name}, which is neither metres nor feet.",
            hint="Convert the DEM to metres or feet.",
        )
    return unit


def axis_unit_m(crs: CRS) -> float:
    """Return the length in metres of a projected CRS's unit."""
    return float(crs.axis_info[0].unit_conversion_factor)


def metric_twin(crs: CRS) -> CRS:
    """Return the same projection with its axes in metres; a metric CRS is returned as it is.

    Examples
    --------
    >>> twin = metric_twin(CRS.from_epsg(2965))  # Indiana East, U.S. survey feet
    >>> twin.axis_info[0].unit_name
    'metre'
    """
    if axis_unit_m(crs) == 1.0:
        return crs
    parts: dict[str, Any] = crs.to_json_dict()
    for axis in parts["coordinate_system"]["axis"]:
        axis["unit"] = "metre"
    for key in ("id", "ids", "usages", "scope", "area", "bbox", "remarks"):
        parts.pop(key, None)
    parts["name"] = f"{crs.name}, in metres"
    return CRS.from_json_dict(parts)


def scale_error(crs: CRS, box: Box) -> float:
    """Return the largest error of a length in a projected CRS over a box, as a fraction.

    Parameters
    ----------
    box
        West, south, east, north in degrees.
    """
    west, south, east, north = box
    x, y = np.meshgrid(np.linspace(west, east, 3), np.linspace(south, north, 3))
    try:
        factors = Proj(crs).get_factors(x.ravel(), y.ravel())
    except ProjError:
        return math.inf
    scales = np.concatenate([factors.tissot_semimajor, factors.tissot_semiminor])
    return float(np.max(np.abs(scales - 1.0))) if np.isfinite(scales).all() else math.inf


def utm_for(crs: CRS, longitude_deg: float, latitude_deg: float) -> CRS:
    """Return the UTM zone at a place, on the datum of ``crs`` where there is one."""
    zone = min(int((longitude_deg + 180.0) // 6.0) + 1, 60)
    half = "N" if latitude_deg >= 0 else "S"
    geodetic = crs.geodetic_crs
    place = AreaOfInterest(longitude_deg, latitude_deg, longitude_deg, latitude_deg)
    if geodetic is not None:
        names = [geodetic.name, geodetic.datum.name if geodetic.datum else ""]
        found = [
            info
            for name in names
            for info in query_utm_crs_info(datum_name=name, area_of_interest=place)
            if info.name.endswith(f"UTM zone {zone}{half}")
        ]
        if found:
            return CRS.from_epsg(min(int(info.code) for info in found))
    return CRS.from_epsg((32600 if half == "N" else 32700) + zone)


def choose(dem_crs: CRS, box: Box) -> WorkingCrs:
    """Choose the working CRS for a DEM.

    Parameters
    ----------
    dem_crs
        The DEM's CRS, with or without a vertical part.
    box
        Where the data are: west, south, east, north in degrees.
    """
    source = horizontal_part(dem_crs)
    if not (source.is_projected or source.is_geographic):
        raise InputError(
            f"The DEM's coordinate reference system ({source.name}) is tied to no place on Earth.",
            hint="Assign the right one in a GIS.",
        )
    if source.is_projected and scale_error(source, box) <= SCALE_ERROR_FRAC:
        return WorkingCrs(source, metric_twin(source), source, axis_unit_m(source), False)
    west, south, east, north = box
    longitude, latitude = (west + east) / 2.0, (south + north) / 2.0
    if not (-180.0 <= longitude <= 180.0 and -90.0 <= latitude <= 90.0):
        raise InputError(
            f"The data lie {longitude:g} degrees east, {latitude:g} north: nowhere on Earth.",
            hint="Are they in another coordinate reference system than they say?",
        )
    utm = utm_for(source, longitude, latitude)
    if scale_error(utm, box) > SCALE_ERROR_FRAC:
        raise InputError(
            f"The data reach from {west:.2f} to {east:.2f} degrees east: too far for one UTM zone.",
            hint="Run parts of it, or give the DEM in a projected CRS that is true to scale there.",
        )
    return WorkingCrs(source, utm, utm, 1.0, True)


def degrees_box(crs: CRS, box: Box) -> Box:
    """Return a box of a CRS as west, south, east, north in degrees."""
    if crs.is_geographic:
        factor = math.degrees(crs.axis_info[0].unit_conversion_factor)
        west, south, east, north = (value * factor for value in box)
        return west, south, east, north
    geodetic = crs.geodetic_crs or CRS.from_epsg(4326)
    return transform_box(crs, geodetic, box)


def transform_box(source: CRS, target: CRS, box: Box) -> Box:
    """Return the box in the target CRS that holds a box of the source CRS.

    Raises
    ------
    InputError
        Where the box cannot be expressed there.
    """
    if source == target:
        return box
    try:
        transformer = Transformer.from_crs(source, target, always_xy=True)
        made = transformer.transform_bounds(*box, densify_pts=21, errcheck=False)
    except ProjError as error:
        raise InputError(f"The extent cannot be expressed in {target.name}: {error}.") from error
    if not np.isfinite(made).all():
        raise InputError(f"The extent {show_box(box)} cannot be expressed in {target.name}.")
    west, south, east, north = (float(value) for value in made)
    return west, south, east, north


def to_working(table: gpd.GeoDataFrame, crs: WorkingCrs) -> gpd.GeoDataFrame:
    """Return a table in the working CRS; a table in the DEM's own CRS in feet is only scaled."""
    here = horizontal_part(CRS.from_user_input(table.crs))
    if here == crs.working:
        return table.set_crs(crs.working, allow_override=True)
    if not crs.is_warped and here.equals(crs.source, ignore_axis_order=True):

        def scaled(xy: NDArray[np.float64]) -> NDArray[np.float64]:
            return xy * crs.unit_m

        geometry = shapely.transform(table.geometry.to_numpy(), scaled)
        return table.set_geometry(gpd.GeoSeries(geometry, table.index, crs=crs.working))
    try:
        return table.set_crs(here, allow_override=True).to_crs(crs.working)
    except ProjError as error:
        raise InputError(f"There is no way from {here.name} to {crs.working.name}.") from error


def show_box(box: Box) -> str:
    """Return a box for a message."""
    west, south, east, north = box
    digits = 4 if max(abs(v) for v in box) < 400 else 0
    shown = [f"{value:.{digits}f}" for value in (west, east, south, north)]
    return f"{shown[0]} to {shown[1]} east, {shown[2]} to {shown[3]} north"
