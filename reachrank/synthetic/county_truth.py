"""What is known about the invented county, as layers."""

from __future__ import annotations

from itertools import pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry import LineString, Point

from reachrank.synthetic.county_ground import CountyGround
from reachrank.synthetic.truth import CorridorTruth

STATION_STEP_M, LINE_STEP_M = 5.0, 1.0


def truth_layers(names: list[str], truths: list[CorridorTruth]) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of the truth of named streams, where the truths lie.

    ``channels``: the true middles, drawn downstream. ``bank_tops``: the true tops, drawn
    downstream. ``stations``: every 5 m all that is known there. ``bends``. ``failing``: the plainly
    failing lengths of bank.
    """
    channels, tops, stations, bends, failing = [], [], [], [], []
    for name, truth in zip(names, truths, strict=True):
        channels.append(
            {"stream_name": name, "length_m": truth.length_m, "geometry": _thinned(truth.line)}
        )
        table = truth.table()
        every = max(round(STATION_STEP_M / float(truth.s_m[1] - truth.s_m[0])), 1)
        points = table.iloc[::every].round(4).copy()
        points.insert(0, "stream_name", name)
        stations.append(points)
        for side in ("left", "right"):
            bank = truth.bank(side)
            tops.append({"stream_name": name, "bank": side, "geometry": _thinned(bank.top_line)})
            edges = np.flatnonzero(np.diff(np.pad(bank.is_failing.astype(int), 1)))
            for first, stop in pairwise(edges):
                if not bank.is_failing[first] or stop - first < 2:
                    continue
                line = LineString(np.column_stack([bank.top_x_m, bank.top_y_m])[first:stop])
                failing.append(
                    {
                        "stream_name": name,
                        "bank": side,
                        "station_from_m": truth.length_m - truth.s_m[stop - 1],
                        "station_to_m": truth.length_m - truth.s_m[first],
                        "length_m": line.length,
                        "bank_height_m": float(np.median(bank.height_m[first:stop])),
                        "bank_angle_deg": float(np.median(bank.angle_deg[first:stop])),
                        "geometry": _thinned(line),
                    }
                )
        for bend in truth.bends:
            part = (truth.s_m >= bend.start_m - 0.01) & (truth.s_m <= bend.end_m + 0.01)
            bends.append(
                {
                    "stream_name": name,
                    "start_station_m": truth.length_m - bend.start_m,
                    "apex_station_m": truth.length_m - bend.apex_m,
                    "end_station_m": truth.length_m - bend.end_m,
                    "radius_m": bend.radius_m,
                    "turning_deg": bend.turning_deg,
                    "outside_bank": bend.outside_bank,
                    "geometry": _thinned(LineString(np.column_stack([truth.x_m, truth.y_m])[part])),
                }
            )
    points = pd.concat(stations, ignore_index=True)
    return {
        "channels": gpd.GeoDataFrame(channels, geometry="geometry"),
        "bank_tops": gpd.GeoDataFrame(tops, geometry="geometry"),
        "stations": gpd.GeoDataFrame(
            points, geometry=gpd.points_from_xy(points["x_m"], points["y_m"])
        ),
        "bends": gpd.GeoDataFrame(bends, geometry="geometry"),
        "failing": gpd.GeoDataFrame(failing, geometry="geometry"),
    }


def _thinned(line: LineString) -> LineString:
    """Keep about one vertex a metre, and both ends."""
    xy = shapely.get_coordinates(line)
    step = max(round(LINE_STEP_M * (len(xy) - 1) / line.length), 1)
    return LineString(xy[np.unique([*range(0, len(xy), step), len(xy) - 1])].round(3))


def works(ground: CountyGround) -> gpd.GeoDataFrame:
    """Return what hides the banks, in metres from the county's corner."""
    rows = []
    for road in ground.roads:
        line = LineString(np.column_stack([road.x_m, road.y_m]))
        fills = [Point(x, y) for x, y, _ in road.fills]
        rows += [
            {"kind": "road fill over a culvert", "name": road.name, "geometry": p} for p in fills
        ]
        for stream in ground.streams:
            plan = stream.stations.plan
            crossing = line.intersection(LineString(np.column_stack([plan.x_m, plan.y_m])[::4]))
            rows += [
                {"kind": "bridge", "name": f"{road.name}, {stream.name}", "geometry": point}
                for point in getattr(crossing, "geoms", [crossing])
                if not point.is_empty and all(point.distance(fill) > 30.0 for fill in fills)
            ]
    for stream in ground.streams:
        plan = stream.stations.plan
        for pond in stream.spec.ponds:
            k = int(np.argmin(np.abs(plan.s_m - pond.at_m)))
            shape = Point(plan.x_m[k], plan.y_m[k]).buffer(pond.radius_m)
            rows.append({"kind": "pond", "name": stream.name, "geometry": shape})
    rows += [
        {
            "kind": "no elevations",
            "name": "",
            "geometry": Point(hole.x_m, hole.y_m).buffer(hole.radius_m),
        }
        for hole in ground.holes
    ]
    return gpd.GeoDataFrame(rows, geometry="geometry")
