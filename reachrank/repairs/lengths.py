"""Failing lengths of bank: hazard of section sides in, places along the top of the bank out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.context import Context, Table
from reachrank.reaches.counting import counts
from reachrank.reaches.top_line import side_normal
from reachrank.repairs.bank_line import BankLine, join_banks
from reachrank.repairs.mouths import mouths_on_banks
from reachrank.repairs.runs import Interval, cells, failing_runs, with_holes

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SideSections:
    """Sections of one stream and side in order down the bank; shapes (n,).

    ``hazard_score`` and ``height_m`` are NaN where the section does not count; ``row`` is its
    place in the table of sections.
    """

    row: NDArray[np.intp]
    measure_m: Floats
    station_m: Floats
    hazard_score: Floats
    height_m: Floats
    toe_width_m: float


@dataclass(frozen=True, kw_only=True)
class FailingLength:
    """One failing length of bank.

    Attributes
    ----------
    repair_id, stream_id, bank
        Its name, and where it is.
    interval, limit
        From and to, metres down the joined bank line; how far tie-ins may go.
    line
        The joined bank line.
    shares
        Length that lies in each reach, upstream first.
    station_from_m, station_to_m
        Stations of its lower and upper end.
    rows
        Places of its counting sections in the table of sections.
    """

    repair_id: str
    stream_id: str
    bank: str
    interval: Interval
    limit: Interval
    line: BankLine
    shares: dict[str, float]
    station_from_m: float
    station_to_m: float
    rows: NDArray[np.intp]

    @property
    def length_m(self) -> float:
        """Length along the top of the bank."""
        return self.interval[1] - self.interval[0]

    def geometry(self) -> shapely.LineString:
        """Return the length itself, drawn downstream."""
        return self.line.part(*self.interval)

    def tie_in(self, end: str, wanted_m: float) -> Interval:
        """Return where the tie-in at the end ``up`` or ``down`` lies; empty where none fits."""
        start, stop = self.interval
        if end == "up":
            return max(start - wanted_m, self.limit[0]), start
        return stop, min(stop + wanted_m, self.limit[1])


def find_lengths(tables: Mapping[str, Table], ctx: Context) -> list[FailingLength]:
    """Return the failing lengths of every stream and side, by stream, side and place."""
    settings = ctx.settings.repairs
    reaches, banks, sections = tables["reaches"], tables["banks"], tables["sections"]
    is_counted = counts(sections, ctx.settings.reaches.least_quality)
    joined = join_banks(banks, reaches)
    mouths = mouths_on_banks(reaches, joined)
    rows_of = sections.reset_index(drop=True).groupby("stream_id").indices

    lengths: list[FailingLength] = []
    for (stream_id, bank), line in joined.items():
        own = rows_of.get(stream_id, np.empty(0, dtype=np.intp))
        side = _side_sections(sections.iloc[own], is_counted[own], own, line, bank)
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
            inside = (side.measure_m >= interval[0]) & (side.measure_m <= interval[1])
            lengths.append(
                FailingLength(
                    repair_id=name,
                    stream_id=stream_id,
                    bank=bank,
                    interval=interval,
                    limit=limit,
                    line=line,
                    shares=line.shares(*interval),
                    station_from_m=_station_at(interval[1], line, side),
                    station_to_m=_station_at(interval[0], line, side),
                    rows=side.row[inside & np.isfinite(side.height_m)],
                )
            )
    return lengths


def _side_sections(
    sections: pd.DataFrame,
    is_counted: NDArray[np.bool_],
    row: NDArray[np.intp],
    line: BankLine,
    bank: str,
) -> SideSections:
    """Return the sections with their place down the bank line.

    Sections with a top are placed where the line passes it; the others between their neighbours
    by station. Where tops fold back on the inside of a bend their order down the line is kept.
    """
    in_line = sections["reach_id"].isin(line.reach_ids).to_numpy(dtype=np.bool_)
    sections, is_counted, row = sections[in_line], is_counted[in_line], row[in_line]
    order = np.argsort(-sections["station_m"].to_numpy(dtype=np.float64), kind="stable")
    sections, is_counted, row = sections.iloc[order], is_counted[order], row[order]
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
        row,
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


def _floats(table: pd.DataFrame, column: str) -> Floats:
    values: Floats = table[column].to_numpy(dtype=np.float64, na_value=np.nan)
    return values
