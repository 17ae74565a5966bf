"""Settings of the `repairs` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import setting


@dataclass(frozen=True, kw_only=True)
class RepairsSettings:
    """Where a repair starts and ends along a bank."""

    start_hazard_score: float = setting(
        50.0,
        "A repair needs at least one section with this hazard or more: where the recession "
        "category severe begins.",
        unit="0-100",
        least=0.0,
        greatest=100.0,
    )
    keep_hazard_score: float = setting(
        35.0,
        "From there it goes on both ways while the hazard is at least this. Found on corridors "
        "of known failing lengths, where a bank that fails on past the bend keeps 33 to 50 and a "
        "sound one on the outside of a bend has about 30.",
        unit="0-100",
        least=0.0,
        greatest=100.0,
    )
    gap_widths: float = setting(
        1.0,
        "Sound or unmeasured bank shorter than this between two failing lengths is taken in.",
        unit="toe widths",
        least=0.0,
        greatest=20.0,
    )
    least_length_m: float = setting(
        5.0,
        "Shorter failing lengths are left out.",
        unit="m",
        least=0.0,
        greatest=1000.0,
    )
    tie_in_m: float = setting(
        1.5,
        "Length of sound bank taken in at each end of a hand-built repair, so that the stream "
        "does not get behind it. Designed work has its own, in the group work.",
        unit="m",
        least=0.0,
        greatest=100.0,
    )
