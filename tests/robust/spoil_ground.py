"""DEMs as they should not be: types, no-data, places, cells, values."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from robust.scenario import CELL, COLUMNS, NORTH, ROWS, WEST, heights, transform, write_grid

Rng = np.random.Generator


def types(path: Path, rng: Rng) -> None:
    """Write another type of number, with or without a scale."""
    name = str(rng.choice(["int16", "uint8", "float64", "uint32", "int8", "uint16", "int64"]))
    z = heights().astype(np.float64)
    scale = float(rng.choice([1.0, 0.1, 0.01, -1.0, 1e-9, 1e9]))
    with np.errstate(all="ignore"):
        cells = (z / scale).astype(name) if name != "float64" else z / scale
    write_grid(path, cells, scales=scale if rng.random() < 0.7 else None)


def nodata(path: Path, rng: Rng) -> None:
    """Declare or hide a no-data value, right or wrong."""
    z = heights()
    value = float(rng.choice([np.nan, np.inf, -9999.0, 0.0, -3.4028235e38, 200.0, 1e20]))
    holes = rng.random(z.shape) < float(rng.choice([0.001, 0.1, 0.5, 0.95]))
    z[holes] = value if rng.random() < 0.7 else -9999.0
    declared = [None, value, -9999.0, float(z[5, 5]), 0.0][int(rng.integers(0, 5))]
    write_grid(path, z, nodata=declared)


def blocks_missing(path: Path, rng: Rng) -> None:
    """Leave out rectangles, the edges, or all but an island."""
    z = heights()
    kind = int(rng.integers(0, 3))
    if kind == 2:
        kept = np.full_like(z, np.nan)
        kept[60:90, 100:140] = z[60:90, 100:140]
        z = kept
    for _ in range(int(rng.integers(1, 8))):
        r, c = int(rng.integers(0, ROWS)), int(rng.integers(0, COLUMNS))
        z[r : r + int(rng.integers(1, 60)), c : c + int(rng.integers(1, 60))] = np.nan
    write_grid(path, z, nodata=np.nan)


def flat(path: Path, rng: Rng) -> None:
    """Write one height everywhere: all equal, all zero, all missing, all beyond the Earth."""
    value = float(rng.choice([200.0, 0.0, -9999.0, np.nan, 1e6, -1e6, np.inf, 8848.0]))
    write_grid(path, np.full((ROWS, COLUMNS), value, np.float32))


def spikes(path: Path, rng: Rng) -> None:
    """Put spikes and pits, up to a million metres."""
    z = heights()
    hit = rng.random(z.shape) < float(rng.choice([0.0005, 0.01, 0.2]))
    z[hit] = rng.choice(
        [1e6, -1e6, 1e38, np.inf, -np.inf, 8999.0, -999.0, 500.0, 0.0], int(hit.sum())
    )
    write_grid(path, z)


def rough(path: Path, rng: Rng) -> None:
    """Write noise, steps, a checkerboard, a cliff, a cone or waves in place of the ground."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float64)
    kinds = [
        rng.normal(200, float(rng.choice([0.01, 1.0, 300.0])), x.shape),
        np.floor(heights()).astype(np.float64),
        np.where((x + y) % 2 == 0, 200.0, 210.0),
        np.where(x < 120, 200.0, 260.0),
        200.0 + np.hypot(x - 120, y - 75),
        200.0 - np.hypot(x - 120, y - 75),
        200.0 + 5 * np.sin(x / 3) * np.cos(y / 3),
        200.0 + 0.01 * x,
        200.0 + 2.0 * y,
        heights()[::-1].astype(np.float64),
    ]
    write_grid(path, kinds[int(rng.integers(0, len(kinds)))].astype(np.float32))


def placed(path: Path, rng: Rng) -> None:
    """Turn, shear, mirror, squeeze, shrink or displace the grid."""
    t = transform()
    middle = Affine.translation(WEST + 120, NORTH - 75)
    turned = middle @ Affine.rotation(float(rng.uniform(-180, 180))) @ ~middle @ t
    kinds = [
        turned,
        Affine(CELL, 0.3, WEST, 0.2, -CELL, NORTH),
        Affine(CELL, 0.0, WEST, 0.0, CELL, NORTH - ROWS),
        Affine(-CELL, 0.0, WEST + COLUMNS, 0.0, -CELL, NORTH),
        Affine(0.0, CELL, WEST, -CELL, 0.0, NORTH),
        Affine(1.3, 0.0, WEST, 0.0, -1.0, NORTH),
        Affine(1.0, 0.0, WEST, 0.0, -1.49, NORTH),
        Affine(5.0, 0.0, WEST, 0.0, -0.2, NORTH),
        Affine(1e-3, 0.0, WEST + 100, 0.0, -1e-3, NORTH - 70),
        Affine(50.0, 0.0, WEST - 4000, 0.0, -50.0, NORTH + 3000),
        Affine(1e6, 0.0, WEST - 1e8, 0.0, -1e6, NORTH + 1e8),
        Affine(CELL, 0.0, WEST + 1e7, 0.0, -CELL, NORTH),
        Affine(CELL, 0.0, 0.0, 0.0, -CELL, 0.0),
        Affine(float("nan"), 0.0, WEST, 0.0, -CELL, NORTH),
        Affine(CELL, 0.0, float("inf"), 0.0, -CELL, NORTH),
        Affine(0.0, 0.0, WEST, 0.0, 0.0, NORTH),
        Affine(1.0, 1.0, WEST, 1.0, 1.0, NORTH),
    ]
    write_grid(path, heights(), transform=kinds[int(rng.integers(0, len(kinds)))])


def sized(path: Path, rng: Rng) -> None:
    """Write very few cells: one, a row, a column, two by two."""
    rows, columns = ((1, 1), (1, 200), (150, 1), (2, 2), (3, 3), (5, 240), (150, 5))[
        int(rng.integers(0, 7))
    ]
    top = int(rng.integers(0, max(1, ROWS - rows)))
    z = heights()[top : top + rows, :columns]
    t = transform() @ Affine.translation(0, top)
    if rng.random() < 0.5:  # the same ground in fewer cells
        t = transform() @ Affine.scale(COLUMNS / columns, ROWS / rows)
    write_grid(path, z, transform=t)


def crs(path: Path, rng: Rng) -> None:
    """Say another coordinate system, or none."""
    words = ["EPSG:4326", "EPSG:3857", "EPSG:2965", "EPSG:32616", "EPSG:4978", "EPSG:3031",
             "EPSG:27700", "ESRI:54009", "EPSG:5703", 'LOCAL_CS["here",UNIT["metre",1]]', None,
             "EPSG:26973+5703", "EPSG:26973+8228", "EPSG:26973+6360", "EPSG:4979",
             "+proj=ob_tran +o_proj=longlat +o_lon_p=0 +o_lat_p=30"]  # fmt: skip
    at = transform()
    if rng.random() < 0.3:
        at = Affine(1e-5, 0.0, -86.1, 0.0, -1e-5, 40.1)
    write_grid(path, heights(), crs=words[int(rng.integers(0, len(words)))], transform=at)


def units(path: Path, rng: Rng) -> None:
    """Say the unit of height in other words."""
    words = ["", "ft", "US survey foot", "cm", "metre ", "m\x00", "fathom", "degrees", "1", "M",
             "Feet", "m" * 500, "\x1b[31mm", "km"]  # fmt: skip
    write_grid(path, heights(), units=words[int(rng.integers(0, len(words)))].replace("\x00", ""))


def bands(path: Path, rng: Rng) -> None:
    """Write several bands, complex numbers, a mask, a colour image, overviews."""
    z = heights()
    kind = int(rng.integers(0, 5))
    base = {"height": ROWS, "width": COLUMNS, "crs": "EPSG:26973", "transform": transform()}
    if kind == 0:
        write_grid(path, z.astype(np.complex64))
        return
    if kind == 1:
        with rasterio.open(path, "w", driver="GTiff", count=4, dtype="uint8",
                           photometric="RGB", alpha="YES", **base) as raster:  # fmt: skip
            raster.write(rng.integers(0, 255, (4, ROWS, COLUMNS)).astype(np.uint8))
        return
    if kind == 2:
        with rasterio.open(path, "w", driver="GTiff", count=2, dtype="float32", **base) as raster:
            raster.write(np.stack([np.full_like(z, np.nan), z]))
        return
    write_grid(path, z, tiled=True, blockxsize=16, blockysize=16)
    with rasterio.open(path, "r+") as raster:
        if kind == 3:
            raster.write_mask(rng.random(z.shape) < float(rng.choice([0.0, 0.5, 1.0])))
        else:
            raster.build_overviews([2, 4], rasterio.enums.Resampling.average)


SPOILERS: tuple[Callable[[Path, Rng], None], ...] = (
    types, nodata, blocks_missing, flat, spikes, rough, placed, sized, crs, units, bands,
)  # fmt: skip
