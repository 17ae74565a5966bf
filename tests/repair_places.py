"""One repair on a straight invented stream, as the stages before would hand it over."""

from __future__ import annotations

import dataclasses

import geopandas as gpd
import numpy as np
from shapely.geometry import LineString, Point, Polygon
from stream_tables import CRS, context, straight, stream

from reachrank import reaches, repairs
from reachrank.context import Context, Inputs, Tables
from reachrank.settings import Settings


def place(
    *,
    height_m: float = 1.5,
    other_height_m: float = 0.9,
    angle_deg: float = 30.0,
    is_bound: bool = False,
    area_km2: float = 1.0,
    slope: float = 0.005,
    width_m: float = 4.0,
    cover: float = 0.0,
    house_m: float | None = 12.0,
    texture: str | None = "loam",
    wetland: bool = False,
    radius_m: float | None = None,
    hazard: float = 60.0,
    length_m: float = 20.0,
    curve: str | None = "md-piedmont",
    settings: Settings | None = None,
) -> tuple[Tables, Context]:
    """Return the finished tables: the left bank fails over ``length_m`` from station 100 up.

    The stream runs 300 m due east; its left top is the line y = half the width, and a house stands
    north of it. Elsewhere both banks are 0.9 m high and sound. ``radius_m`` puts a bend to the
    right there, so that the left bank is the outside one.
    """
    half = width_m / 2.0
    bends = [("B1", 100.0 + length_m, 100.0, radius_m, "left")] if radius_m else []
    tables = stream(
        straight(300.0), toe=half - 0.5, left_top=half, right_top=half, slope=slope, bends=bends
    )
    tables["edges"]["drainage_area_km2"] = area_km2
    ctx = dataclasses.replace(
        context(), inputs=Inputs(streams="s", dem=("d",), structures=("h",), curve=curve),
        settings=settings or Settings(),
    )  # fmt: skip
    tables = reaches.run(tables, ctx)
    sections = tables["sections"].copy()
    at = sections["station_m"].between(100.0, 100.0 + length_m)
    for side in ("left", "right"):
        sections[f"{side}_bank_height_m"] = 0.9
        sections[f"{side}_bank_angle_deg"] = 40.0
        sections[f"{side}_is_angle_lower_bound"] = False
        sections[f"{side}_hazard_score"] = 10.0
    sections.loc[at, "left_bank_height_m"] = height_m
    sections.loc[at, "right_bank_height_m"] = other_height_m
    sections.loc[at, "left_bank_angle_deg"] = angle_deg
    sections.loc[at, "left_is_angle_lower_bound"] = is_bound
    sections.loc[at, "left_hazard_score"] = hazard
    banks = tables["banks"].assign(cover_frac=cover)
    made: Tables = {**tables, "sections": sections, "banks": banks}
    middle = 300.0 - (100.0 + length_m / 2.0)
    houses = [] if house_m is None else [Point(middle, half + house_m)]
    made["structures"] = gpd.GeoDataFrame(
        {
            "structure_id": ["houses:1"] * len(houses),
            "structure_class": "house",
            "source": "houses",
        },
        geometry=houses,
        crs=CRS,
    )
    everywhere = Polygon([(-50, -50), (350, -50), (350, 50), (-50, 50)])
    if texture:
        made["soils"] = gpd.GeoDataFrame(
            {"texture": [texture], "erodibility": [np.nan]}, geometry=[everywhere], crs=CRS
        )
    if wetland:
        made["constraints"] = gpd.GeoDataFrame(
            {"constraint_name": ["Sedge Pool wetland"]},
            geometry=[LineString([(middle, half + 1.0), (middle, half + 9.0)]).buffer(1.0)],
            crs=CRS,
        )
    return repairs.run(made, ctx), ctx


def only_repair(**given: object) -> dict[str, object]:
    """Return the one repair of a place, as a row."""
    table = place(**given)[0]["repairs"]  # type: ignore[arg-type]
    assert len(table) == 1
    return dict(table.iloc[0])
