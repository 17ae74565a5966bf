"""Settings of the `channel` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import setting


@dataclass(frozen=True, kw_only=True)
class ChannelSettings:
    """How the channel is found beside the drawn line."""

    search_half_width_m: float = setting(
        30.0,
        "How far to each side of the drawn line the channel is looked for at first; wide waters"
        " make it grow by themselves.",
        unit="m",
        least=5.0,
        greatest=500.0,
    )
    search_most_m: float = setting(
        160.0,
        "How far the search may grow for wide rivers.",
        unit="m",
        least=10.0,
        greatest=1000.0,
    )
    line_smoothing_m: float = setting(
        4.0,
        "Smoothing (standard deviation) of the drawn line before the first search; evens out"
        " corners of lines with a vertex every 3 to 20 m.",
        unit="m",
        least=0.0,
        greatest=50.0,
    )
    height_cap_m: float = setting(
        1.5,
        "Height above the low from which on every place costs the same in the search, so that a"
        " road fill is crossed and not walked around.",
        unit="m",
        least=0.2,
        greatest=20.0,
    )
    toe_rise_m: float = setting(
        0.25,
        "Rise above the bed that first tells water's edge from bed, before banks are fitted.",
        unit="m",
        least=0.05,
        greatest=2.0,
    )
    along_smoothing_widths: float = setting(
        0.4,
        "Smoothing along the channel (standard deviation, in toe widths) before a bank is fitted;"
        " in channels wider than twelve cells as in one of twelve.",
        unit="toe widths",
        least=0.0,
        greatest=3.0,
    )
    median_widths: float = setting(
        1.8,
        "Window of the running median of toes and tops; a longer one hides short failures. In"
        " channels wider than twelve cells as in one of twelve.",
        unit="toe widths",
        least=0.0,
        greatest=10.0,
    )
    base_smoothing_widths: float = setting(
        0.5,
        "Smoothing (standard deviation, in toe widths) of the line before it is cut again: noise in"
        " it would tilt the sections.",
        unit="toe widths",
        least=0.0,
        greatest=3.0,
    )
    centre_smoothing_widths: float = setting(
        0.5,
        "Smoothing (standard deviation, in toe widths) of the move to the middle of the toes.",
        unit="toe widths",
        least=0.0,
        greatest=3.0,
    )
    recentre_rounds: int = setting(
        3,
        "How often the line is moved to the middle of the toes and cut again; each round gives back"
        " what the smoothing took from the bends.",
        least=1,
        greatest=8,
    )
