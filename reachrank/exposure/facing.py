"""Which structures a bank faces, and how far they are from the top of the bank.

A bank faces a structure if the straight line from the nearest point of its top to the structure
crosses no channel: not its own, so that a house on the left is never charged to the right bank,
and not another one, so that a house beyond the next stream is not charged either. At the upper and
lower end of a stream its line is thought to go straight on, so that nothing is charged round the
end. What stands on the channel's side of the top is at distance 0: the edge is already there.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

Shapes = NDArray[np.object_]
Rows = NDArray[np.intp]


@dataclass(frozen=True)
class Facing:
    """Pairs of a structure and a bank that faces it; row numbers, distance, link; shapes (k,)."""

    structure: Rows
    bank: Rows
    distance_m: NDArray[np.float64]
    links: Shapes


def facing_pairs(
    shapes: Shapes, banks: gpd.GeoDataFrame, reaches: gpd.GeoDataFrame, reach_m: float
) -> Facing:
    """Return every structure and bank that face each other within a distance.

    Parameters
    ----------
    shapes
        Geometries of the structures, n; None and empty ones face nothing.
    banks, reaches
        Top-of-bank lines and channel lines, both drawn downstream.
    reach_m
        Greatest distance from the top-of-bank line.

    Notes
    -----
    Found through a spatial index of the bank lines: the cost grows with the number of structures
    and of pairs within the distance, not with structures times banks.
    """
    lines = banks.geometry.to_numpy()
    structure, bank = shapely.STRtree(lines).query(shapes, predicate="dwithin", distance=reach_m)
    order = np.lexsort((bank, structure))
    structure, bank = structure[order], bank[order]
    links = shapely.shortest_line(lines[bank], shapes[structure])
    distance = shapely.length(links)

    own = pd.Index(reaches["reach_id"]).get_indexer(banks["reach_id"])[bank]
    blocked = _crosses_any(links, reaches.geometry.to_numpy())
    for extension in _extensions(reaches, 2.0 * reach_m):
        blocked |= shapely.intersects(links, extension[own])
    free = ~blocked
    structure, bank, links, distance = structure[free], bank[free], links[free], distance[free]

    is_left = (banks["bank"] == "left").to_numpy(dtype=np.bool_)
    inside = _is_channelward(
        links, lines[bank], is_left[bank], reaches.geometry.to_numpy()[own[free]]
    )
    return Facing(structure, bank, np.where(inside, 0.0, distance), links)


def _crosses_any(links: Shapes, lines: Shapes) -> NDArray[np.bool_]:
    crossed = np.zeros(len(links), dtype=np.bool_)
    row, _ = shapely.STRtree(lines).query(links, predicate="intersects")
    crossed[row] = True
    return crossed


def _extensions(reaches: gpd.GeoDataFrame, length_m: float) -> tuple[Shapes, Shapes]:
    """Return, for each reach, its stream's channel going straight on upstream and downstream."""
    order = reaches.reset_index(drop=True).sort_values(["stream_id", "station_from_m"])
    first = order.groupby("stream_id").head(1)
    last = order.groupby("stream_id").tail(1)
    down = dict(zip(first["stream_id"], _onward(first.geometry, -1, length_m), strict=True))
    up = dict(zip(last["stream_id"], _onward(last.geometry, 0, length_m), strict=True))
    streams = list(reaches["stream_id"])
    return np.array([up[s] for s in streams]), np.array([down[s] for s in streams])


def _onward(lines: gpd.GeoSeries, end: int, length_m: float) -> Shapes:
    """Return lines that go on straight from one end (0 first, -1 last) of others."""
    shapes = lines.to_numpy()
    tip = shapely.get_point(shapes, end)
    inner = shapely.line_interpolate_point(shapes, 1.0 if end == 0 else -1.0)
    tip_xy, inner_xy = shapely.get_coordinates(tip), shapely.get_coordinates(inner)
    step = tip_xy - inner_xy
    size = np.hypot(step[:, 0], step[:, 1])
    step *= (length_m / np.where(size > 0.0, size, 1.0))[:, None]
    onward: Shapes = shapely.linestrings(np.stack([tip_xy, tip_xy + step], axis=1))
    return onward


def _is_channelward(
    links: Shapes, tops: Shapes, is_left: NDArray[np.bool_], channels: Shapes
) -> NDArray[np.bool_]:
    """Return which links leave the top towards the channel: their structure is past the lip.

    The link runs from the top to the structure; it goes towards the channel where its far end is
    nearer to the channel line than its near end and lies on the channel's side of the top there.
    """
    near = shapely.get_point(links, 0)
    far = shapely.get_point(links, 1)
    towards = shapely.distance(far, channels) < shapely.distance(near, channels)
    along = shapely.line_locate_point(tops, near)
    half = 0.5
    before = shapely.get_coordinates(
        shapely.line_interpolate_point(tops, np.maximum(along - half, 0))
    )
    after = shapely.get_coordinates(shapely.line_interpolate_point(tops, along + half))
    ahead = after - before
    out = shapely.get_coordinates(far) - shapely.get_coordinates(near)
    turn = ahead[:, 0] * out[:, 1] - ahead[:, 1] * out[:, 0]
    inner_side = np.where(is_left, turn < 0.0, turn > 0.0)
    result: NDArray[np.bool_] = towards & inner_side
    return result
