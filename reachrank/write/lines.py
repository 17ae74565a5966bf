"""Traced stream lines as a GeoPackage that `reachrank rank` reads like a county's own."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pyogrio

from reachrank.write.geopackage import VERSION
from reachrank.write.place import aside


def write_lines(lines: gpd.GeoDataFrame, path: str | Path, *, overwrite: bool = False) -> Path:
    """Write stream lines as the layer ``streams`` and return where the file is."""
    with aside(Path(path), overwrite=overwrite) as file:
        pyogrio.write_dataframe(
            lines,
            file.path,
            layer="streams",
            driver="GPKG",
            geometry_type="LineString",
            dataset_options={"VERSION": VERSION},
            layer_options={
                "GEOMETRY_NAME": "geom",
                "IDENTIFIER": "streams",
                "DESCRIPTION": "Stream lines traced from a DEM by flow routing, drawn downstream.",
            },
        )
    return file.landed
