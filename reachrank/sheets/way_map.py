"""The small map of how to get there: streams, roads, the place, the straight way from the road."""

from __future__ import annotations

import geopandas as gpd
import shapely
from matplotlib.axes import Axes

from reachrank.sheets.ground import Frame, fit_frame
from reachrank.sheets.labels import Labels
from reachrank.sheets.map_signs import (
    ROAD,
    WATER,
    draw_lines,
    draw_scale_and_north,
    look_of,
    prepare,
)
from reachrank.sheets.measures import Measures, name
from reachrank.sheets.roads import Way
from reachrank.sheets.site import Site

_LEAST_M = 700.0


def way_frame(site: Site, ways: list[Way], width: float, height: float) -> Frame:
    """Return a frame that holds the place and the ways in."""
    parts = [site.line, *(way.line for way in ways)]
    west, south, east, north = shapely.total_bounds(parts)
    pad = 0.15 * max(east - west, north - south)
    return fit_frame((west - pad, south - pad, east + pad, north + pad), width, height, _LEAST_M)


def draw_way_map(
    axes: Axes,
    labels: Labels,
    site: Site,
    ways: list[Way],
    *,
    reaches: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame | None,
    measures: Measures,
    size: float = 6.0,
) -> None:
    """Draw the map into axes of the frame's shape."""
    frame = labels.frame
    box = shapely.box(*frame)
    prepare(axes, frame, None)
    draw_scale_and_north(axes, labels, frame, measures, size)
    here = reaches.iloc[reaches.sindex.query(box)]
    draw_lines(axes, here.geometry, colors=WATER, linewidths=0.9, zorder=2.0)
    labels.avoid(shapely.get_coordinates(line) for line in here.geometry)
    if roads is not None:
        near = roads.iloc[roads.sindex.query(box)]
        draw_lines(axes, near.geometry, colors=ROAD, linewidths=1.3, halo=1.2, zorder=3.0)
        labels.avoid(shapely.get_coordinates(line) for line in near.geometry)
    draw_lines(
        axes, [way.line for way in ways], colors=ROAD, linewidths=0.9, zorder=4.0,
        linestyles=[(0, (4, 2))],
    )  # fmt: skip
    look = look_of(site.reach.get("priority_class"))
    draw_lines(axes, [site.line], colors=look.colour, linewidths=3.0, halo=1.4, zorder=5.0)
    middle = site.middle
    axes.plot(
        middle.x, middle.y, marker="o", ms=8.5, mfc="none", mec=look.colour, mew=1.2, zorder=6.0
    )
    x, y = labels.at(middle.x, middle.y)
    labels.keep_clear((x - 6.0, y - 6.0, x + 6.0, y + 6.0))
    if roads is None:
        return
    named: set[str] = set()
    for road, text in zip(near.geometry, near["name"], strict=True):
        inside = shapely.intersection(road, box)
        if not text or text in named or inside.is_empty or len(named) >= 4:
            continue
        labels.write_along(axes, inside, name(text, 32), size, colour=ROAD)
        named.add(text)
