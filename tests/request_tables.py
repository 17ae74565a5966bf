"""A small ranked file for requests, built by hand: one straight stream, invented."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely.geometry import LineString, Point

from reachrank.schema import LAYERS
from reachrank.units import to_us
from reachrank.write.conform import conform
from reachrank.write.geopackage import write_layers

UTM = CRS.from_epsg(26916)
X0, Y0 = 500_000.0, 4_800_000.0
HALF_M, REACH_M = 4.0, 100.0


@dataclass(frozen=True, kw_only=True)
class Bank:
    """One reach's bank with a failing middle; ``repair_m`` 0 has none."""

    reach: int
    side: str
    score: float
    repair_m: float = 40.0
    path: str | None = "hand_built"
    low_usd: float | None = 2000.0
    high_usd: float | None = 4000.0
    tons: float | None = 5.0
    spread: int = 0
    confidence: float = 0.8
    structure_m: float | None = None


COUNTY = (
    Bank(reach=0, side="left", score=70.0, structure_m=6.0),
    Bank(reach=1, side="left", score=60.0, path="design_first", low_usd=20000, high_usd=30000),
    Bank(reach=2, side="right", score=50.0, tons=9.0),
    Bank(reach=3, side="right", score=40.0, path="leave_alone", low_usd=None, high_usd=None),
    Bank(reach=4, side="left", score=36.0, spread=4),
    Bank(reach=5, side="left", score=20.0),
    Bank(reach=6, side="right", score=45.0, confidence=0.2),
    Bank(reach=7, side="left", score=55.0, path=None, low_usd=None, high_usd=None),
)
REACHES = 8


def ranked_tables(banks: tuple[Bank, ...] = COUNTY, reaches: int = REACHES) -> dict:
    """Return layers of a stream that runs south along x = 500000; the left bank is east."""
    known = {(b.reach, b.side): b for b in banks}
    rows: dict[str, list[dict]] = {n: [] for n in ("reaches", "banks", "repairs", "exposures")}
    for k in range(reaches):
        low, high = k * REACH_M, (k + 1) * REACH_M
        reach_id = f"S0001-R{k:04d}"
        rows["reaches"].append({
            "reach_id": reach_id, "stream_id": "S0001", "stream_name": "Thistle Run",
            "edge_id": "E0", "station_from_m": low, "station_to_m": high, "length_m": REACH_M,
            "geometry": LineString([(X0, Y0 + high), (X0, Y0 + low)]),
        })  # fmt: skip
        for side, sign in (("left", 1.0), ("right", -1.0)):
            bank = known.get((k, side), Bank(reach=k, side=side, score=5.0, repair_m=0.0))
            rows["banks"].append(_bank(bank, reach_id, X0 + sign * HALF_M, low, high))
            if bank.repair_m:
                rows["repairs"].append(_repair(bank, reach_id, X0 + sign * HALF_M, low))
            if bank.structure_m is not None:
                start = (X0 + sign * HALF_M, Y0 + low + REACH_M / 2)
                end = (start[0] + sign * bank.structure_m, start[1])
                rows["exposures"].append({
                    "exposure_id": f"b:1@{reach_id}", "structure_id": "b:1",
                    "structure_class": "house", "source": "b", "bank": side,
                    "bank_distance_m": bank.structure_m, "bank_id": f"{reach_id}-{side[0].upper()}",
                    "reach_id": reach_id, "geometry": LineString([start, end]),
                })  # fmt: skip
    tables = {
        name: gpd.GeoDataFrame(
            pd.DataFrame(part, columns=[*LAYERS[name].names, "geometry"]), crs=UTM
        )
        for name, part in rows.items()
    }
    banks_table = tables["banks"]
    rank = banks_table["priority_score"].rank(method="min", ascending=False).astype(int)
    spread = banks_table.pop("sections_used").astype(int)
    banks_table["rank"] = rank
    banks_table["rank_low"] = (rank - spread).clip(lower=1)
    banks_table["rank_high"] = rank + spread
    return tables


def write_ranked_file(path: Path, *, us: bool = False, crs: CRS = UTM, **more: object) -> Path:
    """Write them as a ranked file."""
    tables = ranked_tables(**more)  # type: ignore[arg-type]
    info = {
        "written_units": "us: feet" if us else "metric",
        "crs.working": UTM.to_json(),
        "settings": "{}",
    }
    tables["run_info"] = pd.DataFrame(info.items(), columns=["key", "value"])
    made = {}
    for name, table in tables.items():
        whole = conform(_typed(table, name), LAYERS[name], whole=True)
        whole = whole.to_crs(crs) if isinstance(whole, gpd.GeoDataFrame) else whole
        made[name] = to_us(whole) if us else whole
    write_layers(path, made, us=us)
    return path


def place(reach: float, side: str, away_m: float = 10.0) -> Point:
    """Return a place on the land behind a bank, at a reach's middle."""
    sign = 1.0 if side == "left" else -1.0
    return Point(X0 + sign * (HALF_M + away_m), Y0 + (reach + 0.5) * REACH_M)


def in_degrees(point: Point) -> tuple[float, float]:
    """Return longitude and latitude of a place."""
    there = gpd.GeoSeries([point], crs=UTM).to_crs("EPSG:4326").iloc[0]
    return there.x, there.y


def _bank(bank: Bank, reach_id: str, x: float, low: float, high: float) -> dict:
    return {
        "bank_id": f"{reach_id}-{bank.side[0].upper()}", "reach_id": reach_id, "bank": bank.side,
        "length_m": REACH_M, "bank_height_m": 1.5, "bank_angle_deg": 50.0,
        "is_angle_lower_bound": False, "priority_score": bank.score, "hazard_score": bank.score,
        "confidence_frac": bank.confidence, "sections_used": bank.spread,
        "repair_length_m": bank.repair_m, "reason": "High and steep, 1.5 m.",
        "geometry": LineString([(x, Y0 + high), (x, Y0 + low)]),
    }  # fmt: skip


def _repair(bank: Bank, reach_id: str, x: float, low: float) -> dict:
    middle = Y0 + low + REACH_M / 2
    half = bank.repair_m / 2
    mass = bank.tons
    return {
        "repair_id": f"S0001-{bank.side[0].upper()}-{int(low):04d}", "bank": bank.side,
        "reach_ids": reach_id, "rank": 1, "length_m": bank.repair_m, "bank_height_m": 1.5,
        "bank_height_max_m": 1.8, "path": bank.path, "path_reasons": "It is 1.5 m high.",
        "cost_low_usd": bank.low_usd, "cost_high_usd": bank.high_usd,
        "sediment_low_t_yr_screening": mass and mass / 2, "sediment_mid_t_yr_screening": mass,
        "sediment_high_t_yr_screening": mass and mass * 2,
        "geometry": LineString([(x, middle + half), (x, middle - half)]),
    }  # fmt: skip


def _typed(table: pd.DataFrame, name: str) -> pd.DataFrame:
    out = table.copy()
    for column in LAYERS[name]:
        if column.kind == "float" and column.name in out:
            out[column.name] = pd.to_numeric(out[column.name]).astype("float64")
        elif column.name in out and out[column.name].isna().all():
            out[column.name] = pd.Series(None, index=out.index, dtype=object)
    return out.replace({np.nan: None}) if name == "run_info" else out
