"""What to fill in by pen on the bank, in the order of the walk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reachrank.sheets.letters import width_pt, wrap
from reachrank.sheets.measures import NOTHING, Measures, is_missing
from reachrank.sheets.paper import INK, QUIET_INK, Sheet
from reachrank.sheets.roads import Way
from reachrank.sheets.site import Site


@dataclass(frozen=True)
class Item:
    """A line: words, then a box to tick, a blank to fill in, or words to ring."""

    text: str
    unit: str = ""
    blank: bool = False
    ring: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """A part of the walk."""

    title: str
    items: tuple[Item, ...]


def parts_of(site: Site, ways: Sequence[Way], measures: Measures) -> list[Part]:
    """Return the checklist of a place: getting there, staying safe, looking, measuring."""
    unit = measures.unit("m")
    height, angle = site.height_m, site.bank["bank_angle_deg"]
    length = site.repair["length_m"] if site.repair is not None else None
    near = None if site.nearest is None else site.nearest["bank_distance_m"]
    hazard_m = None if is_missing(height) else max(2.0, float(height))
    stand = (
        f"Nobody within {measures.of(hazard_m, 'm', 0)} of the edge"
        if hazard_m
        else "Nobody near the edge"
    )
    return [
        Part(
            "1  Getting there",
            (
                Item("Owner has said yes: name, phone", blank=True),
                Item("Way in walked from the road", unit, blank=True),
                Item("Gate, crop, fence, animals", blank=True),
                Item("Room for", ring=("foot", "truck", "machine")),
                Item("GPS agrees with the map"),
            ),
        ),
        Part(
            "2  Staying safe",
            (
                Item("Two people; phone has signal"),
                Item("No rain upstream, water is low"),
                Item(f"{stand}; no cracks under foot"),
                Item("Wires, pipes, wells looked for"),
                Item("No digging before 811 has answered"),
            ),
        ),
        Part(
            "3  Looking",
            (
                Item("Face", ring=("bare", "grass", "roots", "rock")),
                Item("It", ring=("slumps", "undercuts", "seeps", "rests")),
                Item("Soil", ring=("sand", "silt", "clay", "gravel")),
                Item("Toe", ring=("mud", "gravel", "stone", "wood")),
                Item("Bed cuts down, drop near", ring=("no", "yes")),
                Item("At risk on top", blank=True),
            ),
        ),
        Part(
            "4  Measuring",
            (
                Item(f"Height, toe to top ({measures.of(height, 'm', 1)})", unit, blank=True),
                Item("Water at the toe (not seen)", unit, blank=True),
                Item(
                    f"Angle ({NOTHING if is_missing(angle) else f'{float(angle):.0f}°'})",
                    "°",
                    blank=True,
                ),
                Item(f"Length failing ({measures.of(length, 'm')})", unit, blank=True),
                Item(f"Edge to structure ({measures.of(near, 'm')})", unit, blank=True),
                Item("Photos up, across, down: no.", blank=True),
            ),
        ),
    ]


_SIZE = 6.6
_LINE = 15.0
_MORE = 8.4
_GAP = 12.0
_BLANK = 32.0
_BOX = 11.0
_SIGN = 17.0
_QUESTION = "Does the bank agree with this sheet?  yes / no:"


def checklist_height(parts: Sequence[Part], room: float) -> float:
    """Return how high the checklist is when it is as wide as the room."""
    each = _each(parts, room)
    return 14.0 + max(sum(_height(item, each) for item in part.items) for part in parts) + _SIGN


def draw_checklist(sheet: Sheet, parts: Sequence[Part], x: float, y: float, room: float) -> float:
    """Draw the parts side by side and a line to sign; return the y below."""
    each = _each(parts, room)
    lowest = y
    for n, part in enumerate(parts):
        left = x + n * (each + _GAP)
        below = sheet.heading(left, y, each, part.title, 7.6)
        for item in part.items:
            _draw_item(sheet, item, left, below, each)
            below += _height(item, each)
        lowest = max(lowest, below)
    base, right = lowest + _SIGN - 5.0, x + room
    sheet.text(x, base, _QUESTION, _SIZE)
    start = x + width_pt(_QUESTION, _SIZE) + 4.0
    sheet.rule(start, base + 1.5, right - 206.0 - start)
    sheet.text(right - 200.0, base, "By:", _SIZE)
    sheet.rule(right - 186.0, base + 1.5, 96.0)
    sheet.text(right - 84.0, base, "Date:", _SIZE)
    sheet.rule(right - 63.0, base + 1.5, 63.0)
    return lowest + _SIGN


def _each(parts: Sequence[Part], room: float) -> float:
    return (room - _GAP * (len(parts) - 1)) / len(parts)


def _lines(item: Item, each: float) -> list[str]:
    if item.ring:
        return wrap(f"{item.text}: {' / '.join(item.ring)}", each, _SIZE)
    if item.blank:
        return wrap(item.text, each - _BLANK - _unit_room(item), _SIZE)
    return wrap(item.text, each - _BOX, _SIZE)


def _height(item: Item, each: float) -> float:
    return _LINE + _MORE * (len(_lines(item, each)) - 1)


def _unit_room(item: Item) -> float:
    return width_pt(item.unit, _SIZE) + 2.0 if item.unit else 0.0


def _draw_item(sheet: Sheet, item: Item, x: float, y: float, each: float) -> None:
    base = y + _LINE - 4.5
    lines = _lines(item, each)
    is_tick = not item.ring and not item.blank
    if is_tick:
        sheet.box(x, base - 6.2, 6.6, 6.6, facecolor="white", edgecolor=INK, linewidth=0.7)
    for k, line in enumerate(lines):
        sheet.text(x + (_BOX if is_tick else 0.0), base + k * _MORE, line, _SIZE)
    if item.blank:
        last = base + (len(lines) - 1) * _MORE
        start = x + width_pt(lines[-1], _SIZE) + 4.0
        sheet.rule(start, last + 1.5, x + each - _unit_room(item) - start, QUIET_INK, 0.5)
        if item.unit:
            sheet.text(x + each, last, item.unit, _SIZE, align="right", colour=QUIET_INK)
