"""The lines of one block as a mapper would draw them, and buildings and roads beside them."""

from __future__ import annotations

from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from county.network import SIDE_M, STEP_M, Channel

Array = NDArray[np.float64]

BUILDINGS = 5000
_VERTEX_M = 10.0
_REVERSED_FRAC = 0.1


def stream_lines(channels: list[Channel], rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return the drawn lines, cut where streams join: off the channel, some drawn upstream."""
    drawn = [_beside(channel, rng) for channel in channels]
    rows = []
    step = round(_VERTEX_M / STEP_M)
    for number, (channel, xy) in enumerate(zip(channels, drawn, strict=True)):
        last = len(xy) - 1
        cuts = sorted({0, *channel.joined_at, last})
        for start, stop in pairwise(cuts):
            at = np.unique(np.append(np.arange(start, stop, step), stop))
            if len(at) > 2 and at[-1] - at[-2] < step / 2:
                at = np.delete(at, -2)
            line = xy[at]
            if stop == last and channel.joins >= 0:
                line[-1] = drawn[channel.joins][channel.joins_at]
            if rng.uniform() < _REVERSED_FRAC:
                line = line[::-1]
            rows.append(
                {
                    "name": f"Run {number + 1}" if channel.length_m > 1500.0 else None,
                    "area_km2": round(float(channel.area_km2[stop]), 3),
                    "geometry": shapely.LineString(line),
                }
            )
    return gpd.GeoDataFrame(rows)


def _beside(channel: Channel, rng: np.random.Generator) -> Array:
    """Return the stations moved one to two metres off the channel, to one side and the other."""
    n = len(channel.xy_m)
    knots = rng.uniform(-2.0, 2.0, n // 40 + 3)
    off = np.interp(np.arange(n) / 40.0, np.arange(len(knots)), knots)
    ahead = np.gradient(channel.xy_m, axis=0)
    ahead /= np.hypot(*ahead.T)[:, None]
    return channel.xy_m + off[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])


def buildings(channels: list[Channel], rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return footprints: most anywhere, one in eight within 150 m of a stream."""
    near = BUILDINGS // 8
    stations = np.vstack([channel.xy_m[::10] for channel in channels])
    turn = rng.uniform(0.0, 2.0 * np.pi, near)
    away = rng.uniform(12.0, 150.0, near)
    beside = rng.choice(stations, near) + away[:, None] * np.column_stack(
        [np.cos(turn), np.sin(turn)]
    )
    middle = np.vstack([beside, rng.uniform(0.0, SIDE_M, (BUILDINGS - near, 2))])
    size = rng.uniform(6.0, 20.0, middle.shape) / 2.0
    boxes = shapely.box(*(middle - size).T, *(middle + size).T)
    return gpd.GeoDataFrame({"class": "building"}, geometry=boxes, index=range(len(boxes)))


def roads(rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return roads that cross the block both ways about every 900 m; no fills in the DEM."""
    lines = []
    along = np.linspace(0.0, SIDE_M, 60)
    for at in np.arange(450.0, SIDE_M, 900.0):
        for flip in (1, -1):
            sway = 40.0 * np.sin(along / rng.uniform(500, 1500) + rng.uniform(0.0, 6.0))
            across = at + rng.uniform(-150.0, 150.0) + sway
            lines.append(shapely.LineString(np.column_stack([along, across][::flip])))
    return gpd.GeoDataFrame({"class": "road"}, geometry=lines, index=range(len(lines)))
