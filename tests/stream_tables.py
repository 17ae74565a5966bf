"""Small tables of one stream, as the stages before `reaches` would hand them on.

Everything follows from a line drawn downstream and constant offsets, so every answer has a closed
form: on a straight line the tops are parallels, on an arc of radius R that turns left they are
arcs of radius R - left offset and R + right offset.
"""

from __future__ import annotations

import dataclasses
import itertools
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.context import Context, Inputs
from reachrank.settings import Settings

CRS = "EPSG:32617"


def context(**settings):
    return Context(
        inputs=Inputs(streams="s", dem=("d",)),
        settings=dataclasses.replace(Settings(), **settings),
        dem=SimpleNamespace(cell_m=1.0),  # these stages do not look at the ground
        crs=CRS,
        output_crs=CRS,
    )


def straight(length=300.0, start=(0.0, 0.0), bearing_deg=90.0):
    """Return points every metre, downstream along the bearing."""
    s = np.linspace(0.0, length, round(length) + 1)
    b = np.radians(bearing_deg)
    return np.column_stack([start[0] + s * np.sin(b), start[1] + s * np.cos(b)])


def arc(radius=50.0, angle_deg=180.0, *, turns="left"):
    """Return an arc round (0, 0) from (0, -radius), going east and turning left, or its mirror."""
    t = np.linspace(0.0, np.radians(angle_deg), round(radius * np.radians(angle_deg) * 4) + 1)
    sign = 1.0 if turns == "left" else -1.0
    return np.column_stack([radius * np.sin(t), -sign * radius * np.cos(t)])


def stream(
    coords,
    *,
    stream_id="S0001",
    left_top=6.0,
    right_top=8.0,
    toe=4.0,
    spacing=5.0,
    left_height=1.5,
    right_height=2.5,
    slope=0.004,
    bed=100.0,
    junctions=(),
    bends=(),
):
    """Tables of one stream: edges, channel, channel_points, sections, bends.

    ``junctions`` are stations where one edge ends and the next begins; ``bends`` are rows of
    (bend_id, start_station, end_station, radius, outside_bank).
    """
    line = shapely.LineString(coords)
    length = line.length
    borders = [0.0, *junctions, length]
    names = [f"{stream_id}-E{i}" for i in range(len(borders) - 1)]

    def edge_at(station):
        place = np.searchsorted(borders, station, "right") - 1
        return [names[min(i, len(names) - 1)] for i in np.atleast_1d(place)]

    edges = gpd.GeoDataFrame(
        {
            "edge_id": names,
            "stream_id": stream_id,
            "sequence": range(len(names)),
            "stream_name": "Adder Brook",
            "stream_order": 2,
            "drainage_area_km2": [20.0 - i for i in range(len(names))],
        },
        geometry=[
            shapely.ops.substring(line, length - hi, length - lo)
            for lo, hi in itertools.pairwise(borders)
        ],
        crs=CRS,
    )
    channel = gpd.GeoDataFrame(
        {
            "stream_id": [stream_id],
            "stream_name": ["Adder Brook"],
            "length_m": [length],
            "toe_width_m": [2.0 * toe],
        },
        geometry=[line],
        crs=CRS,
    )
    point_station = np.linspace(length, 0.0, round(length) + 1)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, length - point_station))
    points = pd.DataFrame(
        {
            "stream_id": stream_id,
            "edge_id": edge_at(point_station),
            "station_m": point_station,
            "x_m": xy[:, 0],
            "y_m": xy[:, 1],
            "toe_width_m": 2.0 * toe,
        }
    )
    bends = pd.DataFrame(
        [(b, stream_id, s, e, r, o) for b, s, e, r, o in bends],
        columns=[
            "bend_id",
            "stream_id",
            "start_station_m",
            "end_station_m",
            "radius_m",
            "outside_bank",
        ],
    )
    return {
        "edges": edges,
        "channel": channel,
        "channel_points": points,
        "bends": bends,
        "sections": _sections(
            line,
            stream_id,
            spacing,
            edge_at,
            bends,
            tops={"left": left_top, "right": right_top},
            heights={"left": left_height, "right": right_height},
            toe=toe,
            slope=slope,
            bed=bed,
        ),
    }


def _sections(line, stream_id, spacing, edge_at, bends, *, tops, heights, toe, slope, bed):
    length = line.length
    station = np.arange(length - spacing / 2.0, 0.0, -spacing)
    middle = shapely.get_coordinates(shapely.line_interpolate_point(line, length - station))
    h = 1e-3
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, length - station + h))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, length - station - h))
    d = (ahead - behind) / np.linalg.norm(ahead - behind, axis=1)[:, None]
    left = np.column_stack([-d[:, 1], d[:, 0]])
    table = {
        "section_id": [f"{stream_id}-{s:08.1f}" for s in station],
        "reach_id": None,
        "stream_id": stream_id,
        "station_m": station,
        "bed_elevation_m": bed + slope * station,
        "toe_width_m": 2.0 * toe,
        "top_width_m": tops["left"] + tops["right"],
        "quality": 0.9,
        "flags": "",
        "edge_id": edge_at(station),
        "bend_id": [
            next(
                (b.bend_id for b in bends.itertuples() if b.end_station_m <= s < b.start_station_m),
                None,
            )
            for s in station
        ],
        "bearing_deg": np.degrees(np.arctan2(d[:, 0], d[:, 1])) % 360.0,
        "x_m": middle[:, 0],
        "y_m": middle[:, 1],
        "noise_m": 0.1,
    }
    for side in ("left", "right"):
        table |= {
            f"{side}_toe_offset_m": toe,
            f"{side}_top_offset_m": tops[side],
            f"{side}_top_elevation_m": bed + slope * station + heights[side],
            f"{side}_bank_height_m": heights[side],
            f"{side}_bank_angle_deg": 50.0,
            f"{side}_is_angle_lower_bound": False,
            f"{side}_hazard_score": np.nan,
        }
    ends = [
        shapely.LineString([m + tops["left"] * n, m - tops["right"] * n])
        for m, n in zip(middle, left, strict=True)
    ]
    return gpd.GeoDataFrame(table, geometry=ends, crs=CRS)


def joined(*parts):
    """Tables of several streams as one mapping."""
    return {name: pd.concat([part[name] for part in parts], ignore_index=True) for name in parts[0]}
