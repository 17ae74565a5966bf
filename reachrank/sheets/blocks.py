"""Blocks of text for a page: each knows its height, so that what does not fit goes on overleaf."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from reachrank.page.detail import FACTOR_WORDS
from reachrank.sheets.letters import width_pt, wrap
from reachrank.sheets.measures import NOTHING, Measures, is_missing, money, name, rounded, word
from reachrank.sheets.numbers import Number
from reachrank.sheets.paper import INK, LEADING, QUIET_INK, RULE, Sheet
from reachrank.sheets.site import Record, Site
from reachrank.units import us_unit

SIZE = 6.8
_HEADING = 14.0
_AFTER = 5.0


@dataclass(frozen=True)
class Block:
    """A heading and what is under it.

    ``height`` takes the width; ``draw`` takes the sheet, x, y and the width.
    """

    title: str
    height: Callable[[float], float]
    draw: Callable[[Sheet, float, float, float], None]
    is_extra: bool = False
    """Left out rather than put on a page of its own."""


def flow(
    sheet: Sheet, blocks: Sequence[Block], x: float, y: float, room: float, bottom: float
) -> list[Block]:
    """Draw the blocks that fit below each other, in order; return those that did not."""
    left: list[Block] = []
    for block in blocks:
        if y + block.height(room) > bottom:
            left.append(block)
            continue
        block.draw(sheet, x, y, room)
        y += block.height(room) + _AFTER
    return left


def sentences(title: str, texts: Sequence[str], lead: str = "") -> Block:
    """Return a block of paragraphs, the ``lead`` in bold letters before them."""
    shown = [(lead, True)] if lead else []
    shown += [(text, False) for text in texts if text]

    def height(room: float) -> float:
        lines = sum(len(wrap(text, room, SIZE, bold=bold)) for text, bold in shown)
        return _HEADING + lines * SIZE * LEADING + 1.5 * len(shown)

    def draw(sheet: Sheet, x: float, y: float, room: float) -> None:
        y = sheet.heading(x, y, room, title)
        for text, bold in shown:
            y = sheet.paragraph(x, y, room, text, SIZE, bold=bold) + 1.5

    return Block(title, height, draw)


_ROW = 9.4
_WHAT_SHARE, _VALUE_SHARE = 0.34, 0.28


def number_list(title: str, numbers: Sequence[Number]) -> Block:
    """Return a block of numbers: what, how much, and how sure in smaller letters."""

    def rows(number: Number, room: float) -> tuple[list[str], list[str]]:
        value_room = _VALUE_SHARE * room
        over = max(0.0, width_pt(number.value, SIZE, bold=True) + 4.0 - value_room)
        sure_room = room * (1.0 - _WHAT_SHARE - _VALUE_SHARE) - 3.0 - over
        return wrap(number.what, _WHAT_SHARE * room - 3.0, SIZE), wrap(
            number.sure, sure_room, SIZE - 1.0
        )

    def row_height(number: Number, room: float) -> float:
        return _ROW + (max(map(len, (*rows(number, room), [""]))) - 1) * 7.4

    def height(room: float) -> float:
        return _HEADING + sum(row_height(number, room) for number in numbers)

    def draw(sheet: Sheet, x: float, y: float, room: float) -> None:
        y = sheet.heading(x, y, room, title)
        for number in numbers:
            what, sure = rows(number, room)
            base = y + 7.0
            for k, line in enumerate(what):
                sheet.text(x, base + k * 7.4, line, SIZE, colour=QUIET_INK)
            at = x + _WHAT_SHARE * room
            sheet.text(at, base, number.value, SIZE, bold=True)
            at += max(_VALUE_SHARE * room, width_pt(number.value, SIZE, bold=True) + 4.0)
            for k, line in enumerate(sure):
                sheet.text(at, base + k * 7.4, line, SIZE - 1.0, colour=QUIET_INK)
            y += row_height(number, room)

    return Block(title, height, draw)


def hazard_bars(title: str, factors: Sequence[Record], colour: str) -> Block | None:
    """Return a block of bars: how many points of the hazard each factor gives; None without any."""
    shown = [row for row in factors if not is_missing(row["contribution"])]
    if not shown:
        return None
    shown = sorted(shown, key=lambda row: (-float(row["contribution"]), str(row["factor"])))
    most = max(float(row["weight"]) * 100.0 for row in shown)

    def height(room: float) -> float:
        return _HEADING + 9.0 * len(shown)

    def draw(sheet: Sheet, x: float, y: float, room: float) -> None:
        y = sheet.heading(x, y, room, title)
        left = 0.36 * room
        full = room - left - 46.0
        for row in shown:
            points, whole = float(row["contribution"]), float(row["weight"]) * 100.0
            what = FACTOR_WORDS.get(str(row["factor"]), word(row["factor"], 40))
            sheet.text(
                x,
                y + 7.0,
                what[:1].upper() + what[1:],
                SIZE - 0.4,
                colour=QUIET_INK,
                room=left - 2.0,
            )
            sheet.box(x + left, y + 1.8, full * whole / most, 5.0, facecolor="#e9e6e0", lw=0)
            sheet.box(x + left, y + 1.8, full * points / most, 5.0, facecolor=colour, lw=0)
            state = row.get("state")
            mark = {"missing": " (median)", "lower_bound": " or more"}.get(str(state), "")
            sheet.text(x + left + full + 3.0, y + 7.0, f"{points:.0f}{mark}", SIZE - 0.6, room=43.0)
            y += 9.0

    return Block(title, height, draw, is_extra=True)


def shopping_list(title: str, materials: Sequence[Record], measures: Measures) -> Block | None:
    """Return a block of what to buy, with a box to tick for each; None without any."""
    if not materials:
        return None
    rows = []
    for row in materials:
        unit = str(row["unit"])
        bought: list[Any] = [row.get("purchase_low"), row.get("purchase_high")]
        shown_unit = us_unit(unit) if measures.us else unit
        factor = measures.number(1.0, unit)
        amounts = [
            rounded(float(v) * factor, 0 if float(v) * factor >= 10 else None)
            for v in bought
            if not is_missing(v)
        ]
        amounts = [a.removesuffix(".0") for a in amounts]
        rows.append(
            (
                word(row["item"], 90),
                f"{' to '.join(dict.fromkeys(amounts))} {word(shown_unit, 20)}" if amounts else "",
                money(row.get("cost_low_usd"), row.get("cost_high_usd")).replace("–", ""),
            )
        )

    def lines(item: str, room: float) -> list[str]:
        return wrap(item, 0.44 * room - 12.0, SIZE)

    def height(room: float) -> float:
        return _HEADING + sum(_ROW + (len(lines(item, room)) - 1) * 8.0 for item, _, _ in rows)

    def draw(sheet: Sheet, x: float, y: float, room: float) -> None:
        y = sheet.heading(x, y, room, title)
        for item, amount, cost in rows:
            sheet.box(x, y + 1.2, 5.8, 5.8, facecolor="white", edgecolor=INK, linewidth=0.6)
            for k, line in enumerate(lines(item, room)):
                sheet.text(x + 10.0, y + 7.0 + k * 8.0, line, SIZE)
            sheet.text(
                x + 0.72 * room, y + 7.0, amount, SIZE, bold=True, align="right", room=0.28 * room
            )
            sheet.text(x + room, y + 7.0, cost, SIZE, align="right", room=0.27 * room)
            y += _ROW + (len(lines(item, room)) - 1) * 8.0
            sheet.rule(x, y - 0.8, room, RULE, 0.3)

    return Block(title, height, draw)


def text_blocks(site: Site, measures: Measures, also: str = "") -> list[Block]:
    """Return the blocks of words: why it ranks here, what kind of work, whom to ask.

    ``also`` is a sentence that goes with the first.
    """
    blocks = [
        sentences("Why the reach ranks here", [measures.reason(site.bank.get("reason")), also])
    ]
    repair: dict[str, Any] = site.repair or {}
    label = repair.get("path_label")
    path = word(repair.get("path") if is_missing(label) else label, 100)
    if path != NOTHING:
        why = measures.sentence(repair.get("path_reasons"))
        blocks.append(sentences("Kind of work", [why], path))
    asked = [measures.sentence(repair.get("permit_questions"))]
    if not is_missing(repair.get("constraint_names")):
        asked.append(f"Touches: {name(repair['constraint_names'], 200)}.")
    if any(asked):
        blocks.append(sentences("Ask before any work", asked))
    return blocks
