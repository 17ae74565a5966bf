"""The `planform` stage: from `channel_points` to `bends`, curvature and bend ids."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.channel.blur import blur_of
from reachrank.columns import repeated
from reachrank.context import Context, Tables, with_tables
from reachrank.grouped import run_medians
from reachrank.planform.bends import Bend, find_bends
from reachrank.planform.lines import lines_between

Float = NDArray[np.float64]

BEND_COLUMNS = (
    "bend_id", "stream_id", "start_station_m", "apex_station_m", "end_station_m", "radius_m",
    "radius_width_ratio", "turning_deg", "length_m", "outside_bank", "geometry",
)  # fmt: skip


def run(tables: Tables, ctx: Context) -> Tables:
    """Find the bends of every stream.

    Reads `channel_points`; adds `bends`, and to the points ``curvature_per_m`` (positive where the
    channel turns left) and ``bend_id``. Bends are numbered upstream. ``radius_width_ratio`` here is
    over the toe width; stages that know a better width replace it.
    """
    points = tables["channel_points"].copy()
    blur = blur_of(ctx.settings.channel)
    places = points[["x_m", "y_m"]].to_numpy(np.float64)
    widths = points["toe_width_m"].to_numpy(np.float64)
    stations = points["station_m"].to_numpy(np.float64)
    curvature = np.full(len(points), np.nan)
    bend_of = np.full(len(points), -1)
    parts: list[dict[str, Any]] = []
    count = 0
    for stream_id, index in points.groupby("stream_id", sort=True).indices.items():
        xy, width, station = places[index], widths[index], stations[index]
        step = station[0] / max(1, len(index) - 1)
        bends, kappa = find_bends(xy, step, width, ctx.settings.planform, blur)
        curvature[index] = kappa
        if not bends:
            continue
        parts.append(_bend_columns(str(stream_id), bends[::-1], xy, width, station))
        for number, bend in enumerate(reversed(bends), start=count):
            bend_of[index[bend.first : bend.last + 1]] = number
        count += len(bends)
    columns = {
        name: np.concatenate([part[name] for part in parts]) for name in BEND_COLUMNS if parts
    }
    rows = pd.DataFrame(columns, columns=list(BEND_COLUMNS))
    points["curvature_per_m"] = curvature
    ids = np.array([*rows["bend_id"], None], dtype=object)  # number -1, no bend, is the last
    points["bend_id"] = ids[bend_of]
    bends_table = gpd.GeoDataFrame(rows, geometry="geometry", crs=ctx.crs)
    return with_tables(tables, channel_points=points, bends=bends_table)


def _bend_columns(
    stream_id: str, bends: list[Bend], xy: Float, width_m: Float, station_m: Float
) -> dict[str, Any]:
    """Return the columns of a stream's bends, numbered in the order given."""
    first = np.array([bend.first for bend in bends])
    last = np.array([bend.last for bend in bends])
    radius = np.array([bend.radius_m for bend in bends])
    here = run_medians(width_m, first, last + 1)
    number = np.arange(len(xy))
    ids = [f"{stream_id}-B{k:04d}" for k in range(1, len(bends) + 1)]
    return {
        "bend_id": np.array(ids, dtype=object),
        "stream_id": repeated(stream_id, len(bends)),
        "start_station_m": station_m[first],
        "apex_station_m": np.interp([bend.apex for bend in bends], number, station_m),
        "end_station_m": station_m[last],
        "radius_m": radius,
        "radius_width_ratio": np.where(here > 0, radius / here, np.nan),
        "turning_deg": np.degrees([bend.turning_rad for bend in bends]),
        "length_m": station_m[first] - station_m[last],
        "outside_bank": np.array([bend.outside_bank for bend in bends], dtype=object),
        "geometry": lines_between(xy, first, last),
    }
