"""Settings of the `planform` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, setting


@dataclass(frozen=True, kw_only=True)
class PlanformSettings:
    """How bends are told apart and how their radius is measured."""

    smoothing_widths: float = setting(
        0.6,
        "Smoothing (standard deviation, in toe widths) of the centreline before inflections are"
        " looked for. Smoothing over a few widths is usual; no standard exists.",
        unit="toe widths",
        source=COMMON_PRACTICE,
        least=0.1,
        greatest=5.0,
    )
    least_turning_deg: float = setting(
        15.0,
        "A stretch between two inflections that turns less is no bend (a direction-change"
        " threshold, after O'Neill and Abrahams 1984, who leave the angle to the user).",
        unit="degrees",
        least=0.0,
        greatest=90.0,
    )
    least_length_widths: float = setting(
        1.5,
        "A stretch between two inflections shorter than this is no bend: the banks' roughness.",
        unit="toe widths",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=20.0,
    )
    straight_radius_widths: float = setting(
        25.0,
        "Where the line curves less than this radius for a while, a bend ends.",
        unit="toe widths",
        least=5.0,
        greatest=200.0,
    )
    straight_length_widths: float = setting(
        1.5,
        "How long that stretch must be.",
        unit="toe widths",
        least=0.0,
        greatest=20.0,
    )
