"""The map of one place: the bank, what needs work, what is near, where the sections are."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes
from numpy.typing import NDArray

from reachrank.sheets.ground import Frame, fit_frame
from reachrank.sheets.labels import Labels
from reachrank.sheets.map_signs import (
    HALO,
    REPAIR,
    ROAD,
    WATER,
    draw_lines,
    draw_scale_and_north,
    look_of,
    prepare,
)
from reachrank.sheets.measures import Measures, name, word
from reachrank.sheets.paper import INK
from reachrank.sheets.roads import Way
from reachrank.sheets.site import Site

MARGIN_M = 18.0
LEAST_M = 110.0
_STRUCTURES_FROM_M = 120.0
_MOST_LABELLED = 6
LETTERS = "ABC"


def frame_of(site: Site, width: float, height: float) -> Frame:
    """Return the frame of a site's map: the length to work on, or the bank, and what is near."""
    inside = [site.line, *(row["geometry"] for row in site.tie_ins)]
    inside += [
        row["geometry"]
        for row in site.exposures
        if row["bank"] == site.side and row["bank_distance_m"] <= _STRUCTURES_FROM_M
    ][:_MOST_LABELLED]
    inside += [site.sections.geometry.iloc[k] for k in site.shown]
    box = shapely.total_bounds(inside)
    wide = (box[0] - MARGIN_M, box[1] - MARGIN_M, box[2] + MARGIN_M, box[3] + MARGIN_M)
    return fit_frame(wide, width, height, LEAST_M)


def draw_local_map(
    axes: Axes,
    labels: Labels,
    site: Site,
    picture: NDArray[np.uint8] | None,
    *,
    reaches: gpd.GeoDataFrame,
    repairs: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame | None,
    ways: list[Way],
    measures: Measures,
    size: float = 6.5,
) -> None:
    """Draw the map into axes of the frame's shape.

    Parameters
    ----------
    reaches, repairs, roads
        All of them, in the working CRS; those in the frame are drawn.
    ways
        From roads to the bank.
    size
        Of the letters, in points.
    """
    frame = labels.frame
    box = shapely.box(*frame)
    prepare(axes, frame, picture)
    draw_scale_and_north(axes, labels, frame, measures, size)
    if roads is not None:
        near = roads.iloc[roads.sindex.query(box)]
        draw_lines(axes, near.geometry, colors=ROAD, linewidths=1.6, halo=2.0, zorder=2.0)
        _name_roads(axes, labels, near, box, size)
    here = reaches.iloc[reaches.sindex.query(box)]
    draw_lines(axes, here.geometry, colors=WATER, linewidths=1.2, halo=0.8, zorder=3.0)
    _flow_arrows(axes, here, box)
    look = look_of(site.reach.get("priority_class"))
    if site.other is not None:
        draw_lines(axes, [site.other["geometry"]], colors=INK, linewidths=0.7, zorder=3.5)
    draw_lines(
        axes, [site.bank["geometry"]], colors=look.colour, linewidths=2.0, halo=1.2, zorder=4.0
    )
    others = repairs.iloc[repairs.sindex.query(box)]
    draw_lines(axes, others.geometry, colors=REPAIR, linewidths=2.6, halo=1.6, zorder=4.5)
    tie_ins = [row["geometry"] for row in site.tie_ins]
    draw_lines(
        axes, tie_ins, colors=REPAIR, linewidths=2.0, zorder=4.6, linestyles=[(0, (1.2, 0.9))]
    )
    crossing = [site.sections.geometry.iloc[k] for k in site.shown]
    draw_lines(
        axes, [_longer(line, 1.35) for line in crossing], colors=INK, linewidths=0.8, zorder=5.0
    )
    for way in ways:
        draw_lines(
            axes, [way.line], colors=ROAD, linewidths=0.9, zorder=3.2, linestyles=[(0, (4, 2))]
        )
    near_lines = [row["geometry"] for row in site.exposures]
    draw_lines(axes, near_lines, colors=INK, linewidths=0.8, zorder=5.5, linestyles=[(0, (1, 1.6))])
    labels.avoid(
        shapely.get_coordinates(line)
        for line in [site.bank["geometry"], *others.geometry, *near_lines, *crossing]
    )
    _letter_sections(axes, labels, crossing, size)
    _name_structures(axes, labels, site, box, measures, size)
    if site.repair is not None:
        at = site.middle
        labels.write(
            axes, at.x, at.y, f"work {measures.of(site.repair['length_m'], 'm')}", size,
            bold=True, colour="#8a4a05",
        )  # fmt: skip
    stream = site.reach.get("stream_name")
    line = shapely.intersection(site.reach["geometry"], box)
    if not line.is_empty:
        text = name(stream, 40) if stream else name(site.reach["stream_id"], 30)
        labels.write_along(axes, line, text, size, colour="#22577a")


def _longer(line: shapely.LineString, times: float) -> shapely.LineString:
    a, b = np.array(line.coords[0][:2]), np.array(line.coords[-1][:2])
    middle, half = (a + b) / 2.0, (b - a) / 2.0
    least = 6.0 / max(float(np.hypot(*half)), 1e-9)
    return shapely.LineString(
        [middle - half * max(times, least), middle + half * max(times, least)]
    )


def _flow_arrows(axes: Axes, reaches: gpd.GeoDataFrame, box: shapely.Polygon) -> None:
    """Draw arrows that point downstream, as the lines do."""
    step = (box.bounds[2] - box.bounds[0]) / 3.0
    for line in reaches.geometry:
        for part in shapely.get_parts(shapely.intersection(line, box)):
            if part.geom_type != "LineString" or part.length < step / 6.0:
                continue
            count = max(1, int(part.length / step))
            for k in range(count):
                middle = part.length * (k + 0.5) / count
                tail, head = (
                    part.interpolate(middle - step / 40.0),
                    part.interpolate(middle + step / 40.0),
                )
                axes.annotate(
                    "", (head.x, head.y), (tail.x, tail.y),
                    arrowprops={"arrowstyle": "-|>", "color": WATER, "lw": 0.9,
                                "mutation_scale": 7.0, "shrinkA": 0.0, "shrinkB": 0.0},
                    zorder=5.2,
                )  # fmt: skip


def _letter_sections(axes: Axes, labels: Labels, lines: list[Any], size: float) -> None:
    for letter, line in zip(LETTERS, lines, strict=False):
        end = _longer(line, 1.35).coords[0]
        labels.write(axes, end[0], end[1], letter, size, bold=True, leader=False)


def _name_structures(
    axes: Axes, labels: Labels, site: Site, box: shapely.Polygon, measures: Measures, size: float
) -> None:
    seen = []
    for row in site.exposures:
        end = shapely.Point(row["geometry"].coords[-1])
        if box.contains(end):
            seen.append((row, end))
            x, y = labels.at(end.x, end.y)
            labels.keep_clear((x - 3.0, y - 3.0, x + 3.0, y + 3.0))
            axes.plot(end.x, end.y, marker="s", ms=4.0, color=INK, mec=HALO, mew=0.6, zorder=6.0)
    told = 0
    for row, end in seen:
        if told < _MOST_LABELLED and row["bank"] == site.side:
            text = f"{word(row['structure_class'], 24)} {measures.of(row['bank_distance_m'], 'm')}"
            told += labels.write(axes, end.x, end.y, text, size)


def _name_roads(
    axes: Axes, labels: Labels, roads: gpd.GeoDataFrame, box: shapely.Polygon, size: float
) -> None:
    named: set[str] = set()
    for road, text in zip(roads.geometry, roads["name"], strict=True):
        inside = shapely.intersection(road, box)
        if not text or text in named or inside.is_empty:
            continue
        labels.avoid([shapely.get_coordinates(inside)])
        labels.write_along(axes, inside, name(text, 40), size, colour=ROAD)
        named.add(text)
