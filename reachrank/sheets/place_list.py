"""The list of places: rank and its range, where, class, height, what is near, why."""

from __future__ import annotations

from collections.abc import Sequence

from reachrank.sheets.letters import wrap
from reachrank.sheets.map_signs import look_of
from reachrank.sheets.measures import NOTHING, Measures, is_missing, word
from reachrank.sheets.paper import INK, LEADING, QUIET_INK, RULE, Sheet
from reachrank.sheets.site import Site
from reachrank.sheets.site_page import Shared, draw_foot, site_title

_COLUMNS: tuple[tuple[str, float, str], ...] = (
    ("Rank", 0.05, "right"),
    ("In draws", 0.08, "right"),
    ("Place", 0.23, "left"),
    ("Station", 0.135, "right"),
    ("Class", 0.14, "left"),
    ("Height", 0.06, "right"),
    ("Nearest structure", 0.155, "left"),
    ("To work on", 0.095, "right"),
    ("Sheet", 0.055, "right"),
)
_LIST_SIZE, _WHY_SIZE = 6.8, 6.2
_ROW, _WHY_ROW = 11.5, 8.0
_TOLD = (
    "In draws: the ranks in 9 of 10 draws; places whose ranges overlap are not told apart. Left "
    "and right look downstream; the station is the way up from the stream's mouth. A rank that is "
    "missing lies on the length to work on of a place above it."
)
_LIST_HEAD = 8.0 + 6.0 + _ROW + 1.0


def _why(shared: Shared, site: Site) -> list[str]:
    room = shared.paper.room * (1.0 - sum(part for _, part, _ in _COLUMNS[:2])) - 6.0
    return wrap(shared.measures.reason(site.bank.get("reason")), room, _WHY_SIZE)


def _row_height(shared: Shared, site: Site) -> float:
    return _ROW + _WHY_ROW * len(_why(shared, site)) + 2.0


def _told_height(shared: Shared) -> float:
    return len(wrap(_TOLD, shared.paper.room, _WHY_SIZE)) * _WHY_SIZE * LEADING + 3.0


def list_height(shared: Shared, sites: Sequence[Site]) -> float:
    """Return how high the list of places is."""
    rows = sum(_row_height(shared, site) for site in sites)
    return _LIST_HEAD + _told_height(shared) + rows + 4.0


def rows_that_fit(shared: Shared, sites: Sequence[Site], room: float) -> int:
    """Return how many of the first places a list of this height holds."""
    fits = 0
    while fits < len(sites) and list_height(shared, sites[: fits + 1]) <= room:
        fits += 1
    return fits


def draw_list(sheet: Sheet, shared: Shared, sites: Sequence[Site], first: int, y: float) -> None:
    """Draw a list of places below y; ``first`` is the number of the first one's sheet."""
    paper = shared.paper
    more = "" if first == 1 else ", continued"
    y = sheet.heading(paper.left, y, paper.room, f"The places, by rank{more}")
    y = sheet.paragraph(paper.left, y, paper.room, _TOLD, _WHY_SIZE, colour=QUIET_INK) + 3.0
    _list_row(sheet, [what for what, _, _ in _COLUMNS], y, bold=True)
    sheet.rule(paper.left, y + _ROW - 1.0, paper.room, INK, 0.8)
    y += _ROW + 1.0
    why_x = paper.left + paper.room * sum(part for _, part, _ in _COLUMNS[:2]) + 3.0
    class_x = paper.left + paper.room * sum(part for _, part, _ in _COLUMNS[:4]) + 3.0
    for k, site in enumerate(sites):
        look = look_of(site.reach.get("priority_class"))
        sheet.box(class_x, y + 2.2, 6.0, 6.0, facecolor=look.colour, lw=0)
        _list_row(
            sheet,
            _list_words(site, first + k, shared.measures, _COLUMNS[2][1] * paper.room - 5.0),
            y,
        )
        for n, line in enumerate(_why(shared, site)):
            sheet.text(why_x, y + _ROW + 5.5 + n * _WHY_ROW, line, _WHY_SIZE, colour=QUIET_INK)
        y += _row_height(shared, site)
        sheet.rule(paper.left, y - 0.6, paper.room, RULE, 0.4)


def list_pages(shared: Shared, sites: Sequence[Site], done: int) -> list[Sheet]:
    """Return pages with the list of places from number ``done`` on."""
    paper = shared.paper
    pages: list[Sheet] = []
    while done < len(sites):
        sheet = Sheet(paper)
        foot = draw_foot(sheet, shared, "List")
        top = paper.margin - 4.0
        fits = max(1, rows_that_fit(shared, sites[done:], foot - top))
        draw_list(sheet, shared, sites[done : done + fits], done + 1, top)
        done += fits
        pages.append(sheet)
    return pages


def _list_row(sheet: Sheet, texts: Sequence[str], y: float, *, bold: bool = False) -> None:
    paper = sheet.paper
    x = paper.left
    for (what, part, align), text in zip(_COLUMNS, texts, strict=True):
        width = part * paper.room
        inset = 11.0 if what == "Class" and not bold else 3.0
        at = x + width - 3.0 if align == "right" else x + inset
        sheet.text(at, y + 8.0, text, _LIST_SIZE, bold=bold, align=align, room=width - inset - 2.0)
        x += width


def _list_words(site: Site, number: int, measures: Measures, place_room: float) -> list[str]:
    reach = site.reach
    low, high = reach.get("rank_low"), reach.get("rank_high")
    draws = NOTHING
    if not is_missing(low) and not is_missing(high):
        draws = f"{int(str(low))} to {int(str(high))}" if low != high else f"{int(str(low))}"
    structure = NOTHING
    if site.nearest is not None:
        away = measures.of(site.nearest["bank_distance_m"], "m")
        structure = f"{word(site.nearest['structure_class'], 24)}, {away}"
    return [
        NOTHING if is_missing(reach["rank"]) else f"{int(reach['rank'])}",
        draws,
        site_title(site, _LIST_SIZE, place_room, bold=False),
        measures.span(*site.station, "m", 0),
        look_of(reach.get("priority_class")).name,
        measures.of(site.height_m, "m", 1),
        structure,
        measures.of(site.repair["length_m"], "m", 0) if site.repair is not None else NOTHING,
        f"{number}",
    ]
