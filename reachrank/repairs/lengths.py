"""Failing lengths of bank: hazard of section sides in, places along the top of the bank out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reachrank.columns import floats
from reachrank.context import Context, Table
from reachrank.reaches.counting import counts
from reachrank.reaches.stations import PlacedSections
from reachrank.reaches.top_line import side_normal
from reachrank.repairs.bank_line import BankLine, join_banks
from reachrank.repairs.mouths import mouths_on_banks
from reachrank.repairs.runs import Interval, cells, failing_runs, with_holes
from reachrank.running.mapped import let_go, mapped

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class SectionColumns:
    """What is looked at of all sections; shapes (n,), NaN where a section does not count.

    ``hazard_score`` and ``height_m`` hold one array for each side.
    """

    reach_id: NDArray[np.object_]
    placed: PlacedSections
    hazard_score: Mapping[str, Floats]
    height_m: Mapping[str, Floats]
    toe_width_m: Floats

    @classmethod
    def of(cls, sections: pd.DataFrame, is_counted: NDArray[np.bool_]) -> SectionColumns:
        """Return the columns of a table, and which of its sections count."""

        def counting(name: str) -> dict[str, Floats]:
            values = {side: floats(sections, f"{side}_{name}") for side in ("left", "right")}
            return {side: mapped(np.where(is_counted, own, np.nan)) for side, own in values.items()}

        return cls(
            reach_id=sections["reach_id"].to_numpy(dtype=object),
            placed=PlacedSections.of(sections, is_counted),
            hazard_score=counting("hazard_score"),
            height_m=counting("bank_height_m"),
            toe_width_m=floats(sections, "toe_width_m"),
        )


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

    def stations_at(self, measure_m: Floats, line: BankLine) -> Floats:
        """Return the stations of places down the line, even between sections and borders."""
        measure = np.concatenate([line.borders_m, self.measure_m])
        station = np.concatenate([line.stations_m, self.station_m])
        down = np.lexsort((-station, measure))
        found: Floats = np.interp(measure_m, measure[down], station[down])
        return found

    def rows_between(self, from_m: Floats, to_m: Floats) -> list[NDArray[np.int32]]:
        """Return, for each length down the line, the sections in it that have a height."""
        has = np.isfinite(self.height_m)
        row, measure = self.row[has].astype(np.int32), self.measure_m[has]
        first = np.searchsorted(measure, from_m, side="left")
        stop = np.searchsorted(measure, to_m, side="right")
        return [row[a:b] for a, b in zip(first, stop, strict=True)]


@dataclass(frozen=True, kw_only=True, slots=True)
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
    rows: NDArray[np.int32]

    @property
    def length_m(self) -> float:
        """Length along the top of the bank."""
        return self.interval[1] - self.interval[0]

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
    columns = SectionColumns.of(sections, counts(sections, ctx.settings.reaches.least_quality))
    joined = join_banks(banks, reaches)
    mouths = mouths_on_banks(reaches, joined)
    rows_of = sections[["stream_id"]].reset_index(drop=True).groupby("stream_id").indices
    let_go()

    lengths: list[FailingLength] = []
    for (stream_id, bank), line in joined.items():
        own = rows_of.get(stream_id, np.empty(0, dtype=np.intp))
        side = _side_sections(columns, own, line, bank)
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
        low, high = np.array(runs, dtype=np.float64).reshape(-1, 2).T
        lower, upper = side.stations_at(high, line), side.stations_at(low, line)
        limits = _tie_in_limits(runs, line.length_m, mouths[stream_id, bank])
        lengths += [
            FailingLength(
                repair_id=name,
                stream_id=stream_id,
                bank=bank,
                interval=interval,
                limit=limit,
                line=line,
                shares=shares,
                station_from_m=float(from_m),
                station_to_m=float(to_m),
                rows=rows,
            )
            for name, interval, limit, shares, from_m, to_m, rows in zip(
                _names(stream_id, bank, lower),
                runs,
                limits,
                _shares(line, low, high),
                lower,
                upper,
                side.rows_between(low, high),
                strict=True,
            )
        ]
    return lengths


def _side_sections(
    columns: SectionColumns, row: NDArray[np.intp], line: BankLine, bank: str
) -> SideSections:
    """Return sections of a stream, ``row``, with their place down the bank line.

    Sections with a top are placed where the line passes it; the others between their neighbours
    by station. Where tops fold back on the inside of a bend their order down the line is kept.
    """
    reach = pd.Index(line.reach_ids).get_indexer(columns.reach_id[row])
    row, reach = row[reach >= 0], reach[reach >= 0]
    order = np.argsort(-columns.placed.station_m[row], kind="stable")
    row, reach = row[order], reach[order]
    placed = columns.placed.at(row)
    station, top = placed.station_m, placed.tops_m[bank]
    known_station, known_measure = line.stations_m, line.borders_m
    has_top = np.isfinite(top)
    if has_top.any():
        nx, ny = side_normal(placed.bearing_rad, bank)
        x, y = placed.x_m + nx * top, placed.y_m + ny * top
        placed_m = line.locate(reach[has_top], x[has_top], y[has_top])
        known_station = np.concatenate([known_station, station[has_top]])
        known_measure = np.concatenate([known_measure, placed_m])
        down = np.argsort(-known_station, kind="stable")
        known_station = known_station[down]
        known_measure = np.maximum.accumulate(known_measure[down])
    measure = np.interp(station, known_station[::-1], known_measure[::-1])
    width = columns.toe_width_m[row]
    known_width = width[np.isfinite(width)]
    return SideSections(
        row,
        measure,
        station,
        columns.hazard_score[bank][row],
        columns.height_m[bank][row],
        float(np.median(known_width)) if known_width.size else 0.0,
    )


def _shares(line: BankLine, from_m: Floats, to_m: Floats) -> list[dict[str, float]]:
    """Return how much of each length lies in each reach, upstream first; only those above 0."""
    shares: list[dict[str, float]] = [{} for _ in from_m]
    for owner, bank, low, high in zip(*line.banks_between(from_m, to_m), strict=True):
        shares[owner][line.reach_ids[bank]] = float(high - low)
    return shares


def _names(stream_id: str, bank: str, lower_station_m: Floats) -> list[str]:
    """Return a name for each run: stream, side, station of its lower end in whole metres.

    Two that would get the same name, on the inside of a very tight bend, are told apart by a
    letter, the upstream one first.
    """
    names: list[str] = []
    taken: dict[str, int] = {}
    for station in lower_station_m.tolist():
        name = f"{stream_id}-{bank[0].upper()}-{round(station):04d}"
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
