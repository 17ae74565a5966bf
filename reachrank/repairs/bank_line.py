"""The top-of-bank line of one side of a stream, joined from the banks of its reaches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

Floats = NDArray[np.float64]
SAME_POINT_M = 1e-6
"""Ends of neighbouring banks nearer than this are one point."""


@dataclass(frozen=True)
class BankLine:
    """Banks of one side of a stream in downstream order.

    Attributes
    ----------
    reach_ids
        Their reaches, upstream first, n.
    lines
        Their top-of-bank lines, drawn downstream, n.
    borders_m
        Distance down the joined line of the first bank's start and of every bank's end; (n + 1,).
    stations_m
        Stations of the same places, falling; (n + 1,).
    """

    reach_ids: list[str]
    lines: list[shapely.LineString]
    borders_m: Floats
    stations_m: Floats

    @property
    def length_m(self) -> float:
        """Length of the joined line."""
        return float(self.borders_m[-1])

    def locate(self, reach_ids: NDArray[np.object_], points: NDArray[np.object_]) -> Floats:
        """Return how far down the line points lie, each sought on the bank of its reach; (k,)."""
        place = pd.Index(self.reach_ids).get_indexer(reach_ids)
        lines = np.array(self.lines, dtype=object)[place]
        measure: Floats = self.borders_m[place] + shapely.line_locate_point(lines, points)
        return measure

    def part(self, from_m: float, to_m: float) -> shapely.LineString:
        """Return the part of the line between two distances down it."""
        coords: list[tuple[float, float]] = []
        first = max(int(np.searchsorted(self.borders_m, from_m, side="right")) - 1, 0)
        last = int(np.searchsorted(self.borders_m, to_m, side="left"))
        for i, line in enumerate(self.lines[first:last], start=first):
            low = max(from_m, self.borders_m[i]) - self.borders_m[i]
            high = min(to_m, self.borders_m[i + 1]) - self.borders_m[i]
            if high <= low:
                continue
            piece = substring(line, low, high)
            own = [(x, y) for x, y, *_ in piece.coords]
            if coords and np.hypot(*np.subtract(coords[-1], own[0])) < SAME_POINT_M:
                own = own[1:]
            coords += own
        return shapely.LineString(coords)

    def shares(self, from_m: float, to_m: float) -> dict[str, float]:
        """Return how much of a length lies in each reach, upstream first; only those above 0."""
        overlap = np.minimum(self.borders_m[1:], to_m) - np.maximum(self.borders_m[:-1], from_m)
        return {
            name: float(length)
            for name, length in zip(self.reach_ids, overlap, strict=True)
            if length > 0.0
        }


def join_banks(banks: pd.DataFrame, reaches: pd.DataFrame) -> dict[tuple[str, str], BankLine]:
    """Return the joined line of every stream and side, keyed by (stream_id, bank)."""
    spans = pd.DataFrame(reaches)[["reach_id", "stream_id", "station_from_m", "station_to_m"]]
    table = pd.DataFrame(banks)[["reach_id", "bank", "geometry"]].merge(spans, on="reach_id")
    table = table.sort_values("station_from_m", ascending=False, kind="stable")
    joined: dict[tuple[str, str], BankLine] = {}
    for (stream_id, bank), group in table.groupby(["stream_id", "bank"], sort=True):
        lines = list(group["geometry"])
        lengths = np.array([line.length for line in lines])
        joined[str(stream_id), str(bank)] = BankLine(
            reach_ids=[str(name) for name in group["reach_id"]],
            lines=lines,
            borders_m=np.concatenate([[0.0], np.cumsum(lengths)]),
            stations_m=np.concatenate([[group["station_to_m"].iloc[0]], group["station_from_m"]]),
        )
    return joined
