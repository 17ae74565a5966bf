"""The plain notebook way: one section at a time with shapely and `rasterio.sample`.

As somebody would write it for a reach or two: walk the line, draw a perpendicular every 5 m,
sample the elevation at 41 points along it, take the height of each bank as highest less lowest.
No search for the channel, no bends, no ranking, no file written: it does far less than a ranking
does. It is timed in two forms: with the nearest cell, which is what `sample` gives, and bilinear,
as a ranking samples, from the four cells around each point. Run as a program it prints JSON:
``nearest_s`` and ``bilinear_s`` of the loop (no imports, no opening), ``km``, ``sections``.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from shapely.geometry import LineString

SPACING_M = 5.0
HALF_WIDTH_M = 20.0
POINTS = 41

Sampler = Callable[[rasterio.DatasetReader, np.ndarray], np.ndarray]


def sections_along(
    line: LineString, dem: rasterio.DatasetReader, sample: Sampler
) -> list[dict[str, object]]:
    """Return one row per section."""
    rows = []
    for station in np.arange(0.0, line.length, SPACING_M):
        middle = line.interpolate(station)
        before = line.interpolate(max(station - 1.0, 0.0))
        after = line.interpolate(min(station + 1.0, line.length))
        dx, dy = after.x - before.x, after.y - before.y
        length = np.hypot(dx, dy)
        nx, ny = -dy / length, dx / length
        section = LineString(
            [
                (middle.x + HALF_WIDTH_M * nx, middle.y + HALF_WIDTH_M * ny),
                (middle.x - HALF_WIDTH_M * nx, middle.y - HALF_WIDTH_M * ny),
            ]
        )
        points = [section.interpolate(d) for d in np.linspace(0.0, section.length, POINTS)]
        z = sample(dem, np.array([(p.x, p.y) for p in points]))
        left, right = z[: POINTS // 2 + 1], z[POINTS // 2 :]
        rows.append(
            {
                "station_m": station,
                "left_height_m": left.max() - left.min(),
                "right_height_m": right.max() - right.min(),
                "geometry": section,
            }
        )
    return rows


def nearest(dem: rasterio.DatasetReader, xy: np.ndarray) -> np.ndarray:
    """Return the elevation of the cells that hold the points."""
    return np.array([value[0] for value in dem.sample(xy)])


def bilinear(dem: rasterio.DatasetReader, xy: np.ndarray) -> np.ndarray:
    """Return the elevation between the middles of the four cells around each point."""
    columns, rows = ~dem.transform @ (xy[:, 0], xy[:, 1])
    c, r = np.floor(columns - 0.5), np.floor(rows - 0.5)
    fc, fr = columns - 0.5 - c, rows - 0.5 - r
    z = np.zeros(len(xy))
    for dc, dr, weight in (
        (0, 0, (1 - fc) * (1 - fr)), (1, 0, fc * (1 - fr)), (0, 1, (1 - fc) * fr), (1, 1, fc * fr)
    ):  # fmt: skip
        x, y = dem.transform @ (c + dc + 0.5, r + dr + 0.5)
        z += weight * nearest(dem, np.column_stack([x, y]))
    return z


def walk(table: gpd.GeoDataFrame, dem: Path, km: float, sample: Sampler) -> dict[str, float]:
    """Go along the lines until so many kilometres are done; the largest streams come first."""
    with rasterio.open(dem) as raster:
        start = time.perf_counter()
        rows, done_km = [], 0.0
        for line in table.geometry:
            if done_km >= km:
                break
            rows += sections_along(line, raster, sample)
            done_km += line.length / 1000.0
        sections = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=table.crs)
        seconds = time.perf_counter() - start
    return {"seconds": seconds, "km": done_km, "sections": len(sections)}


def main() -> None:
    """Arguments: a raster that holds the whole slice, streams, stream kilometres to do."""
    dem, streams, km = Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3])
    table = gpd.read_file(streams, engine="pyogrio").sort_values("area_km2", ascending=False)
    plain, smooth = walk(table, dem, km, nearest), walk(table, dem, km, bilinear)
    times = {"nearest_s": plain["seconds"], "bilinear_s": smooth["seconds"]}
    print(json.dumps({**plain, **times}))


if __name__ == "__main__":
    main()
