"""Settings of the `reaches` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, setting


@dataclass(frozen=True, kw_only=True)
class ReachesSettings:
    """How streams are cut into reaches, and what counts in a reach's and a bank's figures."""

    target_length_m: float = setting(
        100.0,
        "Length that reaches aim at. A stretch between junctions is cut into equal pieces, as many "
        "as make their length nearest to this; a shorter stretch is one reach.",
        unit="m",
        source=COMMON_PRACTICE,
        least=5.0,
        greatest=10_000.0,
    )
    least_quality: float = setting(
        0.25,
        "Sections with a quality below this do not count in the figures of a bank.",
        least=0.0,
        greatest=1.0,
    )
    slope_window_widths: float = setting(
        12.0,
        "The slope is taken over at least this many channel widths, so that one pool or riffle "
        "does not decide it; where the bed does not fall over them, over twice as many, and so on.",
        unit="toe widths",
        source="two pool-riffle spacings of 5 to 7 widths, Leopold, Wolman & Miller 1964, Fluvial "
        "Processes in Geomorphology (from memory)",
        least=1.0,
        greatest=200.0,
    )
    smoothing_widths: float = setting(
        1.8,
        "Sections nearer to each other than this share their elevation noise: they count as one "
        "in the standard error of the bank height. In channels wider than twelve cells as in one "
        "of twelve.",
        unit="toe widths",
        least=0.0,
        greatest=50.0,
    )
    bridge_widths: float = setting(
        1.5,
        "Gaps in the measured bank top up to this long are drawn straight from top to top; in the "
        "middle of longer ones the line follows the toe.",
        unit="toe widths",
        least=0.0,
        greatest=50.0,
    )
    bridge_sections: int = setting(
        3,
        "Gaps of up to this many sections are drawn straight from top to top, however long.",
        least=0,
        greatest=50,
    )
    top_median_widths: float = setting(
        1.5,
        "Running median of the top's offset over this length, at least three sections, before the "
        "line is drawn: false tops on less than half of it make no spike. 0 draws through every "
        "top.",
        unit="toe widths",
        least=0.0,
        greatest=20.0,
    )
