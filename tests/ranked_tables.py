"""A made ranked file of any number of reaches: wavy streams in rows of ten, every layer filled.

The reaches are not measured from a DEM; their figures are drawn at random and put in order by the
project's own rule, so that the page gets what a real run would give it, at any size.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from reachrank.context import Context, Inputs
from reachrank.page import make_page
from reachrank.priority.rule import competition_rank, priority_class
from reachrank.schema import LAYERS, PUBLIC_LAYERS
from reachrank.settings import Settings
from reachrank.write.conform import conform
from reachrank.write.geopackage import write_layers
from reachrank.write.run_info import run_info

WORKING = CRS.from_epsg(26916)
REACH_M = 100.0
POINTS = 11
BY_STREAM = 50
STREAMS_ABREAST = 10
SHARED = (
    "reach_id", "length_m", "hazard_score", "exposure_score", "priority_score", "rank", "rank_low",
    "rank_high", "top_share", "confidence_frac", "reason", "repair_length_m",
    "structure_distance_m", "structure_id",
)  # fmt: skip
HOSTILE_NAMES = (
    "<img src=x onerror=window.hacked=1>",
    "</script><script>window.hacked=1</script>",
    '=HYPERLINK("x","y")',
    "{{ 7 * 7 }}",
)
"""Each would do harm if it were taken for markup, for a script or for a formula."""


def ranked_tables(
    n: int, *, seed: int = 1, names: tuple[str, ...] = (), detailed: int = 300
) -> dict[str, pd.DataFrame]:
    """Return the public layers of ``n`` reaches.

    Streams run west to east side by side, `BY_STREAM` reaches each, and are called ``names``
    first, then "Made Creek 5". Sections and profiles are there for the first ``detailed`` reaches.
    """
    rng = np.random.default_rng(seed)
    stream, place = np.divmod(np.arange(n), BY_STREAM)
    reach_ids = np.array([f"S{s + 1:04d}-R{p + 1:04d}" for s, p in zip(stream, place, strict=True)])
    lines = reach_lines(stream, place)
    hazard = np.round(100.0 * rng.beta(2.0, 3.0, n), 3)
    exposure = np.round(np.where(rng.random(n) < 0.4, 100.0 * rng.random(n), 0.0), 3)
    score = hazard * (0.5 + 0.5 * exposure / 100.0)
    rank = competition_rank(score)
    side = np.where(rng.random(n) < 0.5, "left", "right")
    height = np.round(0.8 + 4.0 * rng.random(n), 2)
    repair = np.where(hazard > 60.0, 20.0 + 80.0 * rng.random(n), 0.0)
    spread = 1 + (0.03 * n * rng.random(n)).astype(int)
    words = [names[s] if s < len(names) else f"Made Creek {s + 1}" for s in stream]
    reasons = [
        f"Outside of a bend on the {bank} bank, {tall:.1f} m high and steep; house "
        f"{5 + int(10 * tall)} m from the edge."
        for bank, tall in zip(side, height, strict=True)
    ]
    ranks = np.asarray(rank, dtype=np.int64)
    shared = {
        "length_m": REACH_M,
        "hazard_score": hazard,
        "exposure_score": exposure,
        "priority_score": score,
        "rank": ranks,
        "rank_low": np.maximum(1, ranks - spread),
        "rank_high": np.minimum(n, ranks + spread),
        "top_share": np.round(1.0 / ranks, 3),
        "confidence_frac": np.round(0.5 + 0.5 * rng.random(n), 2),
        "repair_length_m": repair,
        "reason": reasons,
        "structure_distance_m": 5.0 + np.floor(10.0 * height),
        "structure_id": "buildings:1",
    }
    reaches = gpd.GeoDataFrame(
        {
            "reach_id": reach_ids,
            "stream_id": [f"S{s + 1:04d}" for s in stream],
            "stream_name": words,
            "edge_id": [f"S{s + 1:04d}-00" for s in stream],
            "station_from_m": place * REACH_M,
            "station_to_m": (place + 1) * REACH_M,
            "worst_bank": side,
            "left_bank_height_m": height,
            "right_bank_height_m": np.round(height * 0.8, 2),
            "left_bank_angle_deg": 55.0,
            "right_bank_angle_deg": 30.0,
            "priority_class": priority_class(score, Settings().priority),
            **shared,
        },
        geometry=lines,
        crs=WORKING,
    )
    tables = {
        "reaches": reaches,
        "banks": _banks(reaches),
        "repairs": _repairs(reaches),
        "exposures": _exposures(reaches),
        "findings": _findings(reaches),
        **_sections(reaches, ranks <= detailed),
    }
    tables["factors"] = _factors(tables["banks"])
    tables["materials"] = _materials(tables["repairs"])
    ctx = Context(
        inputs=Inputs(streams="streams.gpkg", dem=("dem.tif",)),
        settings=Settings(),
        dem=None,  # type: ignore[arg-type]  # writing does not look at the ground
        crs=WORKING,
        output_crs=WORKING,
        facts={"units": "Coordinates in metres.", "input.streams": "streams.gpkg, sha256 00"},
    )
    tables["run_info"] = run_info(ctx, stage="write")
    for name in PUBLIC_LAYERS:
        layer = LAYERS[name]
        if name not in tables:
            empty = pd.DataFrame({column.name: [] for column in layer})
            tables[name] = (
                empty if layer.geometry == "None"
                else gpd.GeoDataFrame(empty, geometry=[], crs=WORKING)
            )  # fmt: skip
    return {name: conform(tables[name], LAYERS[name], whole=True) for name in PUBLIC_LAYERS}


def reach_lines(stream: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Return wavy lines, drawn downstream: westwards, from the upper end of each reach."""
    along = (place[:, None] + 1) * REACH_M - np.linspace(0.0, REACH_M, POINTS)[None, :]
    row, column = np.divmod(stream[:, None], STREAMS_ABREAST)
    x = 480_000.0 + column * 6_000.0 + along
    y = 4_600_000.0 + row * 1_500.0 + 40.0 * np.sin(along / 60.0 + stream[:, None])
    return shapely.linestrings(np.stack([x, y], axis=-1))


def write_ranked_file(path: Path, tables: dict[str, pd.DataFrame]) -> Path:
    """Write the tables as a ranked GeoPackage."""
    write_layers(path, tables)
    return path


def save_page(tables: dict[str, pd.DataFrame], path: Path, **more: Any) -> Path:
    """Make the page of the tables and write it."""
    page = make_page(tables, source_name="ranked.gpkg", made="1 May 2026, 09:00", **more)
    path.write_text(page.html, encoding="utf-8")
    return path


def _banks(reaches: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    parts = []
    for side, letter, offset in (("left", "L", -8.0), ("right", "R", 8.0)):
        part = reaches[[*SHARED]].copy()
        part["bank_id"] = part["reach_id"] + f"-{letter}"
        part["bank"] = side
        part["bank_height_m"] = reaches[f"{side}_bank_height_m"]
        part["bank_height_se_m"] = 0.1
        part["bank_angle_deg"] = reaches[f"{side}_bank_angle_deg"]
        part["is_angle_lower_bound"] = side == "left"
        moved = shapely.transform(
            reaches.geometry.to_numpy(), lambda xy, by=offset: xy + np.array([0.0, by])
        )
        parts.append(gpd.GeoDataFrame(part, geometry=moved, crs=WORKING))
    banks = pd.concat(parts, ignore_index=True).sort_values("bank_id", ignore_index=True)
    banks["rank"] = competition_rank(banks["priority_score"])
    return gpd.GeoDataFrame(banks, geometry="geometry", crs=WORKING)


def _repairs(reaches: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    some = reaches[reaches["repair_length_m"] > 0].reset_index(drop=True)
    by_hand = some["left_bank_height_m"] < 1.8
    return gpd.GeoDataFrame(
        {
            "repair_id": some["reach_id"] + "-W",
            "bank": some["worst_bank"],
            "reach_ids": some["reach_id"],
            "rank": some["rank"],
            "length_m": some["repair_length_m"],
            "bank_height_m": some["left_bank_height_m"],
            "bank_height_max_m": some["left_bank_height_m"] + 0.2,
            "path": np.where(by_hand, "hand_built", "design_first"),
            "path_reasons": "The bank is 1.20 m high, below the 1.80 m for work by hand.",
            "cost_low_usd": 1000.0,
            "cost_high_usd": 2500.0,
            "sediment_low_t_yr_screening": 2.0,
            "sediment_mid_t_yr_screening": 3.0,
            "sediment_high_t_yr_screening": 4.0,
        },
        geometry=some.geometry.to_numpy(),
        crs=WORKING,
    )


def _materials(repairs: gpd.GeoDataFrame) -> pd.DataFrame:
    by_hand = repairs.loc[repairs["path"] == "hand_built", "repair_id"].to_numpy()
    parts = [
        pd.DataFrame({"repair_id": by_hand, "item": item, "unit": unit, "purchase_low": low,
                      "purchase_high": high, "cost_low_usd": 100.0, "cost_high_usd": 250.0,
                      "computed_low": low, "computed_high": high, "source": "made"})
        for item, unit, low, high in (("live stakes", "stake", 120.0, 240.0),
                                      ("coir roll", "m", 30.48, 30.48))
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _exposures(reaches: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    some = reaches.head(len(reaches) // 2).reset_index(drop=True)
    starts = shapely.get_coordinates(shapely.get_point(some.geometry.to_numpy(), 5))
    ends = starts + np.array([0.0, 30.0])
    return gpd.GeoDataFrame(
        {
            "exposure_id": "E-" + some["reach_id"],
            "structure_id": "buildings:1",
            "structure_class": "house",
            "source": "buildings",
            "bank_distance_m": 30.0,
            "bank": some["worst_bank"],
            "bank_id": some["reach_id"] + some["worst_bank"].map({"left": "-L", "right": "-R"}),
            "reach_id": some["reach_id"],
            "reached_soonest_yr": 40.0,
            "reached_middle_yr": 200.0,
            "reached_latest_yr": 200.0,
        },
        geometry=shapely.linestrings(np.stack([starts, ends], axis=1)),
        crs=WORKING,
    )


def _sections(reaches: gpd.GeoDataFrame, wanted: np.ndarray) -> dict[str, pd.DataFrame]:
    """Sections every 20 m of the wanted reaches: flat land, two banks, a level bed."""
    some = reaches[wanted]
    offsets = np.arange(-20.0, 20.5, 0.5)
    rows, elevations, ends = [], [], []
    for reach in some.itertuples():
        tall = reach.left_bank_height_m
        for k in range(5):
            station = reach.station_from_m + 10.0 + 20.0 * k
            middle = shapely.get_coordinates(reach.geometry.interpolate(REACH_M - 10.0 - 20.0 * k))
            rows.append((f"{reach.stream_id}-{station:09.2f}", reach.reach_id, reach.stream_id,
                         station, tall, *middle[0]))  # fmt: skip
            cm = np.interp(offsets, [-8.0, -5.0, 5.0, 8.0], [tall, 0.0, 0.0, 0.8 * tall]) * 100
            elevations.append(",".join(str(round(value)) for value in cm))
            ends.append(shapely.LineString(middle + np.array([[0.0, -8.0], [0.0, 8.0]])))
    frame = pd.DataFrame(
        rows, columns=["section_id", "reach_id", "stream_id", "station_m", "tall", "x_m", "y_m"]
    )
    for side, part in (("left", 1.0), ("right", 0.8)):
        frame[f"{side}_toe_offset_m"] = 5.0
        frame[f"{side}_top_offset_m"] = 8.0
        frame[f"{side}_bank_height_m"] = frame["tall"] * part
    sections = gpd.GeoDataFrame(
        frame.drop(columns="tall").assign(quality=1.0, flags="", edge_id="e", bearing_deg=270.0),
        geometry=ends,
        crs=WORKING,
    )
    profiles = pd.DataFrame(
        {"section_id": frame["section_id"], "offset_from_m": -20.0, "step_m": 0.5,
         "elevations": elevations}
    )  # fmt: skip
    return {"sections": sections, "profiles": profiles}


def _factors(banks: gpd.GeoDataFrame) -> pd.DataFrame:
    parts = [
        pd.DataFrame({"bank_id": banks["bank_id"], "factor": factor, "value": value, "unit": unit,
                      "score": 0.5, "weight": weight, "contribution": 50.0 * weight,
                      "source": "made", "state": state})
        for factor, value, unit, weight, state in (
            ("bank_height_absolute", 2.0, "m", 0.5, "measured"),
            ("bank_angle", 50.0, "degrees", 0.3, "lower_bound"),
            ("cover", np.nan, "0-1", 0.2, "missing"),
        )
    ]  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _findings(reaches: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    at = shapely.get_point(reaches.geometry.to_numpy()[:1], 0)
    return gpd.GeoDataFrame(
        {"severity": ["warning", "info"], "code": ["coarse", "turned"],
         "text": ["The channel is 3.0 m wide and four cells across.", "The line was turned."],
         "source_layer": "streams", "source_id": "0"},
        geometry=[at[0], None],
        crs=WORKING,
    )  # fmt: skip
