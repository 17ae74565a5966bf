"""What every map carries: the frame, the ground, a scale bar, the north arrow; and its colours."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from numpy.typing import NDArray

from reachrank.page.looks import LOOKS, Look
from reachrank.sheets.ground import Frame
from reachrank.sheets.labels import Labels
from reachrank.sheets.letters import width_pt
from reachrank.sheets.measures import Measures, rounded
from reachrank.sheets.paper import INK, PANEL
from reachrank.units import FOOT_M

REPAIR = "#e08214"
"""Orange of ColorBrewer's PuOr scheme (Brewer, Harrower & Penn State, colorbrewer2.org), marked
there as safe for colour-blind readers beside violet."""
WATER = "#3b7ea8"
ROAD = "#4a4a4a"
HALO = "#ffffff"
_STEPS = (1.0, 2.0, 5.0)


def look_of(word: Any) -> Look:
    """Return how a priority class looks; that of ``not ranked`` for no class."""
    return next((look for look in LOOKS if look.name == word), LOOKS[-1])


def prepare(axes: Axes, frame: Frame, picture: NDArray[np.uint8] | None) -> None:
    """Set the frame and lay the ground into it."""
    west, south, east, north = frame
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_facecolor(PANEL)
    if picture is not None:
        axes.imshow(
            picture, extent=(west, east, south, north), aspect="auto", interpolation="none",
            zorder=0,
        )  # fmt: skip
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.set_autoscale_on(False)
    for spine in axes.spines.values():
        spine.set_color(INK)
        spine.set_linewidth(0.6)


def draw_lines(axes: Axes, lines: Iterable[Any], *, halo: float = 0.0, **looks: Any) -> None:
    """Draw many lines at once, over a white edge where ``halo`` is given."""
    parts = [shapely.get_coordinates(line) for line in lines if line is not None]
    if not parts:
        return
    order = looks.pop("zorder", 3.0)
    if halo:
        width = looks.get("linewidths", 1.0) + halo
        axes.add_collection(
            LineCollection(
                parts, colors=HALO, linewidths=width, capstyle="round", zorder=order - 0.05
            ),
            autolim=False,
        )
    axes.add_collection(LineCollection(parts, zorder=order, **looks), autolim=False)


def scale_length(frame: Frame, measures: Measures, most_share: float = 0.3) -> tuple[float, str]:
    """Return a round length for a scale bar, in metres, and its text.

    Examples
    --------
    >>> scale_length((0.0, 0.0, 400.0, 300.0), Measures(us=False))
    (100.0, '100 m')
    """
    most_m = (frame[2] - frame[0]) * most_share
    unit, metres = ("ft", FOOT_M) if measures.us else ("m", 1.0)
    if measures.us and most_m > 0.5 * 5280.0 * FOOT_M:
        unit, metres = "mi", 5280.0 * FOOT_M
    elif not measures.us and most_m >= 1000.0:
        unit, metres = "km", 1000.0
    most = most_m / metres
    power = 10.0 ** np.floor(np.log10(most))
    count = max(step * power for step in _STEPS if step * power <= most)
    return float(count * metres), f"{rounded(count, 0 if count >= 1 else 1)} {unit}"


def draw_scale_and_north(
    axes: Axes, labels: Labels, frame: Frame, measures: Measures, size: float = 6.5
) -> None:
    """Draw a scale bar at the lower left and an arrow to grid north at the upper right."""
    length_m, text = scale_length(frame, measures)
    width, height = labels.width, labels.height
    bar = length_m / (frame[2] - frame[0]) * width
    x, y = 8.0, 8.0
    room = max(bar, width_pt(text, size)) + 8.0
    labels.keep_clear((x - 4.0, y - 4.0, x + room, y + size + 8.0))
    to = axes.transAxes

    def at(px: float, py: float) -> tuple[float, float]:
        return px / width, py / height

    low, high, right = y - 4.0, y + size + 6.0, x + room - 4.0
    corners = [
        at(px, py) for px, py in ((x - 4.0, low), (right, low), (right, high), (x - 4.0, high))
    ]
    axes.fill(*zip(*corners, strict=True), color="white", alpha=0.8, lw=0, transform=to, zorder=9)
    axes.plot(*zip(at(x, y + 3), at(x, y), at(x + bar, y), at(x + bar, y + 3), strict=True),
              color=INK, lw=1.1, transform=to, zorder=10, solid_joinstyle="miter")  # fmt: skip
    axes.text(*at(x + 1.5, y + 3.5), text, fontsize=size, transform=to, zorder=10, color=INK)
    nx, ny = width - 13.0, height - 26.0
    labels.keep_clear((nx - 9.0, ny - 4.0, nx + 9.0, height - 3.0))
    back = [at(nx + dx, ny + dy) for dx, dy in ((-8, -4), (8, -4), (8, 24), (-8, 24))]
    axes.fill(*zip(*back, strict=True), color="white", alpha=0.7, lw=0, transform=to, zorder=9)
    arrow = [at(nx + dx, ny + dy) for dx, dy in ((-4.5, 0), (0, 13), (4.5, 0), (0, 3))]
    axes.fill(*zip(*arrow, strict=True), color=INK, lw=0, transform=to, zorder=10)
    axes.text(
        *at(nx, ny + 14.5), "N", fontsize=size + 0.5, fontweight="bold", ha="center", va="bottom",
        transform=to, zorder=10, color=INK,
    )  # fmt: skip
