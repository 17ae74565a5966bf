"""The `repairs` stage: hazard of section sides in; repairs, tie-ins and lengths out."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.context import Context, Tables, with_tables
from reachrank.reaches.counting import counts
from reachrank.reaches.top_line import side_normal
from reachrank.repairs.bank_line import BankLine, join_banks
from reachrank.repairs.mouths import mouths_on_banks
from reachrank.repairs.runs import Interval, cells, failing_runs, with_holes
from reachrank.schema import MATERIALS
from reachrank.settings.repairs import RepairsSettings

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SideSections:
    """Sections of one stream and side in order down the bank; shapes (n,).

    ``hazard_score`` and ``height_m`` are NaN where the section does not count.
    """

    measure_m: Floats
    station_m: Floats
    hazard_score: Floats
    height_m: Floats
    toe_width_m: float


def run(tables: Tables, ctx: Context) -> Tables:
    """Find the lengths of bank that need work.

    Parameters
    ----------
    tables
        ``reaches`` (with ``rank`` where it is known), ``banks``, ``sections`` with a hazard for
        each side; left as they are.
    ctx
        Context of the run; ``ctx.settings.repairs`` is used, and the least quality of the reaches.

    Returns
    -------
    Tables
        With ``repairs``, ``tie_ins``, and repair_length_m on ``banks`` (the exact share that lies
        in each) and ``reaches`` (both banks together).
    """
    settings: RepairsSettings = ctx.settings.repairs
    reaches, banks = tables["reaches"].copy(), tables["banks"].copy()
    sections = tables["sections"]
    is_counted = counts(sections, ctx.settings.reaches.least_quality)
    joined = join_banks(banks, reaches)
    mouths = mouths_on_banks(reaches, joined)
    ranks = _ranks(reaches)
    rows_of = sections.reset_index(drop=True).groupby("stream_id").indices

    repairs: list[dict[str, object]] = []
    tie_ins: list[dict[str, object]] = []
    lengths: dict[tuple[str, str], float] = {}
    for (stream_id, bank), line in joined.items():
        own = rows_of.get(stream_id, np.empty(0, dtype=np.intp))
        side = _side_sections(sections.iloc[own], is_counted[own], line, bank)
        if side.measure_m.size == 0:
            continue
        measure, hazard = with_holes(side.measure_m, side.hazard_score)
        starts, ends = cells(measure, line.length_m)
        runs = failing_runs(
            hazard,
            starts,
            ends,
            start_score=settings.start_hazard_score,
            keep_score=settings.keep_hazard_score,
            gap_m=settings.gap_widths * side.toe_width_m,
            least_m=settings.least_length_m,
        )
        names = _names(stream_id, bank, runs, line, side)
        limits = _tie_in_limits(runs, line.length_m, mouths[stream_id, bank])
        for name, interval, limit in zip(names, runs, limits, strict=True):
            shares = line.shares(*interval)
            for reach_id, length in shares.items():
                lengths[reach_id, bank] = lengths.get((reach_id, bank), 0.0) + length
            row = _repair_row(
                name, bank, interval, line=line, side=side, reach_ids=list(shares), ranks=ranks
            )
            repairs.append(row)
            tie_ins += _tie_in_rows(name, interval, limit, line, settings.tie_in_m)
    keys = zip(banks["reach_id"], banks["bank"], strict=True)
    banks["repair_length_m"] = [lengths.get((str(r), str(b)), 0.0) for r, b in keys]
    total = banks.groupby("reach_id")["repair_length_m"].sum()
    reaches["repair_length_m"] = reaches["reach_id"].map(total).astype(np.float64)
    ctx.progress(1.0, "repairs found")
    return with_tables(
        tables,
        reaches=reaches,
        banks=banks,
        repairs=_repairs_table(repairs, ctx.crs),
        tie_ins=_table(tie_ins, ["repair_id", "end", "length_m"], ctx.crs),
        materials=pd.DataFrame(columns=list(MATERIALS.names)),
    )


def _side_sections(
    sections: pd.DataFrame, is_counted: NDArray[np.bool_], line: BankLine, bank: str
) -> SideSections:
    """Return the sections with their place down the bank line.

    Sections with a top are placed where the line passes it; the others between their neighbours
    by station. Where tops fold back on the inside of a bend their order down the line is kept.
    """
    in_line = sections["reach_id"].isin(line.reach_ids).to_numpy(dtype=np.bool_)
    sections, is_counted = sections[in_line], is_counted[in_line]
    order = np.argsort(-sections["station_m"].to_numpy(dtype=np.float64), kind="stable")
    sections, is_counted = sections.iloc[order], is_counted[order]
    station = _floats(sections, "station_m")
    known_station, known_measure = line.stations_m, line.borders_m
    top = _floats(sections, f"{bank}_top_offset_m")
    has_top = is_counted & np.isfinite(top)
    if has_top.any():
        nx, ny = side_normal(np.radians(_floats(sections, "bearing_deg")), bank)
        points = shapely.points(
            _floats(sections, "x_m") + nx * top, _floats(sections, "y_m") + ny * top
        )
        reach_ids = sections["reach_id"].to_numpy(dtype=object)
        placed = line.locate(reach_ids[has_top], points[has_top])
        known_station = np.concatenate([known_station, station[has_top]])
        known_measure = np.concatenate([known_measure, placed])
        down = np.argsort(-known_station, kind="stable")
        known_station = known_station[down]
        known_measure = np.maximum.accumulate(known_measure[down])
    measure = np.interp(station, known_station[::-1], known_measure[::-1])
    width = _floats(sections, "toe_width_m")
    known_width = width[np.isfinite(width)]
    return SideSections(
        measure,
        station,
        np.where(is_counted, _floats(sections, f"{bank}_hazard_score"), np.nan),
        np.where(is_counted, _floats(sections, f"{bank}_bank_height_m"), np.nan),
        float(np.median(known_width)) if known_width.size else 0.0,
    )


def _station_at(measure_m: float, line: BankLine, side: SideSections) -> float:
    """Return the station of a place down the line, even between sections and reach borders."""
    measure = np.concatenate([line.borders_m, side.measure_m])
    station = np.concatenate([line.stations_m, side.station_m])
    down = np.lexsort((-station, measure))
    return float(np.interp(measure_m, measure[down], station[down]))


def _names(
    stream_id: str, bank: str, runs: list[Interval], line: BankLine, side: SideSections
) -> list[str]:
    """Return a name for each run: stream, side, station of its lower end in whole metres.

    Two that would get the same name, on the inside of a very tight bend, are told apart by a
    letter, the upstream one first.
    """
    names: list[str] = []
    taken: dict[str, int] = {}
    for _, end in runs:
        name = f"{stream_id}-{bank[0].upper()}-{round(_station_at(end, line, side)):04d}"
        taken[name] = taken.get(name, 0) + 1
        names.append(name if taken[name] == 1 else f"{name}{chr(ord('a') + taken[name] - 1)}")
    return names


def _tie_in_limits(runs: list[Interval], length_m: float, mouths_m: list[float]) -> list[Interval]:
    """Return how far up and down a tie-in may go from each run.

    To the end of the line, to a tributary's mouth, and to the middle between two runs.
    """
    limits = []
    for i, (start, end) in enumerate(runs):
        low = 0.0 if i == 0 else (runs[i - 1][1] + start) / 2.0
        high = length_m if i == len(runs) - 1 else (end + runs[i + 1][0]) / 2.0
        low = max([low, *(m for m in mouths_m if m <= start)])
        high = min([high, *(m for m in mouths_m if m >= end)])
        limits.append((low, high))
    return limits


def _repair_row(
    name: str,
    bank: str,
    interval: Interval,
    *,
    line: BankLine,
    side: SideSections,
    reach_ids: list[str],
    ranks: dict[str, int],
) -> dict[str, object]:
    inside = (side.measure_m >= interval[0]) & (side.measure_m <= interval[1])
    heights = side.height_m[inside]
    heights = heights[np.isfinite(heights)]
    known = [ranks[reach_id] for reach_id in reach_ids if reach_id in ranks]
    return {
        "repair_id": name,
        "bank": bank,
        "reach_ids": ",".join(reach_ids),
        "rank": min(known) if known else pd.NA,
        "length_m": interval[1] - interval[0],
        "bank_height_m": float(np.median(heights)) if heights.size else np.nan,
        "bank_height_max_m": float(np.max(heights)) if heights.size else np.nan,
        "geometry": line.part(*interval),
    }


def _tie_in_rows(
    name: str, interval: Interval, limit: Interval, line: BankLine, wanted_m: float
) -> list[dict[str, object]]:
    """Return the tie-ins at the upper and the lower end; one without length has no row."""
    parts = (
        ("up", max(interval[0] - wanted_m, limit[0]), interval[0]),
        ("down", interval[1], min(interval[1] + wanted_m, limit[1])),
    )
    return [
        {"repair_id": name, "end": end, "length_m": b - a, "geometry": line.part(a, b)}
        for end, a, b in parts
        if b > a
    ]


def _ranks(reaches: pd.DataFrame) -> dict[str, int]:
    if "rank" not in reaches:
        return {}
    known = reaches[reaches["rank"].notna()]
    return {str(r): int(n) for r, n in zip(known["reach_id"], known["rank"], strict=True)}


def _repairs_table(rows: list[dict[str, object]], crs: object) -> gpd.GeoDataFrame:
    columns = ["repair_id", "bank", "reach_ids", "rank", "length_m", "bank_height_m"]
    table = _table(rows, [*columns, "bank_height_max_m"], crs)
    table["rank"] = table["rank"].astype("Int64")
    return table


def _table(rows: list[dict[str, object]], columns: list[str], crs: object) -> gpd.GeoDataFrame:
    table = pd.DataFrame(rows, columns=[*columns, "geometry"])
    for name in columns:
        if name.endswith("_m"):
            table[name] = table[name].astype(np.float64)
    return gpd.GeoDataFrame(table, geometry="geometry", crs=crs)


def _floats(table: pd.DataFrame, column: str) -> Floats:
    values: Floats = table[column].to_numpy(dtype=np.float64, na_value=np.nan)
    return values
