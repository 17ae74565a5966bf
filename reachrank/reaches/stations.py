"""The places along a stream through which its bank lines are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.channel.line import arc_length
from reachrank.columns import floats
from reachrank.reaches.top_line import Stations
from reachrank.running.mapped import mapped

Floats = NDArray[np.float64]

LEAST_HALF_WIDTH_M = 0.5
"""Toe offset where the stream has no width at all."""
STEP_FOR_BEARING_M = 0.5
"""Half of the length of channel line over which its direction is taken."""


@dataclass(frozen=True)
class PlacedSections:
    """Sections as plain arrays of shape (n,); NaN where not measured.

    ``tops_m`` and ``toes_m`` hold one array for each side; tops are NaN where the section does
    not count.
    """

    station_m: Floats
    x_m: Floats
    y_m: Floats
    bearing_rad: Floats
    tops_m: dict[str, Floats]
    toes_m: dict[str, Floats]

    @classmethod
    def of(cls, sections: pd.DataFrame, is_counted: NDArray[np.bool_]) -> PlacedSections:
        """Return the sections of a table, and which of them count."""
        sides = ("left", "right")
        tops = {side: floats(sections, f"{side}_top_offset_m") for side in sides}
        return cls(
            floats(sections, "station_m"),
            floats(sections, "x_m"),
            floats(sections, "y_m"),
            mapped(np.radians(floats(sections, "bearing_deg"))),
            {side: mapped(np.where(is_counted, top, np.nan)) for side, top in tops.items()},
            {side: floats(sections, f"{side}_toe_offset_m") for side in sides},
        )

    def at(self, rows: NDArray[np.intp]) -> PlacedSections:
        """Return some of the sections, in that order."""
        return PlacedSections(
            self.station_m[rows],
            self.x_m[rows],
            self.y_m[rows],
            self.bearing_rad[rows],
            {side: values[rows] for side, values in self.tops_m.items()},
            {side: values[rows] for side, values in self.toes_m.items()},
        )


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
    sections: PlacedSections,
    half_width_m: float,
) -> StreamPlaces:
    """Return the places of one stream.

    Parameters
    ----------
    line, length_m
        Its channel, drawn downstream, and the channel's length.
    sections
        Its sections; of several at one station only the first counts.
    half_width_m
        Offset of the toe where no section tells, NaN for unknown.

    Notes
    -----
    Vertices of the channel line that lie farther from every section than the sections are from
    each other are places too, and so are both ends of the channel, so that a stretch without
    sections keeps its shape.
    """
    station, first = np.unique(sections.station_m, return_index=True)
    inside = (station >= 0.0) & (station <= length_m)
    sections = sections.at(first[inside][::-1])
    station = sections.station_m
    spacing = float(np.median(-np.diff(station))) if len(station) > 1 else 0.0
    half_width = half_width_m if half_width_m > LEAST_HALF_WIDTH_M else LEAST_HALF_WIDTH_M

    extra = _extra_stations(station, vertex_stations(line, length_m), length_m, spacing)
    x, y, bearing = along_line(line, length_m, extra)
    merged = np.concatenate([station, extra])
    order = np.argsort(-merged, kind="stable")

    def join(of_sections: Floats, of_extra: Floats) -> Floats:
        joined: Floats = np.concatenate([of_sections, of_extra])[order]
        return joined

    tops, toes = {}, {}
    for side, measured in sections.toes_m.items():
        tops[side] = join(sections.tops_m[side], np.full(len(extra), np.nan))
        toe = np.where(np.isfinite(measured), measured, half_width)
        toes[side] = join(toe, np.full(len(extra), half_width))
    return StreamPlaces(
        merged[order],
        join(sections.x_m, x),
        join(sections.y_m, y),
        join(sections.bearing_rad, bearing),
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
    xy = shapely.get_coordinates(line)
    along = arc_length(xy)
    down = along[-1] * (1.0 - station_m / length_m)
    before, after = down - STEP_FOR_BEARING_M, down + STEP_FOR_BEARING_M
    (x0, x, x1), (y0, y, y1) = (
        np.interp([before, down, after], along, values) for values in (xy[:, 0], xy[:, 1])
    )
    return x, y, np.arctan2(x1 - x0, y1 - y0)


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
    down = arc_length(shapely.get_coordinates(line))
    stations: Floats = length_m * (1.0 - down / down[-1])
    return stations
