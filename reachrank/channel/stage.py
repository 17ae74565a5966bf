"""The `channel` stage: from `edges` to `channel` and `channel_points`."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.apart import distance_to_line_m
from reachrank.bank.measure import BankRules, bank_rules
from reachrank.channel.find import Found, find_channel
from reachrank.channel.line import arc_length
from reachrank.columns import repeated
from reachrank.context import Context, Tables, with_tables
from reachrank.network.paths import StreamPath, stream_paths
from reachrank.settings import Settings

Float = NDArray[np.float64]


LEAST_CELLS = 2.0
"""A shorter stream has no direction on the DEM's grid."""


def look_half_width_m(rules: BankRules, toe_width_m: Float | float) -> Float:
    """Return how far from a channel's middle its banks are looked for at most, by toe width."""
    width = np.asarray(toe_width_m, np.float64)
    farther = np.maximum(2.0 * rules.look_m, 4.0 * width)
    return np.asarray(0.5 * width + np.clip(farther, rules.look_m, rules.look_most_m) + 4.0)


def corridor_half_width_m(settings: Settings) -> float:
    """Return how far from the drawn lines the DEM is read: they lie beside their channel.

    The search goes so far, and from its far edge the look at the banks. Wider rivers ask for more.
    """
    return settings.channel.search_half_width_m + 2.0 * settings.sections.look_m


def run(tables: Tables, ctx: Context) -> Tables:
    """Find every stream's channel.

    Reads `edges`; adds `channel` (one line per stream, drawn downstream) and `channel_points`
    (the same at an even step, with width, bed and the offset of the drawn line). A stream without
    any elevation, or shorter than two cells, is left out and a finding.
    """
    paths = stream_paths(tables["edges"])
    settings = ctx.settings.channel
    rules = bank_rules(ctx.settings.sections)
    drawn = np.array([shapely.LineString(path.xy) for path in paths], dtype=object)
    surface = ctx.dem.surface(drawn, corridor_half_width_m(ctx.settings))

    def find(path: StreamPath, line: shapely.LineString) -> Found | None:
        half, own = settings.search_half_width_m, surface
        while True:
            found = find_channel(path.xy, own, settings, rules, half)
            if found is None or not found.is_cramped or half >= settings.search_most_m:
                return found
            half = min(2.0 * half, settings.search_most_m)
            own = ctx.dem.surface(np.array([line], dtype=object), half + rules.look_most_m)

    lines, points = [], []
    for number, (path, line) in enumerate(zip(paths, drawn, strict=True)):
        ctx.progress(number / len(paths), "channel")
        is_dot = line.length < LEAST_CELLS * surface.cell_m
        channel = None if is_dot else find(path, line)
        if channel is None:
            ctx.findings.add(
                "left_out",
                "coarse" if is_dot else "gap",
                "This stream is shorter than two cells of the DEM; it is not ranked."
                if is_dot
                else "No elevation along this stream; it is not ranked.",
                source_layer="edges",
                source_id=path.stream_id,
                geometry=line,
            )
            continue
        columns = _point_columns(path, channel)
        points.append(columns)
        lines.append(
            {
                "stream_id": path.stream_id,
                "stream_name": path.stream_name,
                "length_m": float(columns["station_m"].max()),
                "toe_width_m": float(np.nanmedian(channel.width_m)),
                "geometry": shapely.LineString(channel.xy),
            }
        )
    names = ["stream_id", "stream_name", "length_m", "toe_width_m", "geometry"]
    return with_tables(
        tables,
        channel=gpd.GeoDataFrame(
            pd.DataFrame(lines, columns=names), geometry="geometry", crs=ctx.crs
        ),
        channel_points=pd.DataFrame(
            {
                name: np.concatenate([of[name] for of in points]) if points else np.empty(0)
                for name in POINT_COLUMNS
            }
        ),
    )


POINT_COLUMNS = (
    "stream_id", "edge_id", "station_m", "x_m", "y_m", "toe_width_m", "bed_elevation_m",
    "line_offset_m",
)  # fmt: skip


def _point_columns(path: StreamPath, channel: Found) -> dict[str, NDArray[Any]]:
    along = arc_length(channel.xy)
    # an edge begins where the channel passes its first vertex
    breaks = np.asarray(path.edge_breaks_m, np.float64)[1:-1]
    edge = np.zeros(along.size, np.int64)
    if breaks.size:
        at = shapely.line_locate_point(
            shapely.linestrings(channel.xy),
            shapely.line_interpolate_point(shapely.linestrings(path.xy), breaks),
        )
        edge = np.searchsorted(np.maximum.accumulate(at), along, side="right")
    columns = (
        repeated(path.stream_id, along.size),
        np.asarray(path.edge_ids, dtype=object)[edge],
        along[-1] - along,
        channel.xy[:, 0],
        channel.xy[:, 1],
        channel.width_m,
        channel.bed_m,
        distance_to_line_m(channel.xy, path.xy),
    )
    return dict(zip(POINT_COLUMNS, columns, strict=True))
