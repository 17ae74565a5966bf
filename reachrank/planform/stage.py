"""The `planform` stage: from `channel_points` to `bends`, curvature and bend ids."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.context import Context, Tables, with_tables
from reachrank.planform.bends import find_bends

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
    curvature = np.full(len(points), np.nan)
    bend_of = np.full(len(points), None, dtype=object)
    rows: list[dict[str, object]] = []
    for stream_id, index in points.groupby("stream_id", sort=True).indices.items():
        part = points.iloc[index]
        xy = part[["x_m", "y_m"]].to_numpy(np.float64)
        width = part["toe_width_m"].to_numpy(np.float64)
        station = part["station_m"].to_numpy(np.float64)
        step = station[0] / max(1, len(part) - 1)
        bends, kappa = find_bends(xy, step, width, ctx.settings.planform)
        curvature[index] = kappa
        for number, bend in enumerate(reversed(bends), start=1):
            bend_id = f"{stream_id}-B{number:04d}"
            where = slice(bend.first, bend.last + 1)
            bend_of[index[where]] = bend_id
            here = float(np.nanmedian(width[where]))
            rows.append(
                {
                    "bend_id": bend_id,
                    "stream_id": stream_id,
                    "start_station_m": station[bend.first],
                    "apex_station_m": float(np.interp(bend.apex, np.arange(len(part)), station)),
                    "end_station_m": station[bend.last],
                    "radius_m": bend.radius_m,
                    "radius_width_ratio": bend.radius_m / here if here > 0 else np.nan,
                    "turning_deg": float(np.degrees(bend.turning_rad)),
                    "length_m": float(station[bend.first] - station[bend.last]),
                    "outside_bank": bend.outside_bank,
                    "geometry": shapely.LineString(xy[where]),
                }
            )
    points["curvature_per_m"] = curvature
    points["bend_id"] = bend_of
    bends_table = gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=list(BEND_COLUMNS)), geometry="geometry", crs=ctx.crs
    )
    return with_tables(tables, channel_points=points, bends=bends_table)
