"""The first pages: all places on one map, what went in, and the list of places."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely
from matplotlib.axes import Axes

from reachrank.page.looks import LOOKS
from reachrank.sheets.ground import fit_frame, wide_relief
from reachrank.sheets.labels import Labels
from reachrank.sheets.letters import width_pt, wrap
from reachrank.sheets.map_signs import (
    REPAIR,
    ROAD,
    draw_lines,
    draw_scale_and_north,
    look_of,
    prepare,
)
from reachrank.sheets.measures import is_missing, word
from reachrank.sheets.paper import INK, LEADING, QUIET_INK, Sheet
from reachrank.sheets.place_list import draw_list, list_height, list_pages, rows_that_fit
from reachrank.sheets.site import Site
from reachrank.sheets.site_page import Shared, draw_foot

_LEAST_ROWS = 4
_LINE_WIDTH = 0.42
"""Widths of the classes on paper over those on a screen."""


def front_pages(
    shared: Shared, sites: Sequence[Site], *, title: str, subtitle: str,
    went_in: Sequence[tuple[str, str]], counts: dict[str, int],
) -> list[Sheet]:  # fmt: skip
    """Return the pages before those of the places: the map of all ranked reaches, and the list.

    The list begins on the first page where there is room.

    Parameters
    ----------
    shared
        What all pages share.
    sites
        The places that get a sheet, in order; each has its rank as a sign on the map.
    title, subtitle
        Heading of the document.
    went_in
        Names and texts of what the ranking was made from.
    counts
        Number of reaches of each class.
    """
    sheet = Sheet(shared.paper)
    paper = shared.paper
    y = paper.margin - 4.0
    y = sheet.paragraph(paper.left, y, paper.room, title, 18.0, bold=True)
    y = sheet.paragraph(paper.left, y + 1.0, paper.room, subtitle, 8.4, colour=QUIET_INK) + 5.0
    foot = draw_foot(sheet, shared, "Overview")
    half = (paper.room - 16.0) / 2.0
    below = max(_legend_height(), _went_in_height(went_in, half)) + 14.0
    room = foot - y - below
    box = _box_of(shared)
    height = min(_shape_of(box) * paper.room, room)
    fits = rows_that_fit(shared, sites, room - height)
    if fits < min(len(sites), _LEAST_ROWS):
        fits = 0
    if fits in (0, len(sites)):  # what is left over goes to the map
        taken = list_height(shared, sites) if fits else 0.0
        height = min(room - taken, 1.15 * height)
    axes = sheet.axes(paper.left, y, paper.room, height)
    frame = fit_frame(box, paper.room, height, 300.0)
    _draw_map(axes, Labels(frame, paper.room, height), shared, sites)
    _legend(sheet, paper.left, y + height + 8.0, half, counts)
    _went_in(sheet, paper.left + half + 16.0, y + height + 8.0, half, went_in)
    if fits:
        draw_list(sheet, shared, sites[:fits], 1, y + height + 2.0 + below)
    return [sheet, *list_pages(shared, sites, fits)]


def _box_of(shared: Shared) -> tuple[float, float, float, float]:
    west, south, east, north = shared.reaches.total_bounds
    pad = 0.06 * max(east - west, north - south)
    return west - pad, south - pad, east + pad, north + pad


def _shape_of(box: tuple[float, float, float, float]) -> float:
    """Return height over width, within what looks well on a page."""
    return float(np.clip((box[3] - box[1]) / max(box[2] - box[0], 1.0), 0.45, 1.3))


def _draw_map(axes: Axes, labels: Labels, shared: Shared, sites: Sequence[Site]) -> None:
    frame = labels.frame
    picture = None
    if shared.ground is not None:
        picture = wide_relief(shared.ground, frame, labels.width)
    prepare(axes, frame, picture)
    draw_scale_and_north(axes, labels, frame, shared.measures, 7.0)
    if shared.roads is not None:
        draw_lines(axes, shared.roads.geometry, colors=ROAD, linewidths=0.7, halo=0.8, zorder=2.0)
    reaches = shared.reaches
    looks = reaches["priority_class"].map(look_of)
    for k, look in enumerate([LOOKS[-1], *LOOKS[:-1]]):
        lines = reaches.geometry[[of is look for of in looks]]
        width = max(0.7, look.width_px * _LINE_WIDTH)
        draw_lines(
            axes, lines, colors=look.colour, linewidths=width, halo=0.9, zorder=3.0 + 0.2 * k
        )
    draw_lines(axes, shared.repairs.geometry, colors=REPAIR, linewidths=1.1, zorder=5.0)
    labels.avoid((shapely.get_coordinates(line) for line in reaches.geometry), step_pt=5.0)
    for site in sites:
        text = "–" if is_missing(site.reach["rank"]) else f"{int(site.reach['rank'])}"
        look = look_of(site.reach.get("priority_class"))
        _sign(axes, labels, site, text, look.colour, look.ink)
    _stream_names(axes, labels, shared)


def _sign(
    axes: Axes, labels: Labels, site: Site, text: str, colour: str, ink: str, size: float = 7.0
) -> None:
    """Draw a rank in a box beside its place, with a line to it."""
    at = site.middle
    width = width_pt(text, size, bold=True) + 6.0
    box = labels.find(at.x, at.y, width, size + 5.0)
    px, py = labels.at(at.x, at.y)
    if box is None:  # no room left: on the place itself
        box = (px - width / 2.0, py - 6.0, px + width / 2.0, py + 6.0)
    middle = (box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0
    w, h = labels.width, labels.height
    axes.plot(
        [px / w, middle[0] / w], [py / h, middle[1] / h], color=INK, lw=0.6,
        transform=axes.transAxes, zorder=7.0,
    )  # fmt: skip
    axes.text(
        middle[0] / w, middle[1] / h, text, fontsize=size, fontweight="bold", color=ink,
        ha="center", va="center_baseline", transform=axes.transAxes, zorder=8.0,
        bbox={"boxstyle": "round,pad=0.22", "fc": colour, "ec": "white", "lw": 0.7},
    )  # fmt: skip


def _stream_names(axes: Axes, labels: Labels, shared: Shared, most: int = 12) -> None:
    named = shared.reaches[shared.reaches["stream_name"].notna()]
    for text, part in sorted(
        named.groupby("stream_name"), key=lambda item: -float(item[1]["length_m"].sum())
    )[:most]:
        middle = part.sort_values("station_from_m").geometry.iloc[len(part) // 2]
        at = middle.interpolate(0.5, normalized=True)
        labels.write(axes, at.x, at.y, word(text, 40), 7.0, colour="#22577a", leader=False)


def _legend_height() -> float:
    return 14.0 + 12.0 * (len(LOOKS) + 2) + 22.0


def _legend(sheet: Sheet, x: float, y: float, room: float, counts: dict[str, int]) -> None:
    y = sheet.heading(x, y, room, "Reaches by priority")
    for look in reversed(LOOKS[:-1]):
        _swatch(sheet, x, y, look.colour, max(0.7, look.width_px * _LINE_WIDTH))
        sheet.text(x + 28.0, y + 8.0, look.name, 7.4, bold=True)
        sheet.text(x + 100.0, y + 8.0, look.meaning, 6.8, colour=QUIET_INK, room=room - 120.0)
        sheet.text(x + room, y + 8.0, f"{counts.get(look.name, 0):,}", 7.4, align="right")
        y += 12.0
    _swatch(sheet, x, y, LOOKS[-1].colour, 0.7)
    sheet.text(x + 28.0, y + 8.0, LOOKS[-1].name, 7.4, bold=True)
    sheet.text(x + 100.0, y + 8.0, LOOKS[-1].meaning, 6.8, colour=QUIET_INK, room=room - 120.0)
    sheet.text(x + room, y + 8.0, f"{counts.get(LOOKS[-1].name, 0):,}", 7.4, align="right")
    y += 12.0
    _swatch(sheet, x, y, REPAIR, 1.4)
    sheet.text(x + 28.0, y + 8.0, "length to work on, along the top of the bank", 7.4)
    y += 12.0
    _swatch(sheet, x, y, ROAD, 0.9)
    sheet.text(x + 28.0, y + 8.0, "road", 7.4)
    y += 14.0
    sheet.paragraph(
        x, y, room,
        "A number on the map is a rank, 1 first; each has its own sheet. On the right: how many "
        "reaches.",
        6.4, colour=QUIET_INK,
    )  # fmt: skip


def _swatch(sheet: Sheet, x: float, y: float, colour: str, width: float) -> None:
    sheet.base.plot(
        [x, x + 22.0], [y + 5.5, y + 5.5], color=colour, lw=width, solid_capstyle="butt"
    )


_WENT_SIZE = 6.4


def _went_in_height(went_in: Sequence[tuple[str, str]], room: float) -> float:
    lines = sum(len(wrap(f"{what}: {text}", room, _WENT_SIZE)) for what, text in went_in)
    return 14.0 + lines * _WENT_SIZE * LEADING + 1.2 * len(went_in) + 4.0


def _went_in(
    sheet: Sheet, x: float, y: float, room: float, went_in: Sequence[tuple[str, str]]
) -> None:
    y = sheet.heading(x, y, room, "What went in")
    for what, text in went_in:
        y = sheet.paragraph(x, y, room, f"{what}: {text}", _WENT_SIZE) + 1.2


def class_counts(reaches: pd.DataFrame) -> dict[str, int]:
    """Return how many reaches each class has, those without one as the last look."""
    words = [look_of(value).name for value in reaches["priority_class"]]
    names, counts = np.unique(np.array(words, dtype=str), return_counts=True)
    return {str(n): int(c) for n, c in zip(names, counts, strict=True)}
