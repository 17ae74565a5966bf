"""A sheet of paper: a figure measured in points from its upper left corner."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, Rectangle
from matplotlib.text import Text

from reachrank.sheets.letters import FAMILY, shorten, wrap

INK = "#1b1f24"
QUIET_INK = "#5a6268"
RULE = "#b9bec3"
PANEL = "#f4f2ec"
LEADING = 1.28
"""Distance of lines over the size of the letters."""


@dataclass(frozen=True)
class Paper:
    """Size of a sheet and its margin, in points of 1/72 inch."""

    width: float
    height: float
    margin: float = 30.0

    @property
    def left(self) -> float:
        """Where the printed part begins."""
        return self.margin

    @property
    def right(self) -> float:
        """Where the printed part ends."""
        return self.width - self.margin

    @property
    def room(self) -> float:
        """Width of the printed part."""
        return self.width - 2.0 * self.margin


PAPERS = {"letter": Paper(612.0, 792.0), "a4": Paper(210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0)}
"""ANSI letter, 8.5 by 11 inches; ISO 216 A4, 210 by 297 mm."""


@contextmanager
def plain_looks() -> Iterator[None]:
    """Draw the same everywhere: no settings of this machine, no signs in names read as formulas."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(
            {
                "font.family": [FAMILY],
                "text.parse_math": False,
                "text.usetex": False,
                "axes.formatter.use_mathtext": False,
                "axes.unicode_minus": True,
                "pdf.fonttype": 42,
                "pdf.compression": 6,
                "path.simplify": True,
                "axes.linewidth": 0.6,
                "svg.hashsalt": "reachrank",
            }
        )
        yield


class Sheet:
    """One page. All places are in points; y runs down from the top edge."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.figure = Figure(figsize=(paper.width / 72.0, paper.height / 72.0))
        self.base = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.base.set_xlim(0.0, paper.width)
        self.base.set_ylim(paper.height, 0.0)
        self.base.set_axis_off()
        self.base.set_autoscale_on(False)

    def axes(self, x: float, y: float, width: float, height: float) -> Axes:
        """Return axes over a rectangle whose upper left corner is at x, y."""
        paper = self.paper
        return self.figure.add_axes(
            (
                x / paper.width,
                1.0 - (y + height) / paper.height,
                width / paper.width,
                height / paper.height,
            )
        )

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        bold: bool = False,
        colour: str = INK,
        align: str = "left",
        room: float | None = None,
        **more: Any,
    ) -> Text:
        """Write one line, its base line at y; shortened where ``room`` is given."""
        shown = text if room is None else shorten(text, room, size, bold=bold)
        return self.base.text(
            x, y, shown, fontsize=size, fontweight="bold" if bold else "normal", color=colour,
            ha=align, va="baseline", **more,
        )  # fmt: skip

    def lines(self, x: float, y: float, lines: Sequence[str], size: float, **more: Any) -> float:
        """Write lines below y and return the y below them."""
        for k, line in enumerate(lines):
            self.text(x, y + size * (0.95 + k * LEADING), line, size, **more)
        return y + size * LEADING * len(lines)

    def paragraph(
        self, x: float, y: float, room: float, text: str, size: float, *, bold: bool = False,
        **more: Any,
    ) -> float:  # fmt: skip
        """Write text in lines no wider than the room, below y; return the y below it."""
        lines = wrap(text, room, size, bold=bold)
        return self.lines(x, y, lines, size, bold=bold, **more)

    def heading(self, x: float, y: float, room: float, text: str, size: float = 8.0) -> float:
        """Write the heading of a block with a rule under it; return the y below."""
        self.text(x, y + size, text, size, bold=True, room=room)
        self.rule(x, y + size + 3.2, room)
        return y + size + 6.0

    def rule(self, x: float, y: float, room: float, colour: str = RULE, width: float = 0.6) -> None:
        """Draw a level line."""
        self.base.plot([x, x + room], [y, y], color=colour, lw=width, solid_capstyle="butt")

    def box(self, x: float, y: float, width: float, height: float, **looks: Any) -> None:
        """Draw a rectangle."""
        self.base.add_patch(Rectangle((x, y), width, height, **looks))

    def badge(
        self, x: float, y: float, width: float, height: float, text: str, size: float, *,
        colour: str, ink: str,
    ) -> None:  # fmt: skip
        """Draw a rounded, filled sign with a word in it."""
        self.base.add_patch(
            FancyBboxPatch(
                (x, y), width, height, boxstyle=f"round,pad=0,rounding_size={height / 3.0}",
                facecolor=colour, edgecolor="none",
            )
        )  # fmt: skip
        self.text(
            x + width / 2.0, y + height / 2.0 + size * 0.36, text, size, bold=True, colour=ink,
            align="center",
        )  # fmt: skip


def text_height(lines: int, size: float) -> float:
    """Return the height that so many lines take."""
    return lines * size * LEADING
