"""Web Mercator tiles (EPSG:3857): which of them lie near lines, and where their pixels are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer

Floats = NDArray[np.float64]

TILE_PX = 256
RADIUS_M = 6_378_137.0
"""Of the sphere that EPSG:3857 uses: the major half axis of WGS 84."""
WORLD_M = 2.0 * math.pi * RADIUS_M
DEEPEST = 19
_CONTROL = 9
"""Points along a tile's side that are transformed exactly; between them it goes straight."""


@dataclass(frozen=True, order=True)
class Tile:
    """A tile by zoom, column from 180° W and row from the north."""

    zoom: int
    column: int
    row: int

    @property
    def key(self) -> str:
        """``zoom/column/row``, as the page looks it up."""
        return f"{self.zoom}/{self.column}/{self.row}"

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north in EPSG:3857."""
        side = WORLD_M / float(2**self.zoom)
        west, north = self.column * side - WORLD_M / 2, WORLD_M / 2 - self.row * side
        return west, north - side, west + side, north


def pixel_m(zoom: int, latitude_deg: float) -> float:
    """Return the side of a pixel on the ground.

    Examples
    --------
    >>> round(pixel_m(0, 0.0), 3)  # 40,075.017 km around the equator in 256 pixels
    156543.034
    """
    return WORLD_M / TILE_PX / float(2**zoom) * math.cos(math.radians(latitude_deg))


def zoom_for(cell_m: float, latitude_deg: float) -> int:
    """Return the zoom whose pixels are nearest to a DEM's cells, by ratio.

    Examples
    --------
    >>> zoom_for(1.0, 42.0), zoom_for(30.0, 42.0)
    (17, 12)
    """
    return min(DEEPEST, max(8, round(math.log2(pixel_m(0, latitude_deg) / cell_m))))


def tiles_near(line: shapely.Geometry, within_m: float, zoom: int) -> list[Tile]:
    """Return the tiles that come within a distance of a line in longitude and latitude."""
    xy = shapely.transform(line, lambda at: np.column_stack(to_mercator(at[:, 0], at[:, 1])))
    latitude = math.radians(shapely.get_coordinates(line)[:, 1].mean())
    near = shapely.buffer(xy, within_m / math.cos(latitude), quad_segs=4)
    side = WORLD_M / 2**zoom
    west, south, east, north = near.bounds
    columns = range(
        math.floor((west + WORLD_M / 2) / side), math.floor((east + WORLD_M / 2) / side) + 1
    )
    rows = range(
        math.floor((WORLD_M / 2 - north) / side), math.floor((WORLD_M / 2 - south) / side) + 1
    )
    tiles = [Tile(zoom, column, row) for row in rows for column in columns]
    return [tile for tile in tiles if near.intersects(shapely.box(*tile.box))]


def to_mercator(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return EPSG:3857 coordinates on the sphere.

    Examples
    --------
    >>> [round(float(v), 2) for v in to_mercator(180.0, 0.0)]
    [20037508.34, -0.0]
    """
    longitude = np.asarray(longitude_deg, np.float64)
    latitude = np.asarray(latitude_deg, np.float64)
    return (
        RADIUS_M * np.radians(longitude),
        RADIUS_M * np.log(np.tan(np.pi / 4.0 + np.radians(latitude) / 2.0)),
    )


def to_degrees(x_m: ArrayLike, y_m: ArrayLike) -> tuple[Floats, Floats]:
    """Return longitude and latitude of EPSG:3857 coordinates."""
    x, y = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
    return (
        np.degrees(x / RADIUS_M),
        np.degrees(2.0 * np.arctan(np.exp(y / RADIUS_M)) - np.pi / 2.0),
    )


def pixel_places(
    box: tuple[float, float, float, float], shape: tuple[int, int], crs: CRS, *, margin: int = 1
) -> tuple[Floats, Floats]:
    """Return where in another CRS the pixel middles of a box in EPSG:3857 lie.

    Parameters
    ----------
    box
        West, south, east, north in EPSG:3857.
    shape
        Rows and columns of pixels in the box.
    crs
        Where the places are wanted.
    margin
        Pixels more on each side, to find slopes at the border.

    Returns
    -------
    x, y
        Each of shape (rows + 2 margin, columns + 2 margin), from the north and west.
    """
    rows, columns = shape
    west, south, east, north = box
    dx, dy = (east - west) / columns, (north - south) / rows
    across = np.linspace(0.0, 1.0, _CONTROL)
    left, right = west + (0.5 - margin) * dx, east - (0.5 - margin) * dx
    top, bottom = north - (0.5 - margin) * dy, south + (0.5 - margin) * dy
    grid_x, grid_y = np.meshgrid(left + across * (right - left), top + across * (bottom - top))
    longitude, latitude = to_degrees(grid_x, grid_y)
    known = Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    u = np.linspace(0.0, _CONTROL - 1.0, columns + 2 * margin)
    v = np.linspace(0.0, _CONTROL - 1.0, rows + 2 * margin)
    x, y = (_between(np.asarray(values), v, u) for values in known)
    return x, y


def _between(values: Floats, v: Floats, u: Floats) -> Floats:
    """Return the bilinear values of a control grid at fractional rows ``v``, columns ``u``."""
    i = np.minimum(v.astype(int), _CONTROL - 2)
    j = np.minimum(u.astype(int), _CONTROL - 2)
    a, b = (v - i)[:, None], (u - j)[None, :]
    upper = values[i][:, j] * (1 - b) + values[i][:, j + 1] * b
    lower = values[i + 1][:, j] * (1 - b) + values[i + 1][:, j + 1] * b
    return np.asarray(upper * (1 - a) + lower * a, np.float64)
