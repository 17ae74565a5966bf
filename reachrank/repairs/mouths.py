"""Where tributaries come in: a bank ends there, and a tie-in must not run across."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from reachrank.repairs.bank_line import BankLine

WIDTHS_TO_RECEIVER = 1.5
"""How far a tributary's last point may lie from the stream that takes it, in its toe widths."""


def mouths_on_banks(
    reaches: gpd.GeoDataFrame, joined: dict[tuple[str, str], BankLine]
) -> dict[tuple[str, str], list[float]]:
    """Return, for each stream and side, how far down the bank tributaries' mouths lie, rising.

    A stream's mouth belongs to the nearest other stream within 1.5 of that one's toe widths (at
    least 3 m). The side is that of the bank line which the tributary's lowest reach meets first
    coming down.
    """
    found: dict[tuple[str, str], list[float]] = {key: [] for key in joined}
    table = reaches.reset_index(drop=True)
    lowest = table.sort_values(["stream_id", "station_from_m"]).groupby("stream_id").head(1)
    lines = table.geometry.to_numpy()
    streams = table["stream_id"].to_numpy(dtype=object)
    widths = table["toe_width_m"].to_numpy(dtype=np.float64, na_value=0.0)
    tree = shapely.STRtree(lines)
    reach_m = max(3.0, WIDTHS_TO_RECEIVER * float(np.nanmax(widths, initial=0.0)))
    for row in lowest.itertuples():
        tip = shapely.get_point(row.geometry, -1)
        near = tree.query(tip, predicate="dwithin", distance=reach_m)
        near = near[streams[near] != row.stream_id]
        distance = shapely.distance(tip, lines[near])
        close = distance <= np.maximum(3.0, WIDTHS_TO_RECEIVER * widths[near])
        if not close.any():
            continue
        receiver = str(streams[near[close][np.argmin(distance[close])]])
        away = shapely.get_point(row.geometry, 0)
        sides = [side for side in ("left", "right") if (receiver, side) in joined]
        side = min(sides, key=lambda name: _least_distance(joined[receiver, name], away))
        line = joined[receiver, side]
        best = int(np.argmin(shapely.distance(line.lines, tip)))
        measure = line.borders_m[best] + shapely.line_locate_point(line.lines[best], tip)
        found[receiver, side].append(float(measure))
    return {key: sorted(values) for key, values in found.items()}


def _least_distance(line: BankLine, point: shapely.Point) -> float:
    return float(np.min(shapely.distance(line.lines, point)))
