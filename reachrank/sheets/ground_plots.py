"""Two drawings of the ground: across the channel at three sections, and along the stream."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from reachrank.sheets.local_map import LETTERS
from reachrank.sheets.map_signs import REPAIR, WATER
from reachrank.sheets.measures import Measures, rounded
from reachrank.sheets.paper import INK, QUIET_INK, RULE, Sheet
from reachrank.sheets.site import Site

GROUND = "#d9d2c3"
TOP, TOE = "#4d004b", "#1f6f8b"
_BEYOND_M = 10.0
_BESIDE_M = 4.0
_SIZE = 6.0
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Cuts:
    """The sections to draw, each with its letter, and the frame that holds all of them."""

    drawn: list[tuple[str, Any, Floats, Floats]]
    half_m: float
    low_m: float
    high_m: float


_GAP, _LEFT, _FOOT, _HEAD = 6.0, 20.0, 10.0, 10.0


def _cuts(site: Site) -> _Cuts | None:
    drawn = []
    for n, k in enumerate(site.shown):
        section = site.sections.iloc[k]
        if str(section["section_id"]) in site.profiles:
            drawn.append(
                (LETTERS[n], section, *_cut(site.profiles[section["section_id"]], section))
            )
    if not drawn:
        return None
    low = min(float(np.nanmin(heights)) for *_, heights in drawn)
    high = max(float(np.nanmax(heights)) for *_, heights in drawn)
    pad = 0.16 * max(high - low, 0.5)
    half = max(float(np.abs(offsets).max()) for _, _, offsets, _ in drawn)
    return _Cuts(drawn, half, low - pad, high + 1.6 * pad)


def _panel_width(count: int, width: float) -> float:
    return (width - _LEFT - _GAP * (count - 1)) / count


def sections_caption(site: Site, measures: Measures, width: float, height: float) -> str:
    """Return what to print under the cross-sections when they are drawn in that size."""
    cuts = _cuts(site)
    if cuts is None:
        return "Rank with --profiles all, or a larger number, to have cross-sections here."
    up = (height - _FOOT - _HEAD) / (cuts.high_m - cuts.low_m)
    across = _panel_width(len(cuts.drawn), width) / (2.0 * cuts.half_m)
    unit = measures.unit("m")
    return (
        f"Looking downstream, left bank on the left; {unit} from the middle, {unit} above the bed; "
        f"heights drawn {rounded(up / across, 1)} times as large as widths. ▼ top, ▲ toe (the "
        "water's edge of the flight; nothing below it is seen). Bold: the section that decides the "
        "score."
    )


def draw_sections(
    sheet: Sheet, site: Site, measures: Measures, x: float, y: float, width: float, height: float,
    size: float = _SIZE,
) -> None:  # fmt: skip
    """Draw up to three cross-sections side by side, all on one scale."""
    cuts = _cuts(site)
    if cuts is None:
        _nothing(sheet, "No profile is kept for this place.", x, y, width, height, size)
        return
    each = _panel_width(len(cuts.drawn), width)
    for n, (letter, section, offsets, heights) in enumerate(cuts.drawn):
        left = x + _LEFT + n * (each + _GAP)
        axes = sheet.axes(left, y + _HEAD, each, height - _FOOT - _HEAD)
        _draw_section(axes, site, section, offsets, heights, measures, size)
        axes.set_xlim(measures.number(-cuts.half_m, "m"), measures.number(cuts.half_m, "m"))
        axes.set_ylim(measures.number(cuts.low_m, "m"), measures.number(cuts.high_m, "m"))
        _dress(axes, size, first=n == 0, x_ticks=5, y_ticks=4)
        decides = str(section["section_id"]) == site.deciding
        sheet.text(
            left, y + _HEAD - 2.5,
            f"{letter}  {measures.of(section['station_m'], 'm', 0)} up",
            size, bold=decides, room=each,
        )  # fmt: skip


def _nothing(
    sheet: Sheet, text: str, x: float, y: float, width: float, height: float, size: float
) -> None:
    sheet.box(x, y, width, height, facecolor="white", edgecolor=RULE, linewidth=0.6)
    middle = x + width / 2.0, y + height / 2.0
    sheet.text(*middle, text, size + 0.5, align="center", colour=QUIET_INK)


def _cut(profile: tuple[Floats, Floats], section: pd.Series[Any]) -> tuple[Floats, Floats]:
    """Return the part of a profile that matters, above its bed."""
    offsets, heights = profile
    tops = [section.get(f"{side}_top_offset_m") for side in ("left", "right")]
    far = max([float(t) for t in tops if pd.notna(t)], default=float(np.abs(offsets).max()) / 2.0)
    keep = np.abs(offsets) <= far + _BEYOND_M
    above = heights - float(section["bed_elevation_m"])
    return (offsets[keep], above[keep]) if np.isfinite(above[keep]).any() else (offsets, above)


def _draw_section(
    axes: Axes,
    site: Site,
    section: pd.Series[Any],
    offsets: Floats,
    heights: Floats,
    measures: Measures,
    size: float,
) -> None:
    x = np.array([measures.number(v, "m") for v in offsets])
    z = np.array([measures.number(v, "m") for v in heights])
    axes.fill_between(x, z, -1e4, where=np.isfinite(z), color=GROUND, lw=0)
    axes.plot(x, z, color=INK, lw=1.0)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        toe, top = section.get(f"{side}_toe_offset_m"), section.get(f"{side}_top_offset_m")
        if pd.notna(toe):
            at = measures.number(sign * float(toe), "m")
            axes.plot(at, np.interp(at, x, z), marker="^", ms=4.5, color=TOE, mec="white", mew=0.4)
        if pd.isna(top):
            continue
        at = measures.number(sign * float(top), "m")
        level = np.interp(at, x, z)
        axes.plot(at, level, marker="v", ms=5.0, color=TOP, mec="white", mew=0.4)
        height = section.get(f"{side}_bank_height_m")
        if pd.notna(height):
            own = side == site.side
            beside = np.abs(x - at) < measures.number(_BESIDE_M, "m")
            over = float(np.nanmax([level, *z[beside]]))
            axes.annotate(
                measures.of(height, "m", 1), (at, over), (0.0, 4.0), textcoords="offset points",
                fontsize=size, fontweight="bold" if own else "normal",
                color=TOP if own else QUIET_INK, ha="center",
            )  # fmt: skip


def profile_caption(site: Site, measures: Measures) -> str:
    """Return what to print under the long profile."""
    unit = measures.unit("m")
    other = "right" if site.side == "left" else "left"
    shaded = "the length to work on" if site.repair is not None else "the reach"
    return (
        f"Along the stream, {unit} of elevation by {unit} of station; water flows to the left: bed "
        f"(blue), {site.side} bank top (violet), {other} bank top (dashed); shaded: {shaded}."
    )


def draw_profile(
    sheet: Sheet, site: Site, measures: Measures, x: float, y: float, width: float, height: float,
    size: float = _SIZE,
) -> None:  # fmt: skip
    """Draw bed and bank tops along the stream."""
    along = site.sections
    bed = along["bed_elevation_m"].to_numpy("float64")
    if len(along) < 2 or not np.isfinite(bed).any():
        _nothing(sheet, "There are too few sections here.", x, y, width, height, size)
        return
    left, foot = 26.0, 10.0
    axes = sheet.axes(x + left, y + 2.0, width - left, height - foot - 2.0)
    station = np.array([measures.number(v, "m") for v in along["station_m"]])

    def level(values: Floats) -> Floats:
        return np.array([measures.number(v, "m") for v in values])

    usable = along["quality"].to_numpy("float64") > 0.0
    tops = {
        side: np.where(
            usable, along[f"{side}_top_elevation_m"].to_numpy("float64", na_value=np.nan), np.nan
        )
        for side in ("left", "right")
    }
    own = tops[site.side]
    ends = [measures.number(v, "m") for v in site.station]
    axes.axvspan(*ends, color=REPAIR if site.repair is not None else RULE, alpha=0.22, lw=0)
    axes.fill_between(station, level(bed), -1e5, color=GROUND, lw=0)
    axes.plot(station, level(bed), color=WATER, lw=1.3)
    other = "right" if site.side == "left" else "left"
    axes.plot(station, level(tops[other]), color=QUIET_INK, lw=0.8, ls=(0, (2, 1.5)))
    axes.plot(station, level(own), color=TOP, lw=1.2)
    known = np.concatenate([bed, own, tops[other]])
    known = known[np.isfinite(known)]
    low, high = (float(np.percentile(known, q)) for q in (0.5, 99.5))
    pad = 0.14 * max(high - low, 0.5)
    axes.set_ylim(measures.number(low - pad, "m"), measures.number(high + 1.8 * pad, "m"))
    axes.set_xlim(float(station.min()), float(station.max()))
    top_y = axes.get_ylim()[1]
    for letter, k in zip(LETTERS, site.shown, strict=False):
        axes.axvline(station[k], color=INK, lw=0.5, ls=(0, (1, 1.5)))
        axes.annotate(
            letter, (station[k], top_y), (0.0, -1.5), textcoords="offset points", fontsize=size,
            fontweight="bold", ha="center", va="top",
        )  # fmt: skip
    _dress(axes, size, first=True, x_ticks=8, y_ticks=4)


def _dress(axes: Axes, size: float, *, first: bool, x_ticks: int, y_ticks: int) -> None:
    axes.xaxis.set_major_locator(MaxNLocator(x_ticks, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(y_ticks, steps=[1, 2, 2.5, 5, 10]))
    plain_number = FuncFormatter(lambda value, _: f"{value:,.10g}".replace("-", "−"))
    axes.xaxis.set_major_formatter(plain_number)
    axes.yaxis.set_major_formatter(plain_number)
    axes.tick_params(
        labelsize=size, length=2.0, width=0.5, pad=1.5, color=QUIET_INK, labelcolor=INK
    )
    axes.tick_params(labelleft=first)
    axes.grid(axis="y", color="white", lw=0.5, alpha=0.7)
    axes.set_axisbelow(False)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(QUIET_INK)
