"""Settings of the `network` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import COMMON_PRACTICE, setting


@dataclass(frozen=True, kw_only=True)
class NetworkSettings:
    """How lines are joined, turned downstream, and given their drainage area."""

    snap_cells: float = setting(
        2.0,
        "Ends this many DEM cells apart are joined. Lines traced off a grid miss each other by up "
        "to one diagonal, 1.4 cells.",
        unit="cells",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=20.0,
    )
    snap_least_m: float = setting(
        3.0,
        "Ends this close are joined whatever the cell size. Hand-drawn lines at 1:5000 are true "
        "to about half a millimetre on the map, 2.5 m; much more would join separate ditches.",
        unit="m",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=100.0,
    )
    search_m: float = setting(
        10.0,
        "Half width of the strip in which the low ground beside a line is looked for when its "
        "direction is decided; lines lie metres off the channel.",
        unit="m",
        least=0.0,
        greatest=100.0,
    )
    elevation_noise_m: float = setting(
        0.15,
        "Standard error of an elevation difference that is not told by the scatter along the line.",
        unit="m",
        source="USGS Lidar Base Specification 2.1, quality level 2: 0.30 m at the 95th percentile "
        "under plants, taken as 1.96 standard errors",
        least=0.01,
        greatest=10.0,
    )
    gross_error_frac: float = setting(
        0.001,
        "Share of lines whose measured fall is plainly wrong, as where a line lies on the wrong "
        "slope. It bounds how much one line's elevation can outweigh all its neighbours.",
        unit="0-1",
        least=1e-6,
        greatest=0.2,
    )
    drawn_odds_ratio: float = setting(
        2.0,
        "How many times likelier the drawn direction is right than wrong where nothing else "
        "tells; 1 ignores it.",
        unit="ratio",
        least=1.0,
        greatest=1000.0,
    )
    fork_odds_ratio: float = setting(
        50.0,
        "How many times likelier a junction has one way out than each further one.",
        unit="ratio",
        least=1.0,
        greatest=1e6,
    )
    dead_end_odds_ratio: float = setting(
        100.0,
        "How many times likelier a junction has both a way in and a way out than only the one "
        "or the other. Streams may meet at the very edge of the data, so a clear fall of the "
        "ground must outweigh it; see gross_error_frac.",
        unit="ratio",
        least=1.0,
        greatest=1e9,
    )
    doubtful_odds_ratio: float = setting(
        10.0,
        "A direction is reported as doubtful where it is less than this many times likelier than "
        "its opposite.",
        unit="ratio",
        least=1.0,
        greatest=1e6,
    )
    burn_m: float = setting(
        5.0,
        "How far the stream lines are sunk into the copy of the DEM that drainage area is found "
        "on, so that road fills do not turn the flow; fills over small streams are seldom higher.",
        unit="m",
        source=COMMON_PRACTICE,
        least=0.0,
        greatest=1000.0,
    )
    routing_greatest_cells: float = setting(
        20e6,
        "The DEM is coarsened to at most this many cells for flow routing.",
        unit="cells",
        least=1e4,
        greatest=1e9,
    )
    area_raster_unit: str = setting(
        "km2",
        "What the values of the drainage-area raster are.",
        choices=("km2", "mi2", "cells"),
    )
    area_search_cells: int = setting(
        2,
        "The largest value this many cells of the drainage-area raster around the lower part of "
        "an edge is taken; stream line and raster seldom agree to the cell.",
        unit="cells",
        source=COMMON_PRACTICE,
        least=0,
        greatest=20,
    )
