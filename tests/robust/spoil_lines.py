"""Stream layers as they should not be: places, shapes, names, columns, coordinate systems."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from robust.scenario import COLUMNS, NORTH, ROWS, WEST
from robust.words import WORDS

Rng = np.random.Generator
Table = gpd.GeoDataFrame
OUR_NAMES = (
    "reach_id", "station_m", "stream_id", "edge_id", "source_id", "row", "geom", "fid_1", "rank",
    "bank", "hazard_score", "stream_name", "shape", "wkb", "_order", "index", "level_0", "ogc_fid",
)  # fmt: skip


def _with(table: Table, geometry: list[Any], **columns: Any) -> Table:
    """Return a table of these shapes, the rows' words taken from the sound one in turn."""
    rows = table.iloc[np.arange(len(geometry)) % len(table)].reset_index(drop=True)
    return rows.set_geometry(gpd.GeoSeries(geometry, crs=table.crs)).assign(**columns)


def _points(rng: Rng, count: int) -> np.ndarray:
    size = [COLUMNS - 10.0, ROWS - 10.0]
    return np.array([WEST + 5.0, NORTH - ROWS + 5.0]) + rng.uniform(0, 1, (count, 2)) * size


def bad_numbers(table: Table, rng: Rng) -> Table:
    """NaN, infinite and huge coordinates in some vertices."""
    value = float(rng.choice([np.nan, np.inf, -np.inf, 1e30, -1e308, 1e12, 5e-324]))
    shapes = []
    for line in table.geometry:
        xy = np.array(line.coords)
        hit = rng.random(xy.shape) < rng.choice([0.02, 0.2, 1.0])
        xy[hit] = value
        shapes.append(shapely.linestrings(xy))
    return _with(table, shapes)


def walk(table: Table, rng: Rng) -> Table:
    """Draw a drunken walk that crosses itself everywhere."""
    steps = rng.normal(0, rng.choice([0.2, 2.0, 15.0]), (int(rng.integers(3, 1500)), 2))
    xy = np.clip(np.cumsum(steps, axis=0), -60, 60) + np.array([WEST + 120, NORTH - 75])
    return _with(table, [shapely.LineString(xy)])


def web(table: Table, rng: Rng) -> Table:
    """Draw a net of lines that all cross or meet: loops within loops."""
    count = int(rng.integers(2, 40))
    if rng.random() < 0.5:
        ends = _points(rng, 2 * count).reshape(count, 2, 2)
        return _with(table, [shapely.LineString(pair) for pair in ends])
    nodes = np.round(_points(rng, 12) / 10) * 10
    pairs = rng.integers(0, len(nodes), (count, 2))
    return _with(table, [shapely.LineString(nodes[p]) for p in pairs])


def rings(table: Table, rng: Rng) -> Table:
    """Draw closed lines, some sharing a point."""
    middles = _points(rng, int(rng.integers(1, 6)))
    shapes = [
        shapely.Point(m).buffer(float(rng.uniform(0.1, 40))).exterior.segmentize(2.0)
        for m in middles
    ]
    return _with(table, [shapely.LineString(s.coords) for s in shapes])


def star(table: Table, rng: Rng) -> Table:
    """Many streams that meet in one point."""
    angle = rng.uniform(0, 2 * np.pi, int(rng.integers(3, 60)))
    middle = np.array([WEST + 120.0, NORTH - 75.0])
    ends = middle + 70 * np.column_stack([np.cos(angle), np.sin(angle)])
    return _with(table, [shapely.LineString([middle, end]) for end in ends])


def tiny(table: Table, rng: Rng) -> Table:
    """Lines shorter than a cell, than a millimetre, and of no length at all."""
    size = float(rng.choice([0.0, 1e-12, 1e-3, 0.2, 0.9, 2.0]))
    start = _points(rng, int(rng.integers(1, 6)))
    shapes = [shapely.LineString([p, p + np.array([size, 0.0])]) for p in start]
    return _with(table, shapes)


def doubled(table: Table, rng: Rng) -> Table:
    """Every line again: as it is, backwards, moved a little, or a part of it."""
    kind = int(rng.integers(0, 4))
    again = [
        [g, g.reverse(), shapely.affinity.translate(g, 0.3, 0.3),
         shapely.ops.substring(g, 0.2, 0.7, normalized=True)][kind]
        for g in table.geometry
    ]  # fmt: skip
    return _with(table, [*table.geometry, *again])


def dense(table: Table, rng: Rng) -> Table:
    """Lines with far more vertices than they need."""
    return table.set_geometry(table.geometry.segmentize(float(rng.choice([0.5, 0.05, 0.005]))))


def mixed(table: Table, rng: Rng) -> Table:
    """Points, areas, collections, nothing and nulls among the lines."""
    spot = shapely.Point(_points(rng, 1)[0])
    a, b = table.geometry.iloc[0], table.geometry.iloc[1]
    odd = [
        spot, spot.buffer(10), None, shapely.LineString(), shapely.MultiLineString([a, b]),
        shapely.GeometryCollection([a, spot, shapely.GeometryCollection([b])]),
        shapely.MultiPoint(list(a.coords)), shapely.Polygon(),
        shapely.LinearRing(spot.buffer(3).exterior),
    ]  # fmt: skip
    picked = [odd[i] for i in rng.integers(0, len(odd), int(rng.integers(1, 8)))]
    return _with(table, [*(table.geometry if rng.random() < 0.7 else []), *picked])


def deep(table: Table, rng: Rng) -> Table:
    """Heights on the lines, some of them no numbers."""
    z = float(rng.choice([0.0, np.inf, -np.inf, 1e9]))
    return table.set_geometry(shapely.force_3d(table.geometry.to_numpy(), z))


def elsewhere(table: Table, rng: Rng) -> Table:
    """Outside of the DEM, in part or whole, near or on another continent."""
    by = rng.choice([-1, 1], 2) * rng.choice([30.0, 150.0, 1000.0, 1e5, 1e7])
    return table.set_geometry(table.geometry.translate(float(by[0]), float(by[1])))


def other_crs(table: Table, rng: Rng) -> Table:
    """Another coordinate system, rightly converted or only said so."""
    crs = str(
        rng.choice(
            ["EPSG:4326", "EPSG:4269", "EPSG:3857", "EPSG:2965", "EPSG:32616", "EPSG:4978",
             "EPSG:3031", "EPSG:5773", "ESRI:54009", "EPSG:27700", "EPSG:2193", "OGC:CRS84"]
        )
    )  # fmt: skip
    if rng.random() < 0.5:
        try:
            return table.to_crs(crs)
        except Exception:  # noqa: S110  (there is no way to that one: only say so)
            pass
    return table.set_crs(crs, allow_override=True)


def swapped(table: Table, rng: Rng) -> Table:
    """North before east; upside down; all on one spot; turned by a quarter."""
    kind = int(rng.integers(0, 4))

    def moved(xy: np.ndarray) -> np.ndarray:
        return [xy[:, ::-1], -xy, xy * 0 + [WEST + 100, NORTH - 75], xy[:, ::-1] * [1, -1]][kind]

    return table.set_geometry(shapely.transform(table.geometry.to_numpy(), moved))


def words(table: Table, rng: Rng) -> Table:
    """Names that mean something to a terminal, a spreadsheet, a database, or to nobody."""
    return table.assign(name=[WORDS[i] for i in rng.integers(0, len(WORDS), len(table))])


def our_columns(table: Table, rng: Rng) -> Table:
    """Columns that are called like ours, holding anything."""
    picked = rng.choice(OUR_NAMES, int(rng.integers(1, 8)), replace=False)
    values: list[Any] = [1, "x", None, np.nan, -1e300, True, "S0001-R0001"]
    return table.assign(**{str(n): values[int(rng.integers(0, len(values)))] for n in picked})


def odd_values(table: Table, rng: Rng) -> Table:
    """Names and areas of other types: numbers, dates, nothing, minus signs."""
    names: list[Any] = [
        [1, 2, 3], [1.5, np.nan, -0.0], [None] * 3, [True, False, True],
        pd.to_datetime(["2020-01-01"] * 3), ["", " ", "\t"], [2**62, 0, -1],
    ]  # fmt: skip
    areas: list[Any] = [
        [-9999.0, 0.0, np.nan],
        [1e300, 1e-300, np.inf],
        ["a", "3,5", "7"],
        [0, -1, 1],
    ]
    return table.assign(
        name=names[int(rng.integers(0, len(names)))], km2=areas[int(rng.integers(0, len(areas)))]
    )


def zigzag(table: Table, rng: Rng) -> Table:
    """Hairpins: a line that goes back over itself, spikes."""
    shapes = []
    for line in table.geometry:
        xy = np.array(line.coords)
        kind = int(rng.integers(0, 3))
        if kind == 0:
            xy = np.vstack([xy, xy[::-1]])
        elif kind == 1:
            xy = np.repeat(xy, 3, axis=0) + np.tile([[0, 0], [25.0, 3], [0, 0]], (len(xy), 1))
        else:
            xy = xy[rng.permutation(len(xy))]
        shapes.append(shapely.LineString(xy))
    return _with(table, shapes)


def braided(table: Table, rng: Rng) -> Table:
    """Two or more courses between the same ends."""
    shapes = list(table.geometry)
    for _ in range(int(rng.integers(1, 4))):
        xy = np.array(table.geometry.iloc[int(rng.integers(0, 2))].coords)
        xy[1:-1, 1] += rng.uniform(-20, 20)
        shapes.append(shapely.LineString(xy))
    return _with(table, shapes)


def gaps(table: Table, rng: Rng) -> Table:
    """Lines in many pieces that almost touch, in any order and direction."""
    shapes = []
    for line in table.geometry:
        at = np.sort(rng.uniform(0, 1, int(rng.integers(1, 12))))
        for a, b in zip([0, *at], [*at, 1], strict=True):
            piece = shapely.ops.substring(line, a, b, normalized=True)
            by = rng.normal(0, rng.choice([0, 1e-9, 0.01, 1.0, 6.0]), 2)
            piece = shapely.affinity.translate(piece, *by)
            shapes.append(piece.reverse() if rng.random() < 0.5 else piece)
    return _with(table, [shapes[i] for i in rng.permutation(len(shapes))])


SPOILERS: tuple[Callable[[Table, Rng], Table], ...] = (
    bad_numbers, walk, web, rings, star, tiny, doubled, dense, mixed, deep, elsewhere, other_crs,
    swapped, words, our_columns, odd_values, zigzag, braided, gaps,
)  # fmt: skip


def shuffled(table: Table, rng: Rng) -> Table:
    """Deal the same rows in another order, with heights and columns that mean nothing to us."""
    more = table.iloc[rng.permutation(len(table))].reset_index(drop=True)
    kind = int(rng.integers(0, 4))
    if kind == 0:
        more = more.assign(note="x", reach_id="R", station_m=-1.0)
    elif kind == 1:
        more = more.set_geometry(shapely.force_3d(more.geometry.to_numpy(), 7.0))
    elif kind == 2:
        more = more.set_geometry(
            [shapely.MultiLineString([g]) for g in more.geometry], crs=table.crs
        )
    return more
