"""The line of each bend: the part of the channel from its upper inflection to its lower one."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.channel.line import arc_length


def bend_lines(bends: pd.DataFrame, channel: gpd.GeoDataFrame) -> NDArray[np.object_]:
    """Return the line of each bend, drawn downstream.

    Parameters
    ----------
    bends
        With ``stream_id``, ``start_station_m`` and ``end_station_m``, shape (n,).
    channel
        The layer `channel`, whose vertices bends begin and end at.
    """
    lines = np.empty(len(bends), dtype=object)
    line_of = dict(zip(channel["stream_id"], channel.geometry, strict=True))
    start, end = bends["start_station_m"].to_numpy(), bends["end_station_m"].to_numpy()
    for stream_id, rows in bends.reset_index(drop=True).groupby("stream_id").indices.items():
        xy = shapely.get_coordinates(line_of[stream_id])
        along = arc_length(xy)
        place = along[-1] - np.stack([start[rows], end[rows]])
        first, last = (_nearest(along, down) for down in place)
        lines[rows] = lines_between(xy, first, last)
    return lines


def lines_between(
    xy: NDArray[np.float64], first: NDArray[np.integer], last: NDArray[np.integer]
) -> NDArray[np.object_]:
    """Return the parts of a line from its points ``first`` to its points ``last``, shape (n,)."""
    at = np.concatenate([np.arange(a, b + 1) for a, b in zip(first, last, strict=True)])
    owner = np.repeat(np.arange(len(first)), last - first + 1)
    lines: NDArray[np.object_] = shapely.linestrings(xy[at], indices=owner)
    return lines


def _nearest(rising: NDArray[np.float64], wanted: NDArray[np.float64]) -> NDArray[np.intp]:
    after = np.clip(np.searchsorted(rising, wanted), 1, len(rising) - 1)
    return after - (wanted - rising[after - 1] < rising[after] - wanted)
