"""A small sound input of every kind, to be spoiled: two streams and what lies beside them."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray

CRS = "EPSG:26973"  # NAD83 / Indiana East, metres
WEST, NORTH, CELL = 150_000.0, 500_000.0, 1.0
ROWS, COLUMNS = 150, 240
RELIEF_M = 12.0
"""More than the sound ground rises anywhere."""


def course(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far south of the north edge the main channel lies, metres."""
    return 75.0 + 14.0 * np.sin(2.0 * np.pi * x / 90.0)


def heights() -> NDArray[np.float32]:
    """Return the ground: a plain falling east, a winding channel 2 m deep, a side channel."""
    x = (np.arange(COLUMNS) + 0.5) * CELL
    y = (np.arange(ROWS) + 0.5) * CELL
    x, y = np.meshgrid(x, y)
    steep = np.hypot(1.0, 14.0 * 2.0 * np.pi / 90.0 * np.cos(2.0 * np.pi * x / 90.0))
    away = np.abs(y - course(x)) / steep
    ground = 200.0 + 0.01 * (COLUMNS - x) + 0.01 * np.abs(y - 75.0)
    bed = 2.0 * np.clip((5.0 - away) / 2.0, 0.0, 1.0)
    side = np.abs(x - 120.0 - 0.2 * (y - 75.0))
    side_bed = np.where(y < course(x), 1.2 * np.clip((3.0 - side) / 1.5, 0.0, 1.0), 0.0)
    noise = np.random.default_rng(4).normal(0.0, 0.05, x.shape)
    return (ground - np.maximum(bed, side_bed) + noise).astype(np.float32)


def transform() -> Affine:
    """Return the sound grid's place."""
    return Affine(CELL, 0.0, WEST, 0.0, -CELL, NORTH)


def lines() -> gpd.GeoDataFrame:
    """Return three lines that meet in one point: main stream above and below, and a side stream."""
    x = np.linspace(8.0, COLUMNS - 8.0, 60)
    main = np.column_stack([WEST + x, NORTH - course(x)])
    fork = 30
    side_y = np.linspace(12.0, NORTH - main[fork, 1], 8)
    side = np.column_stack([WEST + 120.0 + 0.2 * (side_y - 75.0), NORTH - side_y])
    side[-1] = main[fork]
    return gpd.GeoDataFrame(
        {"name": ["Alder Run", "Alder Run", "Tansy Branch"], "km2": [3.0, 4.5, 1.0]},
        geometry=[shapely.LineString(c) for c in (main[: fork + 1], main[fork:], side)],
        crs=CRS,
    )


def houses() -> gpd.GeoDataFrame:
    """Return four buildings near the channel."""
    x = np.array([40.0, 95.0, 150.0, 200.0])
    y = course(x) + np.array([14.0, -20.0, 12.0, -35.0])
    shapes = [
        shapely.box(WEST + a, NORTH - b - 8.0, WEST + a + 10.0, NORTH - b)
        for a, b in zip(x, y, strict=True)
    ]
    return gpd.GeoDataFrame({"kind": ["house", "barn", "house", "shed"]}, geometry=shapes, crs=CRS)


def soils() -> gpd.GeoDataFrame:
    """Return two soil areas side by side."""
    middle = WEST + 110.0
    shapes = [
        shapely.box(WEST - 10, NORTH - 160, middle, NORTH + 10),
        shapely.box(middle, NORTH - 160, WEST + 260, NORTH + 10),
    ]
    return gpd.GeoDataFrame(
        {"texture": ["silt loam", "clay"], "kffact": [0.43, 0.2]}, geometry=shapes, crs=CRS
    )


def write_grid(path: Path, array: NDArray[np.generic], **profile: object) -> Path:
    """Write one band of cells; the profile's words win over the sound ones."""
    units, scales = profile.pop("units", "metre"), profile.pop("scales", None)
    settled: dict[str, object] = {
        "driver": "GTiff", "height": array.shape[0], "width": array.shape[1], "count": 1,
        "dtype": array.dtype.name, "crs": CRS, "transform": transform(), **profile,
    }  # fmt: skip
    with rasterio.open(path, "w", **settled) as raster:
        raster.write(array, 1)
        if units:
            raster.units = (units,)
        if scales is not None:
            raster.scales = (scales,)
    return path


@dataclass(frozen=True)
class Scenario:
    """Where the files lie; ``argv`` ranks them."""

    folder: Path

    def __getitem__(self, name: str) -> Path:
        return self.folder / name

    def argv(self, out: Path, *more: str, streams: str = "", dem: str = "") -> list[str]:
        """Return the command that ranks the plain three inputs."""
        return [
            "rank", streams or str(self["streams.gpkg"]), dem or str(self["dem.tif"]),
            "--structures", str(self["houses.gpkg"]), "--out", str(out), "--overwrite",
            "--progress", "none", *more,
        ]  # fmt: skip

    def copy(self, folder: Path) -> Scenario:
        """Return the same files somewhere else."""
        shutil.copytree(self.folder, folder, dirs_exist_ok=True)
        return Scenario(folder)


def make(folder: Path) -> Scenario:
    """Write the sound inputs, each vector layer and the ground in several formats."""
    folder.mkdir(parents=True, exist_ok=True)
    for ending in ("gpkg", "shp", "geojson", "fgb", "mif", "gdb"):
        lines().to_file(folder / f"streams.{ending}")
    lines().to_crs("EPSG:4326").to_file(folder / "streams.kml", driver="KML")
    houses().to_file(folder / "houses.gpkg", layer="buildings")
    soils().to_file(folder / "soils.gpkg")
    areas = soils().rename(columns={"texture": "name"})[["name", "geometry"]].iloc[:1]
    areas.to_file(folder / "wetland.gpkg")
    z = heights()
    write_grid(folder / "dem.tif", z, tiled=True, blockxsize=64, blockysize=64, compress="deflate")
    write_grid(folder / "strips.tif", z, nodata=-9999.0)
    write_grid(folder / "lzw.tif", np.round(z * 100).astype(np.int32), compress="lzw", scales=0.01)
    write_grid(folder / "dem.asc", np.round(z, 2), driver="AAIGrid", units="", nodata=-9999.0)
    write_grid(folder / "dem.img", z, driver="HFA", units="")
    write_grid(folder / "dem.bil", z, driver="EHdr", units="", nodata=-9999.0)
    (folder / "dem.vrt").write_text(
        f'<VRTDataset rasterXSize="{COLUMNS}" rasterYSize="{ROWS}"><SRS>{CRS}</SRS><GeoTransform>'
        f"{WEST}, {CELL}, 0, {NORTH}, 0, {-CELL}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename '
        'relativeToVRT="1">dem.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource>'
        "</VRTRasterBand></VRTDataset>",
        encoding="utf-8",
    )
    canopy = np.where(np.arange(COLUMNS) < 120, 8, 0) * np.ones((ROWS, 1))
    write_grid(folder / "cover.tif", canopy.astype(np.uint8), units="")
    area = np.full(z.shape, 4_000_000.0, np.float32)
    write_grid(folder / "area.tif", area, units="")
    (folder / "settings.toml").write_text(
        "[reaches]\ntarget_length_m = 60.0\n[sections]\nspacing_m = 6.0\n", encoding="utf-8"
    )
    return Scenario(folder)
