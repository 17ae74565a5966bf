"""Make an invented county: a small network of streams with everything a county holds beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from reachrank.errors import OutputError
from reachrank.progress import Progress, silent
from reachrank.synthetic.corridor import write_dem
from reachrank.synthetic.county_applications import applications
from reachrank.synthetic.county_cover import COVER_CELL_M, canopy_height, permit_areas, soils
from reachrank.synthetic.county_ground import CELL_M, CountyGround, HoleInData
from reachrank.synthetic.county_places import (
    addresses,
    buildings,
    parcels,
    road_layer,
    utility_lines,
    wells,
)
from reachrank.synthetic.county_readme import README
from reachrank.synthetic.county_roads import make_roads
from reachrank.synthetic.county_streams import HEIGHT_M, make_streams
from reachrank.synthetic.county_streams_drawn import stream_layer
from reachrank.synthetic.county_truth import truth_layers, works
from reachrank.synthetic.planform import Planform
from reachrank.synthetic.tell import tell
from reachrank.synthetic.truth import CorridorTruth

Array = NDArray[np.float64]

SEED = 7
EPSG = 26916
"""NAD83 / UTM zone 16N."""
CORNER_M = (496_200.0, 4_817_000.0)
"""The county's south-west corner: open water of Lake Michigan."""
ROUNDING_PER_M = 64.0
"""Elevations are multiples of 1/64 m, which packs well and is far below the noise."""
TILES = (2, 2)

SETTINGS = """\
# Which columns of the county's layers mean what.
[inputs]
stream_name_attribute = "name"
structure_class_attribute = "class"
soil_texture_attribute = "texture"
soil_erodibility_attribute = "kffact"
constraint_name_attribute = "name"
cover_meaning = "height_m"
"""


@dataclass(frozen=True)
class County:
    """The invented county, in metres from its south-west corner.

    Attributes
    ----------
    ground
        The land without noise.
    elevation_m
        float32, shape (rows, columns), row 0 in the north, NaN where there is no data.
    canopy_m
        uint8, cells of 2 m, row 0 in the north: canopy height in whole metres.
    truths
        One per stream, the main stem first, in world coordinates.
    layers
        What the county holds, by file and layer name; world coordinates.
    truth
        The truth as layers; world coordinates.
    applications
        Applications for cost-share, as typed.
    """

    ground: CountyGround
    elevation_m: NDArray[np.float32]
    canopy_m: NDArray[np.uint8]
    truths: list[CorridorTruth]
    layers: Mapping[str, Mapping[str, gpd.GeoDataFrame]]
    truth: Mapping[str, gpd.GeoDataFrame]
    applications: pd.DataFrame


def make_county(progress: Progress = silent) -> County:
    """Make the county; it is always the same."""
    sources = iter(np.random.default_rng(child) for child in np.random.SeedSequence(SEED).spawn(8))
    progress(0.0, "Drawing streams")
    streams = make_streams(np.random.default_rng(SEED))
    roads = make_roads(streams)
    holes = [_hole_on(streams[0].stations.plan, 2215.0), HoleInData(2205.0, 240.0, 38.0)]
    progress(0.05, "Raising hills")
    ground = CountyGround(streams, roads, holes, next(sources))
    progress(0.35, "Writing down the truth")
    here = [
        tell(stream.stations, ground.grounds[number], partial(ground.is_untouched, number), _stay)
        for number, stream in enumerate(streams)
    ]
    places = next(sources)
    houses = buildings(streams, here, roads, places)
    canopy = canopy_height(ground, houses, next(sources))
    progress(0.5, "Flying lidar")
    elevation = ground.elevation_model(canopy, next(sources))
    progress(0.9, "Filling drawers")
    land = parcels(roads, places)
    homes = addresses(houses, roads, land)
    plain_houses = houses[["building_id", "class", "geometry"]]
    layers: dict[str, dict[str, gpd.GeoDataFrame]] = {
        "streams": {"streams": stream_layer(streams, here, next(sources))},
        "buildings": {"buildings": plain_houses},
        "roads": {"roads": road_layer(roads)},
        "utilities": {"wells": wells(houses, places), "lines": utility_lines(roads)},
        "soils": {"soils": soils(streams, ground, next(sources))},
        "parcels": {"parcels": land},
        "addresses": {"addresses": homes},
        "constraints": {"constraints": permit_areas(here, places)},
    }
    truths = [truth.moved(*CORNER_M) for truth in here]
    typed = applications(
        _to_world(homes), truths, Transformer.from_crs(EPSG, 4326, always_xy=True), next(sources)
    )
    truth = truth_layers([stream.name for stream in streams], truths)
    truth = {name: table.set_crs(EPSG) for name, table in truth.items()}
    return County(
        ground,
        elevation,
        np.flipud(canopy.values).astype(np.uint8),
        truths,
        {
            file: {name: _to_world(table) for name, table in tables.items()}
            for file, tables in layers.items()
        },
        truth | {"works": _to_world(works(ground)), "buildings": _to_world(houses)},
        typed,
    )


def write_county(
    folder: str | Path, *, overwrite: bool = False, progress: Progress = silent
) -> list[Path]:
    """Make the invented county and write its files.

    Parameters
    ----------
    folder
        Made if it does not exist.
    overwrite
        Replace files of the county that lie there already; other files are never touched.
    progress
        Called with a fraction and a message.

    Returns
    -------
    list of Path
        The files written, in the order of the README.

    Raises
    ------
    OutputError
        If the folder holds the county already, or cannot be written.
    """
    folder = Path(folder)
    if not overwrite and (folder / "streams.gpkg").exists():
        raise OutputError(
            "The folder holds the county's files already.",
            hint="Name another folder, or allow overwriting.",
            where=str(folder),
        )
    county = make_county(progress)
    progress(0.92, "Writing files")
    try:
        (folder / "dem").mkdir(parents=True, exist_ok=True)
        written = _write_tiles(folder / "dem", county.elevation_m)
        for file, tables in county.layers.items():
            written.append(_write_layers(folder / f"{file}.gpkg", tables))
        written.append(_write_canopy(folder / "canopy.tif", county.canopy_m))
        written.append(_write_layers(folder / "truth.gpkg", county.truth))
        table = folder / "applications.csv"
        county.applications.to_csv(table, index=False, lineterminator="\n", encoding="utf-8")
        texts = {"settings.toml": SETTINGS, "README.md": README}
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        written += [table, *(folder / name for name in texts)]
    except OSError as error:
        raise OutputError(
            f"The county cannot be written: {error.strerror or error}.",
            hint="Choose a folder that can be written to.",
            where=str(folder),
        ) from error
    progress(1.0, "Done")
    return written


def _stay(x_m: Array, y_m: Array) -> tuple[Array, Array]:
    return x_m, y_m


def _hole_on(plan: Planform, at_m: float) -> HoleInData:
    k = int(np.argmin(np.abs(plan.s_m - at_m)))
    return HoleInData(float(plan.x_m[k]), float(plan.y_m[k]), 15.0)


def _to_world(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return table.set_geometry(table.geometry.translate(*CORNER_M)).set_crs(EPSG)


def _write_tiles(folder: Path, elevation_m: NDArray[np.float32]) -> list[Path]:
    rounded = np.rint(elevation_m * ROUNDING_PER_M) / np.float32(ROUNDING_PER_M)
    rows, columns = elevation_m.shape[0] // TILES[0], elevation_m.shape[1] // TILES[1]
    paths = []
    for i in range(TILES[0]):
        for j in range(TILES[1]):
            part = rounded[i * rows : (i + 1) * rows, j * columns : (j + 1) * columns]
            left = CORNER_M[0] + j * columns * CELL_M
            top = CORNER_M[1] + HEIGHT_M - i * rows * CELL_M
            path = folder / f"dem_{['north', 'south'][i]}_{['west', 'east'][j]}.tif"
            write_dem(
                path,
                part,
                Affine(CELL_M, 0.0, left, 0.0, -CELL_M, top),
                CRS.from_epsg(EPSG),
                "metre",
            )
            paths.append(path)
    return paths


def _write_canopy(path: Path, canopy_m: NDArray[np.uint8]) -> Path:
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=canopy_m.shape[0],
        width=canopy_m.shape[1],
        count=1,
        dtype="uint8",
        crs=f"EPSG:{EPSG}",
        transform=Affine(
            COVER_CELL_M, 0.0, CORNER_M[0], 0.0, -COVER_CELL_M, CORNER_M[1] + HEIGHT_M
        ),
        tiled=True,
        compress="deflate",
        predictor=2,
    ) as dataset:
        dataset.write(canopy_m, 1)
        dataset.units = ("metre",)
        dataset.set_band_description(1, "canopy height above ground")
    return path


def _write_layers(path: Path, tables: Mapping[str, gpd.GeoDataFrame]) -> Path:
    path.unlink(missing_ok=True)
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    # A fixed date of change, so that the same layers give the same file.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2025-01-01T00:00:00.000Z"})
    try:
        for name, table in tables.items():
            table.to_file(path, layer=name, driver="GPKG", engine="pyogrio", GEOMETRY_NAME="geom")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
    return path
