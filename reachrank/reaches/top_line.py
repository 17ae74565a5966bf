"""Lines as points that know their station, and the top-of-bank line of one side of a stream.

A top-of-bank line runs the whole length of the stream, so that the banks of neighbouring reaches,
cut from it at the border's station, meet in one point and their lengths add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from reachrank.grouped import starts_of
from reachrank.reaches.loops import without_loops
from reachrank.whole_numbers import nearest

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Stations:
    """Places along one stream in downstream order, stations strictly falling; shapes (n,).

    ``bearing_rad`` is the downstream direction, clockwise from north. ``top_m`` is the offset of
    the top from the middle, NaN where it is not measured; ``toe_m`` that of the toe, never NaN.
    """

    station_m: Floats
    x_m: Floats
    y_m: Floats
    bearing_rad: Floats
    top_m: Floats
    toe_m: Floats


@dataclass(frozen=True)
class StationedLine:
    """A line in downstream order: stations strictly falling, and coordinates; shapes (n,)."""

    station_m: Floats
    x_m: Floats
    y_m: Floats

    def parts(self, from_m: Floats, to_m: Floats) -> NDArray[np.object_]:
        """Return the lines from upper stations to lower ones, drawn downstream.

        Parameters
        ----------
        from_m, to_m
            Lower and upper station of each part, shape (k,).

        Returns
        -------
        ndarray of LineString, shape (k,)
            Between two points of the line the station runs evenly.
        """
        rising, count = self.station_m[::-1], len(self.station_m)
        low, high = np.searchsorted(rising, from_m, "right"), np.searchsorted(rising, to_m, "left")
        starts = starts_of(np.maximum(high - low, 0) + 2)
        owner = np.repeat(np.arange(len(from_m)), np.diff(starts))
        # points of the line between the ends of its part; the ends themselves are put in after
        point = (count - 1 - high)[owner] + np.arange(starts[-1]) - starts[owner]
        point = np.clip(point, 0, count - 1)
        coords = np.column_stack([self.x_m[point], self.y_m[point]])
        for station_m, place in ((to_m, starts[:-1]), (from_m, starts[1:] - 1)):
            coords[place, 0] = np.interp(station_m, rising, self.x_m[::-1])
            coords[place, 1] = np.interp(station_m, rising, self.y_m[::-1])
        lines: NDArray[np.object_] = shapely.linestrings(coords, indices=owner)
        return lines


def side_normal(bearing_rad: Floats, side: str) -> tuple[Floats, Floats]:
    """Return the unit vector (x, y) towards a bank, for a channel that runs along the bearing.

    Examples
    --------
    >>> import numpy as np
    >>> x, y = side_normal(np.array([0.0]), "left")  # going north, left is west
    >>> float(x[0]), float(y[0])
    (-1.0, 0.0)
    """
    sign = 1.0 if side == "left" else -1.0
    return -sign * np.cos(bearing_rad), sign * np.sin(bearing_rad)


def filled_offsets(places: Stations, gap_m: float, median_sections: int) -> Floats:
    """Return an offset for every place: measured, bridged, or along the toe; shape (n,).

    A running median first takes single false tops out of the measured ones. Places within half
    of ``gap_m`` of a measured top lie on the straight line between their neighbours; places
    farther away take the toe's offset.
    """
    known = np.isfinite(places.top_m)
    if not known.any():
        return places.toe_m.copy()
    offset = np.where(known, places.top_m, np.nan)
    if median_sections > 1:
        offset[known] = median_filter(offset[known], size=median_sections, mode="nearest")
    distance = _distance_to(places.station_m, places.station_m[known])
    far = ~known & (distance > gap_m / 2.0)
    offset[far] = places.toe_m[far]
    fixed = known | far
    rising = places.station_m[fixed][::-1]
    return np.interp(places.station_m, rising, offset[fixed][::-1])


def median_count(length_m: float, spacing_m: float) -> int:
    """Return over how many sections a running median of a length goes: odd, 3 or more; 0 m: 1.

    Examples
    --------
    >>> median_count(45.0, 5.0), median_count(6.0, 5.0), median_count(0.0, 5.0)
    (9, 3, 1)
    """
    if length_m == 0.0:
        return 1
    if not length_m > 0.0 or spacing_m <= 0.0:
        return 3
    half = nearest(length_m / spacing_m) // 2
    return max(3, 2 * half + 1)


def top_line(places: Stations, offset_m: Floats, side: str) -> StationedLine:
    """Return the line through the tops, without the points where it would run backwards.

    On the inside of a bend that is tighter than the offset, the tops of neighbouring sections
    change their order: the loop is cut out at its crossing. Of what still runs backwards a point
    is kept only if it lies ahead of the last kept one, ahead meaning downstream along the mean of
    both directions; the first point is always kept.
    """
    normal_x, normal_y = side_normal(places.bearing_rad, side)
    points = np.column_stack([places.x_m + normal_x * offset_m, places.y_m + normal_y * offset_m])
    ahead = np.column_stack([np.sin(places.bearing_rad), np.cos(places.bearing_rad)])
    points, keep = without_loops(points, ahead)
    kept = _onwards(points, ahead, np.flatnonzero(keep))
    if len(kept) == 1:
        kept = np.array([0, len(points) - 1])
    return StationedLine(places.station_m[kept], points[kept, 0], points[kept, 1])


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _onwards(points, ahead, candidates):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return those candidates, the first one included, that lie ahead of the last one taken."""
    taken = candidates.copy()
    count, last = 1, candidates[0]
    for i in candidates[1:]:
        step_x, step_y = points[i, 0] - points[last, 0], points[i, 1] - points[last, 1]
        if step_x * (ahead[i, 0] + ahead[last, 0]) + step_y * (ahead[i, 1] + ahead[last, 1]) > 0.0:
            taken[count] = last = i
            count += 1
    return taken[:count]


def _distance_to(station_m: Floats, known_m: Floats) -> Floats:
    """Return the distance of each station to the nearest known one (both falling)."""
    rising = known_m[::-1]
    right = np.clip(np.searchsorted(rising, station_m), 0, len(rising) - 1)
    left = np.clip(right - 1, 0, None)
    return np.minimum(np.abs(rising[right] - station_m), np.abs(station_m - rising[left]))
