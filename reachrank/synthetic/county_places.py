"""Buildings, wells, lines, parcels and addresses of the invented county."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import split, unary_union

from reachrank.synthetic.county_ground import Road
from reachrank.synthetic.county_streams import HEIGHT_M, WIDTH_M, Stream
from reachrank.synthetic.placing import building_beside
from reachrank.synthetic.truth import CorridorTruth

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Beside:
    """A building at a known distance from the top of a bank."""

    stream: str
    at_m: float
    side: str
    distance_m: float
    kind: str
    size_m: tuple[float, float]
    along_m: float = 0.0


_KNOWN = (
    _Beside("Brindlewater Creek", 350.0, "left", 31.0, "house", (14.0, 9.0)),
    _Beside("Brindlewater Creek", 915.0, "right", 9.0, "house", (13.0, 9.0)),
    _Beside("Brindlewater Creek", 915.0, "right", 5.5, "shed", (4.0, 3.0), 15.0),
    _Beside("Brindlewater Creek", 1300.0, "left", 14.0, "house", (12.0, 10.0)),
    _Beside("Brindlewater Creek", 1335.0, "left", 20.0, "garage", (7.0, 6.0)),
    _Beside("Brindlewater Creek", 1400.0, "right", 38.0, "barn", (24.0, 12.0)),
    _Beside("Brindlewater Creek", 1835.0, "left", 24.0, "house", (11.0, 9.0)),
    _Beside("Brindlewater Creek", 2003.0, "left", 7.5, "house", (13.0, 10.0)),
    _Beside("Brindlewater Creek", 2003.0, "left", 4.0, "shed", (4.0, 3.0), 16.0),
    _Beside("Brindlewater Creek", 2544.0, "right", 11.0, "barn", (22.0, 12.0)),
    _Beside("Brindlewater Creek", 2544.0, "right", 35.0, "house", (12.0, 9.0), 22.0),
    _Beside("Brindlewater Creek", 2940.0, "left", 19.0, "pump house", (5.0, 4.0)),
    _Beside("Pennythorn Branch", 556.0, "right", 6.0, "shed", (6.0, 4.0)),
    _Beside("Pennythorn Branch", 556.0, "right", 17.0, "house", (12.0, 9.0), 12.0),
    _Beside("Kettlemoss Run", 490.0, "left", 16.0, "house", (12.0, 9.0)),
    _Beside("Ashbarrow Run", 880.0, "left", 12.0, "house", (11.0, 8.0)),
    _Beside("Goosequill Hollow", 240.0, "left", 26.0, "cabin", (8.0, 6.0)),
)


def buildings(
    streams: list[Stream],
    truths: list[CorridorTruth],
    roads: list[Road],
    rng: np.random.Generator,
) -> gpd.GeoDataFrame:
    """Return footprints with their true distance to the nearest true top of bank.

    ``class`` says what they are. Those that were placed by distance come first.
    """
    tops = {
        (number, side): truth.bank(side).top_line
        for number, truth in enumerate(truths)
        for side in ("left", "right")
    }
    names = [stream.name for stream in streams]
    shapes: list[Polygon] = []
    kinds: list[str] = []
    for known in _KNOWN:
        number = names.index(known.stream)
        shapes.append(
            building_beside(
                truths[number], known.at_m, known.side, known.distance_m,
                size_m=known.size_m, along_m=known.along_m, tops=list(tops.values()),
            )
        )  # fmt: skip
        kinds.append(known.kind)
    taken = unary_union([LineString(np.column_stack([r.x_m, r.y_m])).buffer(5.0) for r in roads])
    water = unary_union(list(tops.values()))
    for road in roads:
        line = LineString(np.column_stack([road.x_m, road.y_m]))
        at = float(rng.uniform(30.0, 90.0))
        while at < line.length - 30.0:
            farm = _farmstead(line, at, rng)
            at += float(rng.uniform(60.0, 170.0))
            outlines = unary_union([shape for shape, _ in farm])
            inside = box(15, 15, WIDTH_M - 15, HEIGHT_M - 15).contains(outlines)
            clear = outlines.distance(unary_union(shapes)) > 8.0 and outlines.distance(taken) > 2.0
            if inside and clear and outlines.distance(water) > 22.0:
                shapes += [shape for shape, _ in farm]
                kinds += [kind for _, kind in farm]
    distance = np.array([[top.distance(shape) for top in tops.values()] for shape in shapes])
    nearest = [list(tops)[k] for k in distance.argmin(axis=1)]
    return gpd.GeoDataFrame(
        {
            "building_id": [f"B{k:03d}" for k in range(1, len(shapes) + 1)],
            "class": kinds,
            "nearest_stream": [names[number] for number, _ in nearest],
            "nearest_bank": [side for _, side in nearest],
            "bank_distance_m": distance.min(axis=1),
        },
        geometry=shapes,
    )


def _farmstead(
    road: LineString, at_m: float, rng: np.random.Generator
) -> list[tuple[Polygon, str]]:
    here, ahead = road.interpolate(at_m), road.interpolate(at_m + 1.0)
    angle = float(np.arctan2(ahead.y - here.y, ahead.x - here.x))
    hand = float(rng.choice([-1.0, 1.0]))
    out = float(rng.uniform(16.0, 34.0))
    plans = [("house", (float(rng.uniform(10, 16)), float(rng.uniform(8, 11))), 0.0, 0.0)]
    if rng.random() < 0.6:
        plans.append(("garage", (7.0, 6.5), float(rng.uniform(14, 18)), 6.0))
    if rng.random() < 0.35:
        plans.append(
            ("barn", (float(rng.uniform(16, 26)), 11.0), float(rng.uniform(-34, -28)), 18.0)
        )
    if rng.random() < 0.3:
        plans.append(("shed", (4.0, 3.0), float(rng.uniform(-12, -9)), 12.0))
    out_shapes = []
    for kind, (length, depth), along, back in plans:
        shape = box(along - length / 2, hand * (out + back) - depth / 2, along + length / 2,
                    hand * (out + back) + depth / 2)  # fmt: skip
        shape = affinity.rotate(shape, angle, origin=(0.0, 0.0), use_radians=True)
        out_shapes.append((affinity.translate(shape, here.x, here.y), kind))
    return out_shapes


def wells(houses: gpd.GeoDataFrame, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return a well near every other house."""
    homes = houses[houses["class"].isin(["house", "cabin"])].iloc[::2]
    turn = rng.uniform(0.0, 2.0 * np.pi, len(homes))
    out = rng.uniform(11.0, 17.0, len(homes))
    middle = homes.geometry.centroid
    points = [
        Point(x, y)
        for x, y in zip(middle.x + out * np.cos(turn), middle.y + out * np.sin(turn), strict=True)
    ]
    return gpd.GeoDataFrame(
        {
            "well_id": [f"W{k:02d}" for k in range(1, len(points) + 1)],
            "class": "well",
            "depth_m": rng.integers(18, 75, len(points)).astype(float),
        },
        geometry=points,
    )


def utility_lines(roads: list[Road]) -> gpd.GeoDataFrame:
    """Return a water main beside a road and a buried gas line across the valley."""
    mill = next(road for road in roads if road.name == "Lower Mill Road")
    beside = LineString(np.column_stack([mill.x_m, mill.y_m])).offset_curve(-6.0)
    gas = LineString([(620, -5), (640, 300), (705, 560), (720, 820), (655, 1180), (640, 1605)])
    frame = box(0, 0, WIDTH_M, HEIGHT_M)
    return gpd.GeoDataFrame(
        {"line_id": ["U1", "U2"], "class": ["water main", "gas line"], "depth_m": [1.4, 1.1]},
        geometry=[beside.simplify(0.5).intersection(frame), gas.intersection(frame)],
    )


def parcels(roads: list[Road], rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Cut the county into parcels along roads, then again and again across their longer side."""
    pieces: list[Polygon] = [box(0, 0, WIDTH_M, HEIGHT_M)]
    for road in roads[:2]:
        line = LineString(np.column_stack([road.x_m, road.y_m])).simplify(1.0)
        pieces = [part for piece in pieces for part in split(piece, line).geoms]
    done: list[Polygon] = []
    while pieces:
        piece = pieces.pop()
        wanted = 20_000.0 * float(rng.lognormal(0.6, 0.6))
        if piece.area < max(2.2 * wanted, 26_000.0):
            done.append(piece)
            continue
        pieces += _halves(piece, rng)
    done.sort(key=lambda piece: (round(piece.centroid.y, 3), round(piece.centroid.x, 3)))
    owners = [_person(k) for k in rng.permutation(len(done))]
    return gpd.GeoDataFrame(
        {
            "parcel_id": [f"17-{100 + k:04d}" for k in range(len(done))],
            "owner": owners,
            "area_ha": [round(piece.area / 1e4, 2) for piece in done],
        },
        geometry=done,
    )


def _halves(piece: Polygon, rng: np.random.Generator) -> list[Polygon]:
    frame = piece.minimum_rotated_rectangle
    corners = np.array(frame.exterior.coords)[:3]
    sides = np.diff(corners, axis=0)
    long = int(np.argmax(np.hypot(*sides.T)))
    along, across = sides[long], sides[1 - long]
    middle = np.array([frame.centroid.x, frame.centroid.y]) + along * rng.uniform(-0.12, 0.12)
    cut = LineString([middle - across, middle + across])
    return [part for part in split(piece, cut).geoms if part.area > 1.0]


_FIRST = (
    "Alda", "Bram", "Corwin", "Delphine", "Edda", "Fenton", "Greta", "Hollis", "Ilse", "Jorun",
    "Keziah", "Lowell", "Maren", "Nestor", "Odile", "Piers", "Quilla", "Rufina", "Selby", "Tilda",
)  # fmt: skip
_LAST = (
    "Ammerfield", "Brackenhalt", "Cindermoor", "Dellowby", "Eskermann", "Fallowhurst",
    "Gristwood", "Hawkmarsh", "Ivelholm", "Jessupdale", "Kirnwick", "Larkspurton", "Mossgrave",
)  # fmt: skip


def _person(k: int) -> str:
    """Return an invented name, another one for each number below 260."""
    return f"{_FIRST[k % len(_FIRST)]} {_LAST[(k * 7 + k // len(_FIRST)) % len(_LAST)]}"


def addresses(
    houses: gpd.GeoDataFrame, roads: list[Road], land: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Give the homes house numbers along their nearest road, even ones on its left side."""
    homes = houses[houses["class"].isin(["house", "cabin"])]
    lines = {r.name: LineString(np.column_stack([r.x_m, r.y_m])) for r in roads}
    rows = []
    for building_id, shape in zip(homes["building_id"], homes.geometry, strict=True):
        point = shape.representative_point()
        road = min(lines, key=lambda name: lines[name].distance(point))
        along = lines[road].project(point)
        here, ahead = lines[road].interpolate(along), lines[road].interpolate(along + 1.0)
        is_left = (ahead.x - here.x) * (point.y - here.y) > (ahead.y - here.y) * (point.x - here.x)
        number = 100 + 2 * int(along / 5.0) + (0 if is_left else 1)
        owner = land.loc[land.contains(point), ["parcel_id", "owner"]]
        rows.append(
            {
                "address": f"{number} {road}",
                "building_id": building_id,
                "parcel_id": owner["parcel_id"].iloc[0] if len(owner) else None,
                "owner": owner["owner"].iloc[0] if len(owner) else None,
                "geometry": point,
            }
        )
    table = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry")
    return table.sort_values("address", ignore_index=True)


def road_layer(roads: Sequence[Road]) -> gpd.GeoDataFrame:
    """Return the roads as a county keeps them: a line with few vertices, clipped at the border."""
    frame = box(0, 0, WIDTH_M, HEIGHT_M)
    return gpd.GeoDataFrame(
        {
            "name": [road.name for road in roads],
            "class": [road.road_class for road in roads],
            "width_m": [2.0 * road.half_width_m for road in roads],
        },
        geometry=[
            LineString(np.column_stack([road.x_m, road.y_m])).simplify(0.3).intersection(frame)
            for road in roads
        ],
    )
