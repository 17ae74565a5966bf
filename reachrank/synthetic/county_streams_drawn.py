"""The stream layer of the invented county: a little off, coarse in places, partly upstream."""

from __future__ import annotations

from itertools import pairwise

import geopandas as gpd
import numpy as np
from shapely.geometry import LineString, Point
from shapely.ops import substring

from reachrank.synthetic.county_streams import Stream
from reachrank.synthetic.drawn import drawn_line
from reachrank.synthetic.truth import CorridorTruth

COARSE = {"Brindlewater Creek": (560.0, 900.0), "Ashbarrow Run": (150.0, 330.0)}
"""Where vertices are far apart: distances downstream."""
UPSTREAM = ("Pennythorn Branch", "Brindlewater Creek 2")
"""Lines drawn upstream, by name or name and piece."""
UNNAMED = ("Goosequill Hollow",)
SHORT_BY_M = {"Ashbarrow Run": 1.6}
"""Lines that end a little short of the stream they flow into."""


def stream_layer(
    streams: list[Stream], truths: list[CorridorTruth], rng: np.random.Generator
) -> gpd.GeoDataFrame:
    """Draw all streams; pieces end where streams meet."""
    whole = [_draw(stream, truth, rng) for stream, truth in zip(streams, truths, strict=True)]
    cuts: dict[int, list[float]] = {number: [] for number in range(len(streams))}
    for number, stream in enumerate(streams):
        if stream.joins < 0:
            continue
        into = whole[stream.joins]
        mouth = Point(truths[number].x_m[-1], truths[number].y_m[-1])
        along = into.project(mouth)
        cuts[stream.joins].append(along)
        end = into.interpolate(along)
        points = list(whole[number].coords)[:-1]
        line = LineString([*points, (end.x, end.y)])
        short = SHORT_BY_M.get(stream.name, 0.0)
        whole[number] = substring(line, 0.0, line.length - short) if short else line
    rows = []
    for number, stream in enumerate(streams):
        line = whole[number]
        marks = [0.0, *sorted(cuts[number]), line.length]
        for piece, (first, last) in enumerate(pairwise(marks), start=1):
            part = substring(line, first, last)
            if stream.name in UPSTREAM or f"{stream.name} {piece}" in UPSTREAM:
                part = part.reverse()
            name = None if stream.name in UNNAMED else stream.name
            rows.append({"name": name, "feature": "stream", "geometry": part})
    # The office that drew them numbered them in no order in particular.
    order = rng.permutation(len(rows))
    table = gpd.GeoDataFrame([rows[k] for k in order], geometry="geometry")
    table.insert(0, "line_id", range(4101, 4101 + len(table)))
    return table


def _draw(stream: Stream, truth: CorridorTruth, rng: np.random.Generator) -> LineString:
    (line,) = drawn_line(
        truth.x_m,
        truth.y_m,
        truth.heading_rad,
        truth.curvature_per_m,
        rng,
        greatest_m=1.6 * stream.spec.toe_width_m,
        scale_m=25.0,
        step_m=(4.0, 12.0),
    )
    if stream.name in COARSE:
        first, last = COARSE[stream.name]
        middle = truth.line
        kept = []
        for k, xy in enumerate(line.coords):
            at = middle.project(Point(xy))
            if not first < at < last or k % 3 == 0:
                kept.append(xy)
        line = LineString(kept)
    return line
