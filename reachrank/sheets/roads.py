"""The way in: the nearest road, how far, in which direction, and on which side of the water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from reachrank.read.source import parse_source
from reachrank.read.vector import find_column, open_layer, read_layer, words
from reachrank.sheets.site import Site

LOOK_M = 3000.0
"""A road farther than this is no help to someone on foot: common practice, no source."""
_STEP_M = 10.0
_NAMES = (
    "name",
    "fullname",
    "full_name",
    "road_name",
    "roadname",
    "street",
    "streetname",
    "st_name",
)
_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class Way:
    """A straight line from a road to the bank; nobody has walked it.

    ``line`` runs from the road to the bank. ``crosses`` tells whether it crosses a ranked stream.
    """

    line: shapely.LineString
    road: str
    crosses: bool

    @property
    def length_m(self) -> float:
        """Straight distance."""
        return float(self.line.length)

    @property
    def towards(self) -> str:
        """Compass point of the bank as seen from the road."""
        return compass(self.line.coords[0], self.line.coords[-1])


def compass(start: Sequence[float], end: Sequence[float]) -> str:
    """Return one of eight compass points for a direction on the grid.

    Examples
    --------
    >>> compass((0, 0), (1, 1)), compass((0, 0), (0, -5))
    ('NE', 'S')
    """
    bearing_deg = np.degrees(np.arctan2(end[0] - start[0], end[1] - start[1])) % 360.0
    return _POINTS[round(bearing_deg / 45.0) % 8]


def read_roads(
    spec: str, crs: CRS, box: Sequence[float], *, allow_remote: bool = False
) -> gpd.GeoDataFrame:
    """Return roads near a box in the working CRS: ``name`` (None where unknown) and lines.

    Parameters
    ----------
    spec
        A line layer, as a user writes it.
    crs
        The working CRS.
    box
        West, south, east, north in it.
    """
    layer = open_layer(parse_source(spec), allow_remote=allow_remote)
    corners = gpd.GeoSeries([shapely.box(*box).buffer(LOOK_M)], crs=crs).to_crs(layer.crs)
    column = find_column(layer, "", _NAMES, "roads")
    west, south, east, north = (float(v) for v in corners.total_bounds)
    table = read_layer(
        layer,
        [column] if column else [],
        box=(west, south, east, north),
        allow_remote=allow_remote,
    ).to_crs(crs)
    names = words(table[column]) if column else [None] * len(table)
    roads = gpd.GeoDataFrame({"name": names}, geometry=table.geometry.to_numpy(), crs=crs)
    lines = roads[roads.geometry.notna()].explode(ignore_index=True)
    lines = lines[lines.geom_type == "LineString"]
    return lines.assign(geometry=shapely.force_2d(lines.geometry)).reset_index(drop=True)


def ways_in(site: Site, roads: gpd.GeoDataFrame | None, channels: gpd.GeoSeries) -> list[Way]:
    """Return the nearest way in, and the nearest one on this side of the water if that is another.

    Parameters
    ----------
    site
        The place.
    roads
        As `read_roads` gives them. None: roads that the ranking has met within reach of the bank.
    channels
        Lines of the ranked streams.
    """
    if roads is None:
        return _from_exposures(site)
    line = site.line
    box = shapely.box(*line.bounds).buffer(LOOK_M)
    near = roads.iloc[roads.sindex.query(box)]
    if near.empty:
        return []
    nearest = near.distance(line).nsmallest(40).index
    starts, names = _points_along(near.loc[nearest], line)
    away = shapely.distance(starts, line)
    order = np.argsort(away, kind="stable")
    water = channels.iloc[channels.sindex.query(box)]
    ways: list[Way] = []
    for k in order[:400]:
        if away[k] > LOOK_M:
            break
        bank = line.interpolate(line.project(starts[k]))
        straight = shapely.LineString([starts[k], bank])
        crosses = bool(water.intersects(straight).any()) if away[k] > 0.0 else False
        if not ways or not crosses:
            ways.append(Way(straight, names[k], crosses))
        if not crosses:
            break
    return ways[:2]


def _points_along(roads: gpd.GeoDataFrame, line: shapely.LineString) -> tuple[Any, list[str]]:
    """Return points of the roads: the nearest of each, and others at an even step."""
    points: list[shapely.Point] = []
    names: list[str] = []
    for road, name in zip(roads.geometry, roads["name"], strict=True):
        at = np.arange(0.0, road.length, max(_STEP_M, road.length / 300.0))
        nearest = road.interpolate(road.project(line.interpolate(0.5, normalized=True)))
        own = [shapely.shortest_line(road, line).coords[0], *nearest.coords]
        here = [*shapely.points(own), *shapely.line_interpolate_point(road, at)]
        points.extend(here)
        names.extend([name or ""] * len(here))
    return np.array(points, dtype=object), names


def _from_exposures(site: Site) -> list[Way]:
    for row in site.exposures:
        words_of = f"{row['structure_class']} {row['source']}".lower()
        if "road" in words_of and row["bank"] == site.side:
            line = shapely.reverse(row["geometry"])
            return [Way(line, str(row["structure_id"]), False)]
    return []
