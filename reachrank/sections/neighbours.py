"""Which other streams own ground beside a stream."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

Float = NDArray[np.float64]

NEIGHBOURS_M = 120.0
"""Points of other streams within this distance keep a stream's sections off their ground."""


def near_streams(channel: gpd.GeoDataFrame) -> Callable[[set[str]], set[str]]:
    """Return a function that names the streams whose boxes come near those of given streams.

    Parameters
    ----------
    channel
        The layer `channel`: one line for each stream.
    """
    names = np.asarray(channel["stream_id"], dtype=object)
    boxes = shapely.box(*shapely.bounds(channel.geometry.to_numpy()).T) if len(names) else []
    tree = shapely.STRtree(boxes)
    number = {str(name): k for k, name in enumerate(names)}

    def near(streams: set[str]) -> set[str]:
        own = [number[stream] for stream in streams if stream in number]
        if not own:
            return set()
        _, found = tree.query(
            np.asarray(boxes)[own], predicate="dwithin", distance=NEIGHBOURS_M * np.sqrt(2.0)
        )
        return {str(name) for name in names[found]}

    return near


def points_beside(
    xy: Float, starts: NDArray[np.int64], number: int, reach_m: float = NEIGHBOURS_M
) -> Float | None:
    """Return the points of other streams that may be within reach of one stream's points.

    Parameters
    ----------
    xy
        Shape (n, 2), points of all streams, stream after stream.
    starts
        Shape (streams + 1,): where the points of each begin.
    number
        Which stream.

    Returns
    -------
    Shape (m, 2), in the order of ``xy``: all within reach, and few that are farther than three
    times as far; None where no other stream's box comes near.
    """
    own = xy[starts[number] : starts[number + 1]]
    low, high = own.min(axis=0) - reach_m, own.max(axis=0) + reach_m
    x, y = xy.T
    inside = (x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1])
    inside[starts[number] : starts[number + 1]] = False
    candidate = xy[inside]
    if not len(candidate):
        return None
    # squares as wide as the reach: those with own points, and the eight around each
    square, at = ((own - low) / reach_m).astype(np.int64), ((candidate - low) / reach_m).astype(int)
    taken = np.zeros(square.max(axis=0) + 2, np.bool_)
    taken[tuple(square.T)] = True
    is_near = maximum_filter(taken, 3)
    return np.asarray(candidate[is_near[tuple(at.T)]])
