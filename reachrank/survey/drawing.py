"""Draw surveyed sections with the toe and top that were found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from reachrank.survey.edges import BankEdges
from reachrank.survey.field_book import FieldSection

INK, WATER, FOUND = "#2b2b2b", "#4a7ba6", "#9c3d7a"
FOOT_M = 0.3048


def draw_sections(
    sections: Sequence[FieldSection], edges: Sequence[BankEdges], path: Path, *, is_us: bool
) -> None:
    """Write one picture with a panel for each section, looking downstream.

    Parameters
    ----------
    is_us
        Axes in feet, otherwise in metres.
    """
    # Late: matplotlib is slow to load and only a picture needs it.
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    unit, scale = ("ft", 1.0 / FOOT_M) if is_us else ("m", 1.0)
    columns = 1 if len(sections) == 1 else 2
    rows = math.ceil(len(sections) / columns)
    figure = Figure(figsize=(7.2 * columns, 3.4 * rows), layout="constrained")
    FigureCanvasAgg(figure)
    panels = np.atleast_1d(figure.subplots(rows, columns, squeeze=False)).ravel()
    for panel, section, edge in zip(panels, sections, edges, strict=False):
        x, z = section.offset_m * scale, section.elevation_m * scale
        panel.fill_between(x, z, z.min() - 0.12 * np.ptp(z), color="#e8e2d6", linewidth=0)
        panel.plot(x, z, color=INK, linewidth=1.4, marker=".", markersize=4)
        for side in ("left", "right"):
            toe, top = (getattr(edge, f"{side}_{what}_m") * scale for what in ("toe", "top"))
            if math.isnan(top):
                continue
            ends = np.interp([toe, top], x, z)
            panel.plot([toe, top], ends, color=FOUND, linewidth=1.2, linestyle="--")
            panel.plot(toe, ends[0], "o", color=WATER, markersize=7, zorder=4)
            panel.plot(top, ends[1], "D", color=FOUND, markersize=7, zorder=4)
            height = getattr(edge, f"{side}_height_m") * scale
            angle = getattr(edge, f"{side}_angle_deg")
            panel.annotate(
                f"{side} {height:.2f} {unit}, {angle:.0f}°",
                (top, ends[1]),
                xytext=(-4 if side == "left" else 4, 9),
                textcoords="offset points",
                ha="right" if side == "left" else "left",
                fontsize=9,
                color=FOUND,
            )
        panel.margins(x=0.16, y=0.18)
        panel.set_title(f"Section {section.section_id}", fontsize=11, loc="left", parse_math=False)
        panel.set_xlabel(f"Station, left to right looking downstream ({unit})", fontsize=9)
        panel.set_ylabel(f"Elevation ({unit})", fontsize=9)
        panel.grid(color="#d9d9d9", linewidth=0.5)
        panel.set_axisbelow(True)
        for spine in ("top", "right"):
            panel.spines[spine].set_visible(False)
    for panel in panels[len(sections) :]:
        panel.set_visible(False)
    figure.supxlabel("Round: toe.  Diamond: top of bank.", fontsize=9, color=INK)
    figure.savefig(path, dpi=130)
