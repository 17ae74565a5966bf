"""A small made-up run: two reaches, with every column of every public layer filled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS
from shapely.geometry import LineString

from reachrank.context import Context, Inputs
from reachrank.schema import LAYERS, Column, Layer
from reachrank.settings import Settings

WORKING = CRS.from_epsg(26915)  # NAD83 / UTM zone 15N


def a_value(column: Column, row: int) -> Any:
    """Return a value that the column allows, another in each row, null in the last if it may be."""
    if row == 2 and not column.required:
        return None
    if column.name in ("bank", "outside_bank", "worst_bank"):
        return ("left", "right")[row % 2]
    if column.name == "elevations":
        return f"{row},12,,-3"
    if column.kind == "str":
        return f"{column.name} {row}"
    if column.kind == "bool":
        return bool(row % 2)
    if column.kind == "int":
        return row + 1
    if column.greatest is not None:
        least = column.least or 0.0
        return least + (column.greatest - least) * (row + 1) / 7
    return (column.least or 0.0) + 1.0 / 3.0 + row * 10


def a_table(layer: Layer) -> pd.DataFrame:
    """Three rows for the layer."""
    frame = pd.DataFrame({c.name: [a_value(c, row) for row in range(3)] for c in layer})
    if layer.geometry == "None":
        return frame
    lines: list[LineString | None] = [
        LineString([(500_000 + 1 / 3, 4_600_000 + 7 * row), (500_100, 4_600_010 + 7 * row)])
        for row in range(3)
    ]
    if layer.geometry == "Any":
        lines[2] = None
    return gpd.GeoDataFrame(frame, geometry=lines, crs=WORKING)


@dataclass
class MadeRun:
    tables: dict[str, pd.DataFrame]
    ctx: Context


@pytest.fixture
def made_run() -> MadeRun:
    made_here = ("findings", "run_info")
    tables = {name: a_table(layer) for name, layer in LAYERS.items() if name not in made_here}
    reach_ids = [f"reach_id {row}" for row in range(3)]
    tables["banks"]["reach_id"] = reach_ids
    tables["profiles"]["section_id"] = tables["sections"]["section_id"]
    ctx = Context(
        inputs=Inputs(streams="streams.gpkg", dem=("dem.tif",)),
        settings=Settings(),
        dem=None,  # type: ignore[arg-type]  # writing does not look at the ground
        crs=WORKING,
        output_crs=WORKING,
        facts={"elevation_unit": "m, from the file"},
    )
    ctx.findings.add("warning", "coarse", "A bank 1.5 m high is seen by two cells.", station_m=12.5)
    ctx.findings.add(
        "info", "turned", "Line turned.", geometry=LineString([(0, 0), (1, 1)]).centroid
    )
    return MadeRun(tables, ctx)
