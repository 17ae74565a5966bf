"""The places along a stream through which its bank lines are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.reaches.top_line import Stations

Floats = NDArray[np.float64]

LEAST_HALF_WIDTH_M = 0.5
"""Toe offset where the stream has no width at all."""
STEP_FOR_BEARING_M = 0.5
"""Half of the length of channel line over which its direction is taken."""


@dataclass(frozen=True)
class StreamPlaces:
    """Sections of a stream, and points of the channel line where there are none, downstream.

    ``tops_m`` and ``toes_m`` hold one array for each side. ``spacing_m`` is the sections' median
    distance, 0 with fewer than two.
    """

    station_m: Floats
    x_m: Floats
    y_m: Floats
    bearing_rad: Floats
    tops_m: dict[str, Floats]
    toes_m: dict[str, Floats]
    spacing_m: float

    def side(self, side: str) -> Stations:
        """Return the places with the offsets of one side."""
        return Stations(
            self.station_m,
            self.x_m,
            self.y_m,
            self.bearing_rad,
            self.tops_m[side],
            self.toes_m[side],
        )


def stream_places(
    line: shapely.LineString,
    length_m: float,
    sections: pd.DataFrame,
    is_counted: NDArray[np.bool_],
    half_width_m: float,
) -> StreamPlaces:
    """Return the places of one stream.

    Parameters
    ----------
    line, length_m
        Its channel, drawn downstream, and the channel's length.
    sections, is_counted
        Its sections, and which of them count; only those give tops.
    half_width_m
        Offset of the toe where no section tells, NaN for unknown.

    Notes
    -----
    Vertices of the channel line that lie farther from every section than the sections are from
    each other are places too, and so are both ends of the channel, so that a stretch without
    sections keeps its shape.
    """
    sections = sections.assign(counted=is_counted)
    sections = sections.drop_duplicates("station_m").sort_values("station_m", ascending=False)
    station = _floats(sections, "station_m")
    inside = (station >= 0.0) & (station <= length_m)
    sections, station = sections[inside], station[inside]
    spacing = float(np.median(-np.diff(station))) if len(station) > 1 else 0.0
    half_width = half_width_m if half_width_m > LEAST_HALF_WIDTH_M else LEAST_HALF_WIDTH_M

    extra = _extra_stations(station, vertex_stations(line, length_m), length_m, spacing)
    x, y, bearing = along_line(line, length_m, extra)
    merged = np.concatenate([station, extra])
    order = np.argsort(-merged, kind="stable")

    def join(of_sections: Floats, of_extra: Floats) -> Floats:
        joined: Floats = np.concatenate([of_sections, of_extra])[order]
        return joined

    counted = sections["counted"].to_numpy(dtype=np.bool_)
    tops, toes = {}, {}
    for side in ("left", "right"):
        top = np.where(counted, _floats(sections, f"{side}_top_offset_m"), np.nan)
        tops[side] = join(top, np.full(len(extra), np.nan))
        toe = _floats(sections, f"{side}_toe_offset_m")
        toe = np.where(np.isfinite(toe), toe, half_width)
        toes[side] = join(toe, np.full(len(extra), half_width))
    return StreamPlaces(
        merged[order],
        join(_floats(sections, "x_m"), x),
        join(_floats(sections, "y_m"), y),
        join(np.radians(_floats(sections, "bearing_deg")), bearing),
        tops,
        toes,
        spacing,
    )


def along_line(
    line: shapely.LineString, length_m: float, station_m: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return x, y and downstream bearing (radians, clockwise from north) at stations of a line.

    The line is drawn downstream, its stations run upstream from its end; a line whose length is
    not quite ``length_m`` is taken in proportion.

    Examples
    --------
    >>> import numpy as np, shapely
    >>> x, y, bearing = along_line(shapely.LineString([(0, 0), (10, 0)]), 10.0, np.array([4.0]))
    >>> float(x[0]), float(y[0]), float(np.degrees(bearing[0]))  # 4 m up from the end, going east
    (6.0, 0.0, 90.0)
    """
    down = line.length * (1.0 - station_m / length_m)
    here = shapely.get_coordinates(shapely.line_interpolate_point(line, down))
    before = np.maximum(down - STEP_FOR_BEARING_M, 0.0)
    after = np.minimum(down + STEP_FOR_BEARING_M, line.length)
    step = shapely.get_coordinates(shapely.line_interpolate_point(line, after))
    step = step - shapely.get_coordinates(shapely.line_interpolate_point(line, before))
    return here[:, 0], here[:, 1], np.arctan2(step[:, 0], step[:, 1])


def _extra_stations(
    section_m: Floats, vertex_m: Floats, length_m: float, spacing_m: float
) -> Floats:
    """Return stations of vertices away from all sections, and of ends without a section."""
    wanted = np.unique(np.concatenate([[0.0, length_m], vertex_m]))
    wanted = wanted[(wanted >= 0.0) & (wanted <= length_m)]
    if section_m.size == 0:
        return wanted
    rising = section_m[::-1]
    right = np.clip(np.searchsorted(rising, wanted), 0, len(rising) - 1)
    left = np.clip(right - 1, 0, None)
    distance = np.minimum(np.abs(rising[right] - wanted), np.abs(wanted - rising[left]))
    is_end = (wanted == 0.0) | (wanted == length_m)
    extra: Floats = wanted[(distance > spacing_m) | (is_end & (distance > 0.0))]
    return extra


def vertex_stations(line: shapely.LineString, length_m: float) -> Floats:
    """Return the station of every vertex of a line drawn downstream, falling from its length."""
    steps = np.hypot(*np.diff(shapely.get_coordinates(line), axis=0).T)
    down = np.concatenate([[0.0], np.cumsum(steps)])
    stations: Floats = length_m * (1.0 - down / down[-1])
    return stations


def _floats(table: pd.DataFrame, column: str) -> Floats:
    values: Floats = table[column].to_numpy(dtype=np.float64, na_value=np.nan)
    return values
