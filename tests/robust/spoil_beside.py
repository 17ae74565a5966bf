"""Structures, soils, constraint areas, cover and area rasters as they should not be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from robust.scenario import COLUMNS, CRS, NORTH, ROWS, WEST, Scenario, write_grid
from robust.words import WORDS
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

Rng = np.random.Generator


def odd_shapes(rng: Rng) -> list[Any]:
    """Return shapes of no area, that cross themselves, are empty, huge or of another kind."""
    x, y = WEST + 120.0, NORTH - 75.0
    many = np.column_stack([x + 30 * np.cos(np.arange(20_000)), y + 30 * np.sin(np.arange(20_000))])
    shapes = [
        Polygon([(x, y), (x + 9, y), (x, y)]),
        Polygon([(x, y), (x + 9, y + 9), (x + 9, y), (x, y + 9)]),
        Polygon([(x, y), (x, y), (x, y), (x, y)]),
        Polygon(many),
        Polygon(),
        None,
        Point(x, y),
        Point(),
        Point(float("nan"), y),
        LineString([(x, y), (x, y)]),
        LineString([(x - 500, y), (x + 500, y)]),
        MultiPolygon([box(x, y, x + 9, y + 9), box(x + 3, y + 3, x + 12, y + 12)]),
        box(x - 1e7, y - 1e7, x + 1e7, y + 1e7),
        box(x, y, x + 9, y + 9).difference(box(x + 2, y + 2, x + 4, y + 4)),
        shapely.GeometryCollection([Point(x, y), box(x, y, x + 9, y + 9)]),
        shapely.MultiPoint([(x, y), (x + 1, y + 1)]),
        Polygon([(x, y, 5), (x + 9, y, 5), (x, y + 9, float("nan"))]),
        Polygon([(x, y), (float("inf"), y), (x, y + 9)]),
        shapely.affinity.translate(box(x, y, x + 9, y + 9), 1e6, 0),
    ]
    return [shapes[i] for i in rng.integers(0, len(shapes), int(rng.integers(1, 12)))]


def _write(path: Path, rng: Rng, **columns: list[Any]) -> None:
    shapes = odd_shapes(rng)
    picked = {
        name: [values[i] for i in rng.integers(0, len(values), len(shapes))]
        for name, values in columns.items()
    }
    gpd.GeoDataFrame(picked, geometry=shapes, crs=CRS).to_file(path)


def structures(at: Scenario, rng: Rng) -> list[str]:
    """Spoil the buildings, their classes too."""
    path = at["odd.gpkg"]
    _write(path, rng, kind=[*WORDS, "house", None], fid_2=[1, 1, 2])
    more = ["--structure-class-attribute", "kind"] if rng.random() < 0.5 else []
    return ["--structures" if rng.random() < 0.6 else "--roads", str(path), *more]


def soils(at: Scenario, rng: Rng) -> list[str]:
    """Spoil the soil areas and their values."""
    path = at["odd.gpkg"]
    _write(
        path, rng, texture=["clay", "silt loam", "SAND ", "moon dust", None, "", *WORDS[:20]],
        kffact=[0.3, -1.0, np.nan, np.inf, 1e300, 0.0],
    )  # fmt: skip
    return ["--soils", str(path)]


def constraints(at: Scenario, rng: Rng) -> list[str]:
    """Spoil the areas that call for a permit, and their names."""
    path = at["odd.gpkg"]
    _write(path, rng, name=[*WORDS, None])
    return ["--constraints", str(path)]


def cover(at: Scenario, rng: Rng) -> list[str]:
    """Spoil the cover raster."""
    kind = int(rng.integers(0, 6))
    cells = [
        rng.integers(0, 255, (ROWS, COLUMNS)).astype(np.uint8),
        np.full((ROWS, COLUMNS), np.nan, np.float32),
        rng.normal(0, 1e6, (ROWS, COLUMNS)).astype(np.float64),
        np.full((ROWS, COLUMNS), -9999, np.int16),
        np.full((1, 1), 5, np.uint8),
        rng.choice([np.inf, -np.inf, np.nan, 7.0], (ROWS, COLUMNS)).astype(np.float32),
    ][kind]
    more = {"nodata": float(rng.choice([0, 5, 255]))} if kind in (0, 4) else {}
    path = write_grid(at["odd.tif"], cells, units="", **more)
    classes = ["--cover-meaning", "classes", "--cover-classes", "41,42,-3"]
    return ["--cover", str(path), *(classes if rng.random() < 0.3 else [])]


def area(at: Scenario, rng: Rng) -> list[str]:
    """Spoil the raster of drainage area."""
    kinds = [-1.0, 0.0, np.nan, np.inf, 1e30, 1e-30, 4e6]
    cells = rng.choice(kinds, (ROWS, COLUMNS)).astype(np.float32)
    if rng.random() < 0.5:
        cells[:] = float(rng.choice(kinds))
    return ["--area-raster", str(write_grid(at["odd.tif"], cells, units=""))]


SPOILERS: tuple[Callable[[Scenario, Rng], list[str]], ...] = (
    structures, soils, constraints, cover, area,
)  # fmt: skip
