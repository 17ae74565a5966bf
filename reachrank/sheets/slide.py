"""One place as a picture in the shape of a screen: map, sections, the numbers that count."""

from __future__ import annotations

from reachrank.sheets.blocks import flow, hazard_bars, number_list, text_blocks
from reachrank.sheets.ground import relief
from reachrank.sheets.ground_plots import draw_sections
from reachrank.sheets.labels import Labels
from reachrank.sheets.local_map import draw_local_map, frame_of
from reachrank.sheets.map_signs import look_of
from reachrank.sheets.numbers import numbers_of
from reachrank.sheets.paper import QUIET_INK, Paper, Sheet
from reachrank.sheets.roads import ways_in
from reachrank.sheets.site import Site
from reachrank.sheets.site_page import Shared, draw_head, map_legend

SCREEN = Paper(16.0 * 40.0, 9.0 * 40.0, margin=18.0)
"""16 to 9; at 216 pixels to the inch it is 1920 by 1080."""
PIXELS_PER_INCH = 216.0
_SHOWN = (
    "Rank", "Priority", "Confidence", "Bank height", "Height along it", "Face angle",
    "Nearest structure", "Edge gets there", "Length to work on", "Soil lost", "Cost",
)  # fmt: skip


def site_slide(shared: Shared, site: Site) -> Sheet:
    """Return the picture of a place."""
    sheet = Sheet(SCREEN)
    paper, measures = SCREEN, shared.measures
    top = draw_head(sheet, shared, site)
    foot = paper.height - paper.margin
    sheet.text(
        paper.left, foot + 6.0, f"{shared.cautions[0]}", 5.6, colour=QUIET_INK, room=paper.room
    )
    left_room = 0.6 * paper.room
    right = paper.left + left_room + 14.0
    right_room = paper.right - right
    map_pt = foot - top - 16.0
    frame = frame_of(site, left_room, map_pt)
    picture = relief(shared.ground, frame, left_room * 1.5) if shared.ground is not None else None
    draw_local_map(
        sheet.axes(paper.left, top, left_room, map_pt), Labels(frame, left_room, map_pt), site,
        picture, reaches=shared.reaches, repairs=shared.repairs, roads=shared.roads,
        ways=ways_in(site, shared.roads, shared.reaches.geometry), measures=measures, size=7.0,
    )  # fmt: skip
    map_legend(sheet, paper.left, top + map_pt, left_room, site, 6.4)
    draw_sections(sheet, site, measures, right, top, right_room, 84.0)
    numbers = [
        number
        for number in numbers_of(site, measures, reaches=shared.ranked, years_cap=shared.years_cap)
        if number.what in _SHOWN
    ]
    bars = hazard_bars("What makes up the hazard, points of 100", site.factors,
                       look_of(site.reach.get("priority_class")).colour)  # fmt: skip
    blocks = [number_list("The numbers", numbers), *text_blocks(site, measures)[:1]]
    flow(sheet, [*blocks, *([bars] if bars else [])], right, top + 92.0, right_room, foot)
    return sheet
