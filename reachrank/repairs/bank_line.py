"""The top-of-bank line of one side of a stream, joined from the banks of its reaches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numba
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.grouped import starts_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Lines = NDArray[np.object_]
SAME_POINT_M = 1e-6
"""Ends of neighbouring banks nearer than this are one point."""


@dataclass(frozen=True, eq=False)
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
    lines: Lines
    borders_m: Floats
    stations_m: Floats

    @property
    def length_m(self) -> float:
        """Length of the joined line."""
        return float(self.borders_m[-1])

    def locate(self, place: NDArray[np.intp], x_m: Floats, y_m: Floats) -> Floats:
        """Return how far down the line points lie, each sought on the bank at its place; (k,)."""
        along: Floats = _locate(*self._points(), place, x_m, y_m)
        return self.borders_m[place] + along

    def parts(self, from_m: Floats, to_m: Floats) -> Lines:
        """Return the parts of the line between distances down it, shape (k,)."""
        coords, owner = _cut(*self._points(), self.borders_m, from_m, to_m)
        nothing = np.full(len(from_m), shapely.LineString(), dtype=object)
        lines: Lines = shapely.linestrings(coords, indices=owner, out=nothing)
        return lines

    def _points(self) -> tuple[Floats, NDArray[np.intp]]:
        """Return the points of all banks, and the first point of each, at last the end of all."""
        xy, bank = shapely.get_coordinates(self.lines, return_index=True)
        return xy, np.searchsorted(bank, np.arange(len(self.lines) + 1))

    def banks_between(self, from_m: Floats, to_m: Floats) -> tuple[Ints, Ints, Floats, Floats]:
        """Return what of each length lies on which bank, upstream first.

        Returns
        -------
        owner, bank, low_m, high_m
            Number of the length and of the bank, and where the common part begins and ends down
            the line; only those above 0 long.
        """
        first = np.maximum(np.searchsorted(self.borders_m, from_m, side="right") - 1, 0)
        stop = np.maximum(np.searchsorted(self.borders_m, to_m, side="left"), first)
        starts = starts_of(stop - first)
        owner = np.repeat(np.arange(len(from_m)), stop - first)
        bank = np.arange(owner.size) - starts[owner] + first[owner]
        low = np.maximum(self.borders_m[bank], from_m[owner])
        high = np.minimum(self.borders_m[bank + 1], to_m[owner])
        has = high > low
        return owner[has], bank[has], low[has], high[has]


def by_line(lines: Sequence[BankLine]) -> Iterator[tuple[BankLine, NDArray[np.intp]]]:
    """Yield each line once, with the places where it stands in the sequence."""
    places: dict[int, list[int]] = {}
    for place, line in enumerate(lines):
        places.setdefault(id(line), []).append(place)
    for own in places.values():
        yield lines[own[0]], np.array(own)


def cut(lines: Sequence[BankLine], from_m: Floats, to_m: Floats) -> Lines:
    """Return the parts of bank lines between distances down each, shape (k,)."""
    parts = np.empty(len(lines), dtype=object)
    for line, places in by_line(lines):
        parts[places] = line.parts(from_m[places], to_m[places])
    return parts


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _cut(xy, first, borders_m, from_m, to_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the points of the parts one after the other, and the number of each point's part.

    ``first`` is the first point of each bank, and at last the end of all.
    """
    along = np.zeros(len(xy))
    for bank in range(first.size - 1):
        for i in range(first[bank] + 1, first[bank + 1]):
            step = np.sqrt((xy[i, 0] - xy[i - 1, 0]) ** 2 + (xy[i, 1] - xy[i - 1, 1]) ** 2)
            along[i] = along[i - 1] + step
    banks = np.empty((from_m.size, 2), np.int64)
    most = 0
    for k in range(from_m.size):
        banks[k, 0] = max(np.searchsorted(borders_m, from_m[k], side="right") - 1, 0)
        banks[k, 1] = np.searchsorted(borders_m, to_m[k])
        if banks[k, 1] > banks[k, 0]:
            most += first[banks[k, 1]] - first[banks[k, 0]] + 2 * (banks[k, 1] - banks[k, 0])
    coords, owner = np.empty((most, 2)), np.empty(most, np.int64)
    count = 0
    for k in range(from_m.size):
        begin = count
        for bank in range(banks[k, 0], banks[k, 1]):
            low = max(from_m[k], borders_m[bank]) - borders_m[bank]
            high = min(to_m[k], borders_m[bank + 1]) - borders_m[bank]
            if high <= low:
                continue
            at = _point_at(xy, along, first[bank], first[bank + 1], low)
            gap = 2.0 * SAME_POINT_M
            if count > begin:
                gap = np.hypot(coords[count - 1, 0] - at[0], coords[count - 1, 1] - at[1])
            if not gap < SAME_POINT_M:
                coords[count, 0], coords[count, 1] = at
                count += 1
            for i in range(first[bank], first[bank + 1] - 1):
                if low < along[i] < high:
                    coords[count] = xy[i]
                    count += 1
            at = _point_at(xy, along, first[bank], first[bank + 1], high)
            coords[count, 0], coords[count, 1] = at
            count += 1
        owner[begin:count] = k
    return coords[:count], owner[:count]


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _locate(xy, first, bank, x_m, y_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return how far down its bank the place nearest to each point lies; the first of several."""
    found = np.zeros(x_m.size)
    for k in range(x_m.size):
        least, start = np.inf, 0.0
        for i in range(first[bank[k]], first[bank[k] + 1] - 1):
            step_x, step_y = xy[i + 1, 0] - xy[i, 0], xy[i + 1, 1] - xy[i, 1]
            to_x, to_y = x_m[k] - xy[i, 0], y_m[k] - xy[i, 1]
            square = step_x * step_x + step_y * step_y
            length = np.sqrt(square)
            share = (to_x * step_x + to_y * step_y) / square if square > 0.0 else 0.0
            if share <= 0.0:
                share, distance = 0.0, np.sqrt(to_x * to_x + to_y * to_y)
            elif share >= 1.0:
                share = 1.0
                distance = np.sqrt((x_m[k] - xy[i + 1, 0]) ** 2 + (y_m[k] - xy[i + 1, 1]) ** 2)
            else:
                distance = abs(to_x * step_y - to_y * step_x) / square * length
            if distance < least:
                least, found[k] = distance, start + share * length
            start += length
    return found


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _point_at(xy, along, first, stop, distance_m):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return x and y so far along points ``first`` to ``stop`` - 1; the last one beyond them."""
    i = first + np.searchsorted(along[first:stop], distance_m, side="right")
    if i >= stop:
        return xy[stop - 1, 0], xy[stop - 1, 1]
    share = (distance_m - along[i - 1]) / np.sqrt(
        (xy[i, 0] - xy[i - 1, 0]) ** 2 + (xy[i, 1] - xy[i - 1, 1]) ** 2
    )
    return (
        xy[i - 1, 0] + share * (xy[i, 0] - xy[i - 1, 0]),
        xy[i - 1, 1] + share * (xy[i, 1] - xy[i - 1, 1]),
    )


def join_banks(banks: pd.DataFrame, reaches: pd.DataFrame) -> dict[tuple[str, str], BankLine]:
    """Return the joined line of every stream and side, keyed by (stream_id, bank)."""
    spans = pd.DataFrame(reaches)[["reach_id", "stream_id", "station_from_m", "station_to_m"]]
    table = pd.DataFrame(banks)[["reach_id", "bank", "geometry"]].merge(spans, on="reach_id")
    table = table.sort_values("station_from_m", ascending=False, kind="stable", ignore_index=True)
    reach_id = table["reach_id"].astype(str).to_numpy(dtype=object)
    lines = np.array(table["geometry"], dtype=object)
    lengths = shapely.length(lines)
    low, high = table["station_from_m"].to_numpy(), table["station_to_m"].to_numpy()
    joined: dict[tuple[str, str], BankLine] = {}
    for (stream_id, bank), own in table.groupby(["stream_id", "bank"], sort=True).indices.items():
        joined[str(stream_id), str(bank)] = BankLine(
            reach_ids=reach_id[own].tolist(),
            lines=lines[own],
            borders_m=np.concatenate([[0.0], np.cumsum(lengths[own])]),
            stations_m=np.concatenate([high[own[:1]], low[own]]),
        )
    return joined
