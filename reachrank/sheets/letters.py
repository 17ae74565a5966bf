"""How wide text is on paper, and where to break it: by the letters' own widths."""

from __future__ import annotations

from functools import cache

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font

FAMILY = "DejaVu Sans"
"""Comes with matplotlib, so that paper looks the same on every machine."""
_EM = 100.0
_BOX_EM = 0.7


@cache
def _font(bold: bool) -> FT2Font:
    properties = FontProperties(family=FAMILY, weight="bold" if bold else "normal")
    font = FT2Font(findfont(properties))
    font.set_size(_EM, 72.0)
    return font


@cache
def _letter_em(letter: str, bold: bool) -> float:
    font = _font(bold)
    if not font.get_char_index(ord(letter)):  # an empty box is printed for it
        return _BOX_EM
    return float(font.load_char(ord(letter)).linearHoriAdvance) / 65536.0 / _EM


def width_pt(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Return how wide one line of text is set.

    Examples
    --------
    >>> width_pt("ii", 10.0) == 2 * width_pt("i", 10.0)
    True
    """
    return size_pt * sum(_letter_em(letter, bold) for letter in text)


def wrap(text: str, room_pt: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Return text as lines no wider than the room; a word that is wider is cut where it must be.

    Examples
    --------
    >>> wrap("one two", width_pt("one tw", 8.0), 8.0)
    ['one', 'two']
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if width_pt(longer, size_pt, bold=bold) <= room_pt:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while width_pt(line, size_pt, bold=bold) > room_pt and len(line) > 1:
            fits = _letters_that_fit(line, room_pt, size_pt, bold)
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line] if line else lines


def shorten(text: str, room_pt: float, size_pt: float, *, bold: bool = False) -> str:
    """Return text on one line, its end left out with an ellipsis where it is too wide.

    Examples
    --------
    >>> shorten("Brindlewater Creek", 40.0, 8.0)
    'Brindle…'
    """
    text = " ".join(text.split())
    if width_pt(text, size_pt, bold=bold) <= room_pt:
        return text
    room = room_pt - width_pt("…", size_pt, bold=bold)
    return text[: _letters_that_fit(text, room, size_pt, bold)].rstrip() + "…"


def _letters_that_fit(text: str, room_pt: float, size_pt: float, bold: bool) -> int:
    used = 0.0
    for k, letter in enumerate(text):
        used += size_pt * _letter_em(letter, bold)
        if used > room_pt:
            return max(1, k)
    return len(text)
