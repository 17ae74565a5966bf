"""Small tables as the earlier stages hand them over, built by hand; invented places."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely.geometry import LineString, box

from reachrank.context import Context, Inputs
from reachrank.settings import Settings

UTM = CRS.from_epsg(26917)
REACH_M, STEP_M = 100.0, 10.0


@dataclass(frozen=True, kw_only=True)
class Side:
    """One bank; None is missing."""

    height_m: float | None = 1.0
    angle_deg: float | None = 40.0
    is_lower_bound: bool = False
    exposure: float | None = 0.0
    distance_m: float | None = None


@dataclass(frozen=True, kw_only=True)
class Reach:
    """One reach of a straight stream that runs south; ``radius_m`` makes it a bend."""

    left: Side = Side()
    right: Side = Side()
    radius_m: float | None = None
    outside: str = "right"
    area_km2: float | None = 20.0
    fall: float = 0.005


def context(settings: Settings | None = None, *, curve: str | None = None, **more: Any) -> Context:
    return Context(
        inputs=Inputs(streams="s", dem=("d",), curve=curve),
        settings=settings or quick(),
        dem=None,  # type: ignore[arg-type]  # these stages do not look at the ground
        crs=UTM,
        output_crs=UTM,
        **more,
    )


def quick(**groups: dict[str, Any]) -> Settings:
    """Return settings without draws and without a bend lag unless asked for."""
    changed = {"priority": {"draws": 0}, "hazard": {"bend_lag_widths": 0.0}}
    for group, values in groups.items():
        changed.setdefault(group, {}).update(values)
    base = Settings()
    return dataclasses.replace(
        base,
        **{name: dataclasses.replace(getattr(base, name), **new) for name, new in changed.items()},
    )


def tables(reaches: list[Reach], *, soils: list[tuple[str | None, float, float]] = ()) -> dict:  # type: ignore[assignment]
    """Return the tables; reach k is edge k, from station 100 k to 100 (k + 1), x = 500000.

    The channel is 4 m wide between the tops. ``soils`` are (texture, from y, to y) strips.
    """
    x0, y0 = 500_000.0, 4_000_000.0
    rows: dict[str, list[dict]] = {
        n: [] for n in ("reaches", "banks", "edges", "sections", "bends")
    }
    for k, reach in enumerate(reaches):
        low, high = k * REACH_M, (k + 1) * REACH_M
        rid = f"mill-{k:03d}"
        bend_id = f"mill-b{k:03d}" if reach.radius_m else None
        down = LineString([(x0, y0 + high), (x0, y0 + low)])
        rows["edges"].append(
            {
                "edge_id": f"e{k}",
                "stream_id": "mill",
                "drainage_area_km2": reach.area_km2,
                "attribute_width_m": None,
                "geometry": down,
            }
        )
        rows["reaches"].append(
            {
                "reach_id": rid,
                "stream_id": "mill",
                "station_from_m": low,
                "station_to_m": high,
                "length_m": REACH_M,
                "drainage_area_km2": reach.area_km2,
                "slope_ratio": reach.fall,
                "top_width_m": 4.0,
                "radius_m": reach.radius_m,
                "bend_id": bend_id,
                "geometry": down,
            }
        )
        if reach.radius_m:
            rows["bends"].append(
                {
                    "bend_id": bend_id,
                    "stream_id": "mill",
                    "start_station_m": high,
                    "apex_station_m": (low + high) / 2,
                    "end_station_m": low,
                    "radius_m": reach.radius_m,
                    "outside_bank": reach.outside,
                    "geometry": down,
                }
            )
        for name, sign in (("left", 1.0), ("right", -1.0)):
            side: Side = getattr(reach, name)
            x = x0 + sign * 2.0  # running south, left is east
            rows["banks"].append(
                {
                    "bank_id": f"{rid}-{name[0].upper()}",
                    "reach_id": rid,
                    "bank": name,
                    "length_m": REACH_M,
                    "bank_height_m": side.height_m,
                    "bank_height_se_m": 0.1,
                    "bank_angle_deg": side.angle_deg,
                    "is_angle_lower_bound": side.is_lower_bound,
                    "exposure_score": side.exposure,
                    "structure_distance_m": side.distance_m,
                    "structure_id": "houses 1" if side.distance_m is not None else None,
                    "geometry": LineString([(x, y0 + high), (x, y0 + low)]),
                }
            )
        for station in np.arange(low + STEP_M / 2, high, STEP_M):
            y = y0 + station
            rows["sections"].append(
                {"section_id": f"mill-{station:07.1f}", "reach_id": rid, "stream_id": "mill",
                 "station_m": station, "bed_elevation_m": 100.0 + reach.fall * station,
                 "top_width_m": 4.0, "toe_width_m": 3.0, "quality": 1.0, "flags": "",
                 "edge_id": f"e{k}", "bend_id": bend_id,
                 "x_m": x0, "y_m": y, "bearing_deg": 180.0,
                 **{f"{side}_{at}_offset_m": out for side in ("left", "right")
                    for at, out in (("toe", 1.5), ("top", 2.0))},
                 "left_bank_height_m": reach.left.height_m,
                 "right_bank_height_m": reach.right.height_m,
                 "left_bank_angle_deg": reach.left.angle_deg,
                 "right_bank_angle_deg": reach.right.angle_deg,
                 "left_is_angle_lower_bound": reach.left.is_lower_bound,
                 "right_is_angle_lower_bound": reach.right.is_lower_bound,
                 "geometry": LineString([(x0 + 2.0, y), (x0 - 2.0, y)])}
            )  # fmt: skip
    made = {name: gpd.GeoDataFrame(_typed(part), geometry="geometry", crs=UTM)
            if part else _no_bends() for name, part in rows.items()}  # fmt: skip
    if soils:
        made["soils"] = gpd.GeoDataFrame(
            {"texture": [s[0] for s in soils], "erodibility": np.nan},
            geometry=[box(x0 - 50, y0 + s[1], x0 + 50, y0 + s[2]) for s in soils],
            crs=UTM,
        )
    return made


def _typed(rows: list[dict]) -> pd.DataFrame:
    table = pd.DataFrame(rows)
    for name in table.columns:
        if name.endswith(("_m", "_deg", "_score", "_km2", "_ratio")):
            table[name] = table[name].astype("float64")
    return table


def _no_bends() -> gpd.GeoDataFrame:
    columns = {"bend_id": object, "stream_id": object, "start_station_m": float,
               "apex_station_m": float, "end_station_m": float, "radius_m": float,
               "outside_bank": object}  # fmt: skip
    frame = pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in columns.items()})
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries([], crs=UTM))


def ranked(reaches: list[Reach], ctx: Context | None = None, **more: Any) -> dict:
    """Run hazard and priority over the reaches."""
    from reachrank.hazard import run as hazard
    from reachrank.priority import run as priority

    ctx = ctx or context()
    return priority(hazard(tables(reaches, **more), ctx), ctx)
