"""How the priority classes look: one letter, one colour and one line width each."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings.priority import PRIORITY_CLASSES


@dataclass(frozen=True)
class Look:
    """Letter, colour and width say the same thing, so that any one of them is enough."""

    name: str
    letter: str
    colour: str
    ink: str
    """Colour of the letter on the class's colour."""
    edge: str
    """Colour of the thin lines along it, that set it off from the ground."""
    width_px: float
    meaning: str


_COLOURS = ("#9ebcda", "#8c6bb1", "#810f7c", "#4d004b")
"""Steps 4, 6, 8 and 9 of ColorBrewer's nine-class sequence BuPu (Brewer, Harrower & Penn State,
colorbrewer2.org), which its authors mark as safe for colour-blind readers: it rises in darkness
throughout, from the blue of water to a deep violet."""
_INKS = ("#000000", "#000000", "#ffffff", "#ffffff")
_EDGES = ("#4a6a8a", "#ffffff", "#ffffff", "#ffffff")
_WIDTHS_PX = (2.0, 3.5, 5.5, 8.0)
_MEANINGS = (
    "nothing calls for a visit",
    "look again at the next flight or flood",
    "visit this season",
    "visit first",
)

LOOKS: tuple[Look, ...] = (
    *(
        Look(name, name[0].upper(), colour, ink, edge, width, meaning)
        for name, colour, ink, edge, width, meaning in zip(
            PRIORITY_CLASSES, _COLOURS, _INKS, _EDGES, _WIDTHS_PX, _MEANINGS, strict=True
        )
    ),
    Look("not ranked", "–", "#5f676d", "#ffffff", "#ffffff", 1.5, "no bank top could be seen"),
)
"""Rising; the last stands for reaches without a score."""


def class_numbers(words: list[str | None]) -> list[int]:
    """Return the number of each class word in `LOOKS`; the last for none.

    Examples
    --------
    >>> class_numbers(["first", None, "quiet"])
    [3, 4, 0]
    """
    number = {look.name: i for i, look in enumerate(LOOKS)}
    return [number.get(word or "", len(LOOKS) - 1) for word in words]
