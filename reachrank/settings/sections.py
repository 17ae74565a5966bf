"""Settings of the `sections` stage."""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.settings._field import setting


@dataclass(frozen=True, kw_only=True)
class SectionsSettings:
    """Where sections are placed and what counts as a bank."""

    spacing_m: float = setting(
        5.0,
        "Distance between sections; shortened to one toe width on narrow streams, never under two"
        " cells.",
        unit="m",
        least=0.5,
        greatest=500.0,
    )
    least_height_m: float = setting(
        0.25,
        "A lower rise is not called a bank: it drowns in the noise of lidar.",
        unit="m",
        least=0.05,
        greatest=5.0,
    )
    look_m: float = setting(
        12.0,
        "How far beyond the toe the top of the bank is looked for.",
        unit="m",
        least=2.0,
        greatest=100.0,
    )
    look_widths: float = setting(
        1.0,
        "The first look is at least this many toe widths long; where the ground does not level off"
        " it goes twice as far, twice.",
        unit="toe widths",
        least=0.0,
        greatest=10.0,
    )
    look_most_m: float = setting(
        60.0, "No look goes farther beyond the toe.", unit="m", least=5.0, greatest=500.0
    )
    least_face_slope_ratio: float = setting(
        0.1, "A gentler face is no bank.", unit="ratio", least=0.0, greatest=1.0
    )
    lip_ratio: float = setting(
        0.4,
        "A top is a lip: behind it the ground is at most this share as steep as the face. A slope"
        " without a lip has no top.",
        unit="ratio",
        least=0.0,
        greatest=0.95,
    )
    most_height_m: float = setting(
        10.0,
        "A higher face is a valley side or a gorge's wall, not a bank.",
        unit="m",
        least=1.0,
        greatest=100.0,
    )
    ground_prior_slope: float = setting(
        0.0, "Expected slope of the ground behind the top.", unit="ratio", least=-0.2, greatest=0.5
    )
    ground_prior_sd: float = setting(
        0.05,
        "How far that slope usually strays: a weak prior. Forced level, errors grow by half.",
        unit="ratio",
        least=0.005,
        greatest=1.0,
    )
    crossing_rise_m: float = setting(
        0.5,
        "A bed this far above the beds around it is a road fill or a culvert, not a bed.",
        unit="m",
        least=0.1,
        greatest=5.0,
    )
    pond_widths: float = setting(
        2.5,
        "Where the water is this many times as wide as around, it is a pond.",
        unit="widths",
        least=1.2,
        greatest=20.0,
    )
    coarse_cells: float = setting(
        3.0,
        "A channel narrower than this many cells is too narrow for the grid: its sections are"
        " marked coarse.",
        unit="cells",
        least=1.0,
        greatest=10.0,
    )
    line_far_m: float = setting(
        15.0,
        "A drawn line farther than this from the found channel, and farther than two toe widths, is"
        " marked.",
        unit="m",
        least=1.0,
        greatest=500.0,
    )
