"""The page of one place: where, how it looks, the numbers, the work, the checklist."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
from pyproj import Transformer

from reachrank.sheets.blocks import (
    Block,
    flow,
    hazard_bars,
    number_list,
    shopping_list,
    text_blocks,
)
from reachrank.sheets.checklist import checklist_height, draw_checklist, parts_of
from reachrank.sheets.ground import Ground, relief
from reachrank.sheets.ground_plots import (
    draw_profile,
    draw_sections,
    profile_caption,
    sections_caption,
)
from reachrank.sheets.labels import Labels
from reachrank.sheets.letters import shorten, width_pt, wrap
from reachrank.sheets.local_map import draw_local_map, frame_of
from reachrank.sheets.map_signs import REPAIR, ROAD, WATER, look_of
from reachrank.sheets.measures import NOTHING, Measures, is_missing, name
from reachrank.sheets.numbers import numbers_of
from reachrank.sheets.paper import INK, LEADING, QUIET_INK, Paper, Sheet
from reachrank.sheets.roads import Way, ways_in
from reachrank.sheets.site import Site
from reachrank.sheets.way_map import draw_way_map, way_frame

_CAPTION = 6.0
_GAP = 12.0
_RIGHT_SHARE = 0.375
_SECTIONS_PT, _PROFILE_PT, _WAY_MAP_PT = 92.0, 78.0, 92.0


@dataclass(frozen=True, eq=False)
class Shared:
    """What all pages of a document share. Tables are in the working CRS."""

    paper: Paper
    measures: Measures
    ground: Ground | None
    reaches: gpd.GeoDataFrame
    repairs: gpd.GeoDataFrame
    roads: gpd.GeoDataFrame | None
    to_degrees: Transformer
    ranked: int
    years_cap: float | None
    cautions: Sequence[str]
    running: str
    """What stands at the foot of every page besides the cautions."""


def site_pages(shared: Shared, site: Site, number: int) -> list[Sheet]:
    """Return the page of a site, and a second one where the text needs it.

    Parameters
    ----------
    shared
        What all pages share.
    site
        The place.
    number
        Of the sheet; what goes on overleaf keeps it.
    """
    sheet = Sheet(shared.paper)
    paper, measures = shared.paper, shared.measures
    ways = ways_in(site, shared.roads, shared.reaches.geometry)
    top = draw_head(sheet, shared, site)
    foot = draw_foot(sheet, shared, f"Sheet {number}")
    parts = parts_of(site, ways, measures)
    checklist = foot - checklist_height(parts, paper.room)
    draw_checklist(sheet, parts, paper.left, checklist, paper.room)
    bottom = checklist - 4.0

    right_room = _RIGHT_SHARE * paper.room
    left_room = paper.room - right_room - _GAP
    right = paper.left + left_room + _GAP
    below_way = _way_in(sheet, shared, site, ways, right, top, right_room)
    rest_right = flow(sheet, _right_blocks(shared, site), right, below_way, right_room, bottom)

    materials = shopping_list("To buy or gather", site.materials, measures)
    left_blocks = [*rest_right, *([materials] if materials else [])]
    spare = bottom - top - (_least_map(left_room) + 2 * 14.0 + _SECTIONS_PT + _PROFILE_PT + 40.0)
    fitting: list[Block] = []
    over: list[Block] = []
    for block in left_blocks:
        need = block.height(left_room) + 5.0
        (fitting if need <= spare else over).append(block)
        spare -= need if need <= spare else 0.0
    shared_room = sum(block.height(left_room) + 5.0 for block in fitting)
    below = _figures(sheet, shared, site, ways, paper.left, top, left_room, bottom - shared_room)
    flow(sheet, fitting, paper.left, below, left_room, bottom + 1.0)
    if all(block.is_extra for block in over):
        over = []
    return [sheet, *_overleaf(shared, site, over, number)]


def _right_blocks(shared: Shared, site: Site) -> list[Block]:
    look = look_of(site.reach.get("priority_class"))
    numbers = numbers_of(site, shared.measures, reaches=shared.ranked, years_cap=shared.years_cap)
    bars = hazard_bars("What makes up the hazard, points of 100", site.factors, look.colour)
    return [
        number_list("The numbers, and how sure they are", numbers),
        *text_blocks(site, shared.measures, _goes_on(shared, site)),
        *([bars] if bars else []),
    ]


def _goes_on(shared: Shared, site: Site) -> str:
    """Say which other reaches the length to work on lies in."""
    if site.repair is None:
        return ""
    ids = [i for i in str(site.repair["reach_ids"]).split(",") if i != site.reach["reach_id"]]
    ranks = shared.reaches.set_index("reach_id")["rank"]
    told = [
        f"{name(i, 40)} (rank {int(ranks[i])})"
        for i in ids
        if i in ranks.index and not is_missing(ranks[i])
    ]
    return f"The length to work on goes on into reach {' and '.join(told)}." if told else ""


def _least_map(room: float) -> float:
    return 0.5 * room


def draw_head(sheet: Sheet, shared: Shared, site: Site) -> float:
    """Draw rank, name, place and class at the head of a page; return the y below."""
    paper, measures = sheet.paper, shared.measures
    look = look_of(site.reach.get("priority_class"))
    x, y = paper.left, paper.margin - 4.0
    rank = NOTHING if is_missing(site.reach["rank"]) else f"{int(site.reach['rank'])}"
    width = max(34.0, width_pt(rank, 20.0, bold=True) + 14.0)
    sheet.badge(x, y, width, 32.0, rank, 20.0, colour=look.colour, ink=look.ink)
    chip = width_pt(look.name, 9.0, bold=True) + 14.0
    sheet.badge(
        paper.right - chip, y + 1.0, chip, 15.0, look.name, 9.0, colour=look.colour, ink=look.ink
    )
    sheet.text(paper.right, y + 26.0, look.meaning, 7.0, align="right", colour=QUIET_INK)
    title = site_title(site, 14.0, paper.room - width - chip - 24.0)
    sheet.text(x + width + 9.0, y + 14.0, title, 14.0, bold=True)
    longitude, latitude = shared.to_degrees.transform(site.middle.x, site.middle.y)
    where = (
        f"station {measures.span(*site.station, 'm', 0)} up from the mouth"
        f"  ·  {degrees(latitude, longitude)}  ·  reach {name(site.reach['reach_id'], 40)}"
        + (f", repair {name(site.repair['repair_id'], 40)}" if site.repair is not None else "")
    )
    sheet.text(
        x + width + 9.0, y + 28.0, where, 7.4, colour=QUIET_INK,
        room=paper.room - width - 18.0 - max(chip, width_pt(look.meaning, 7.0)),
    )  # fmt: skip
    return y + 42.0


def site_title(site: Site, size: float, room: float, *, bold: bool = True) -> str:
    """Return the name of a place, the stream shortened where it must be: stream, bank."""
    stream = name(site.reach.get("stream_name") or site.reach["stream_id"], 200)
    bank = f", {site.side} bank"
    return shorten(stream, room - width_pt(bank, size, bold=bold), size, bold=bold) + bank


def degrees(latitude: float, longitude: float) -> str:
    """Return a place for a phone or a hand-held receiver; the last digit is about a metre.

    Examples
    --------
    >>> degrees(44.1234567, -93.5)
    '44.12346° N, 93.50000° W'
    """
    return (
        f"{abs(latitude):.5f}° {'N' if latitude >= 0 else 'S'}, "
        f"{abs(longitude):.5f}° {'E' if longitude >= 0 else 'W'}"
    )


def draw_foot(sheet: Sheet, shared: Shared, number: str) -> float:
    """Draw cautions and the number of the sheet at the foot; return the y above them."""
    paper = shared.paper
    text = " ".join(shared.cautions)
    size = 5.8
    lines = wrap(text, paper.room, size)
    base = paper.height - paper.margin + 8.0
    sheet.text(paper.right, base, number, 6.6, align="right", colour=QUIET_INK)
    sheet.text(paper.left, base, shared.running, 6.6, colour=QUIET_INK, room=paper.room - 80.0)
    top = base - 9.0 - len(lines) * size * LEADING
    sheet.lines(paper.left, top, lines, size)
    sheet.rule(paper.left, top - 2.0, paper.room, INK, 0.8)
    return top - 5.0


def _way_in(
    sheet: Sheet, shared: Shared, site: Site, ways: list[Way], x: float, y: float, room: float
) -> float:
    measures = shared.measures
    y = sheet.heading(x, y, room, "Getting there")
    if ways or shared.roads is not None:
        frame = way_frame(site, ways, room, _WAY_MAP_PT)
        labels = Labels(frame, room, _WAY_MAP_PT)
        axes = sheet.axes(x, y, room, _WAY_MAP_PT)
        draw_way_map(
            axes, labels, site, ways, reaches=shared.reaches, roads=shared.roads, measures=measures
        )
        y += _WAY_MAP_PT + 2.0
    for text in way_texts(ways, measures, has_roads=shared.roads is not None):
        y = sheet.paragraph(x, y, room, text, 6.8)
    return y + 4.0


def way_texts(ways: Sequence[Way], measures: Measures, *, has_roads: bool) -> list[str]:
    """Return the way in as sentences."""
    if not ways:
        if has_roads:
            return ["No road lies near. Plan the way in on a road map, and ask the owner first."]
        return [
            "No road layer was given and no road lies within reach of this bank. Plan the way in "
            "on a road map, and ask the owner first."
        ]
    texts = []
    for n, way in enumerate(ways):
        road = name(way.road, 40) if way.road else "the nearest road"
        if way.length_m < _BESIDE_M:
            return [f"{road[0].upper()}{road[1:]} runs along the bank here. Ask the owner first."]
        lead = f"{road[0].upper()}{road[1:]}" if n == 0 else f"On this side of the water: {road}"
        water = ", but across a stream" if way.crosses else ""
        texts.append(
            f"{lead}, {measures.of(way.length_m, 'm', 0)} in a straight line{water}; walk "
            f"{_TOWARDS[way.towards]}."
        )
    return [*texts, "Nobody has walked it: ask the owner first."]


_BESIDE_M = 5.0
_TOWARDS = {
    "N": "north", "NE": "north-east", "E": "east", "SE": "south-east",
    "S": "south", "SW": "south-west", "W": "west", "NW": "north-west",
}  # fmt: skip


def _figures(
    sheet: Sheet, shared: Shared, site: Site, ways: list[Way], x: float, y: float, room: float,
    bottom: float,
) -> float:  # fmt: skip
    """Draw map, sections and profile down to a line; return the y below them."""
    measures = shared.measures
    captions = [
        wrap(text, room, _CAPTION)
        for text in (
            sections_caption(site, measures, room, _SECTIONS_PT), profile_caption(site, measures)
        )
    ]  # fmt: skip
    text_pt = sum(len(lines) for lines in captions) * _CAPTION * LEADING
    fixed = _SECTIONS_PT + _PROFILE_PT + text_pt + 2 * 5.0 + legend_height(site, room)
    map_pt = bottom - y - fixed
    frame = frame_of(site, room, map_pt)
    picture = relief(shared.ground, frame, room) if shared.ground is not None else None
    labels = Labels(frame, room, map_pt)
    draw_local_map(
        sheet.axes(x, y, room, map_pt), labels, site, picture, reaches=shared.reaches,
        repairs=shared.repairs, roads=shared.roads, ways=ways, measures=measures,
    )  # fmt: skip
    y = map_legend(sheet, x, y + map_pt, room, site)
    draw_sections(sheet, site, measures, x, y, room, _SECTIONS_PT)
    y = sheet.lines(x, y + _SECTIONS_PT, captions[0], _CAPTION, colour=QUIET_INK) + 5.0
    draw_profile(sheet, site, measures, x, y, room, _PROFILE_PT)
    return sheet.lines(x, y + _PROFILE_PT, captions[1], _CAPTION, colour=QUIET_INK) + 5.0


_SIGN, _ROW = 19.0, 10.0


def _signs(site: Site) -> list[tuple[str, dict[str, Any]]]:
    look = look_of(site.reach.get("priority_class"))
    signs: list[tuple[str, dict[str, Any]]] = [
        ("this bank", {"color": look.colour, "lw": 2.0}),
        ("length to work on", {"color": REPAIR, "lw": 2.6}),
        ("tie-in", {"color": REPAIR, "lw": 2.0, "ls": (0, (1.2, 0.9))}),
        ("stream, flow", {"color": WATER, "lw": 1.3}),
        ("to a structure", {"color": INK, "lw": 0.9, "ls": (0, (1, 1.6))}),
        ("road", {"color": ROAD, "lw": 1.6}),
        ("way in", {"color": ROAD, "lw": 0.9, "ls": (0, (4, 2))}),
    ]
    return signs if site.repair is not None else [signs[0], *signs[3:]]


def _sign_places(site: Site, room: float, size: float) -> list[tuple[float, int]]:
    """Return how far to the right each sign of the legend is, and in which row."""
    places: list[tuple[float, int]] = []
    at, row = 0.0, 0
    for text, _ in _signs(site):
        need = _SIGN + width_pt(text, size)
        if at + need > room:
            at, row = 0.0, row + 1
        places.append((at, row))
        at += need + 7.0
    return places


def legend_height(site: Site, room: float, size: float = 6.0) -> float:
    """Return how high the legend of the local map is."""
    return (_sign_places(site, room, size)[-1][1] + 1) * _ROW + 2.0


def map_legend(
    sheet: Sheet, x: float, y: float, room: float, site: Site, size: float = 6.0
) -> float:
    """Draw the signs of the local map; return the y below."""
    for (text, looks), (right, row) in zip(
        _signs(site), _sign_places(site, room, size), strict=True
    ):
        middle = y + 5.5 + row * _ROW
        sheet.base.plot(
            [x + right, x + right + 14.0], [middle, middle], solid_capstyle="butt", **looks
        )
        sheet.text(x + right + 17.0, middle + 2.0, text, size, colour=QUIET_INK)
    return y + legend_height(site, room, size)


def _overleaf(shared: Shared, site: Site, blocks: list[Block], number: int) -> list[Sheet]:
    pages: list[Sheet] = []
    paper = shared.paper
    while blocks:
        sheet = Sheet(paper)
        y = paper.margin - 4.0
        sheet.text(paper.left, y + 12.0, site_title(site, 11.0, paper.room), 11.0, bold=True)
        foot = draw_foot(sheet, shared, f"Sheet {number}, overleaf")
        rest = flow(sheet, blocks, paper.left, y + 24.0, paper.room, foot)
        if len(rest) == len(blocks):  # one block taller than a page: cannot be, but never loop
            blocks[0].draw(sheet, paper.left, y + 24.0, paper.room)
            rest = blocks[1:]
        pages.append(sheet)
        blocks = rest
    return pages
