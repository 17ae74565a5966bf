"""What a synthetic corridor is made of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

Side = Literal["left", "right"]
Kind = Literal["straight", "arcs", "sine", "kinoshita", "short", "irregular"]
Face = Literal["straight", "rounded", "block"]


@dataclass(frozen=True, kw_only=True)
class Failing:
    """A stretch of plainly failing bank: higher and steeper than the rest, between sharp limits.

    Distances run downstream from the head of the corridor. Height and angle change over one toe
    width centred on each limit.
    """

    side: Side
    from_m: float
    to_m: float
    height_m: float
    angle_deg: float


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """A road on a fill across the channel, which the elevation model shows as a dam."""

    at_m: float
    fill_m: float = 2.0
    crest_width_m: float = 6.0
    half_length_m: float = 35.0
    skew_deg: float = 10.0


@dataclass(frozen=True, kw_only=True)
class Hole:
    """A round place where the elevation model has no data."""

    at_m: float
    radius_m: float = 12.0


@dataclass(frozen=True, kw_only=True)
class Pond:
    """A round pond that the channel runs through."""

    at_m: float
    radius_m: float = 14.0


@dataclass(frozen=True, kw_only=True)
class House:
    """A building at a known distance from the top of the nearest bank."""

    at_m: float
    side: Side
    distance_m: float
    structure_class: str = "house"


@dataclass(frozen=True, kw_only=True)
class CorridorSpec:
    """A stream corridor with known truth.

    Attributes
    ----------
    kind
        Planform: ``straight``, ``arcs`` (circles), ``sine`` (sine-generated), ``kinoshita``,
        ``short`` (short bends joined by straights) or ``irregular`` (every bend differs).
    toe_width_m
        Mean width between the toes.
    height_m
        Mean height of the outside bank above the water's edge.
    radius_width
        Least centreline radius over ``toe_width_m``.
    omega_deg
        Greatest angle between the line and the valley at the inflections; for ``arcs`` and
        ``short`` half the turning of a bend.
    length_m
        Wanted length along the channel; whole bends are used and there are at least 8.
    straight_widths
        Length of the straights in ``short``, in toe widths.
    outside_angle_deg, inside_angle_deg
        Face angles at the apex of the tightest bends; in between they are blended, and at an
        inflection both banks have the middle angle. An inside face is made steeper where it
        would reach the centre of the bend.
    inside_height_frac
        Height of the inside bank (the bar) over that of the outside bank, at the apex.
    face
        ``straight``; ``rounded``, with a parabola over ``rounding_frac`` of the face to each side
        of the lip; ``block``, with a failed block half way up in patches.
    ground_slope_ratio
        Rise of the ground behind the top, for the first 30 m.
    valley_side
        Side, distance behind the outermost bank tops, and rise over run of a valley side; or None.
    ditch
        Side and distance behind the outermost bank tops of a field ditch 0.4 m deep; or None.
    levee_fall_ratio
        Fall of the ground away from a natural levee whose crest is the top; 0 for none.
    levee_drop_m
        How far the ground falls behind the crest.
    plants_m
        Height of low plants left in the elevation, in patches on faces and tops; 0 for none.
    width_variation_frac, height_variation_frac
        Greatest change of width and height along the channel, as a share of the mean.
    toe_roughness_frac
        Standard deviation of each toe's own departure from an even channel, as a share of
        ``toe_width_m``; it grows with the wavelength, up to eight toe widths. A river 30 m wide
        of the U.S. Midwest has 0.034.
    width_growth_frac
        Growth of the width from head to mouth, as a share of ``toe_width_m``.
    slope_ratio
        Fall of the water along the channel.
    bed_relief_m
        Greatest departure of the water's profile from an even fall.
    failing, crossings, holes, ponds, houses
        Things placed along the channel.
    cell_m, noise_m
        Side of the cells, and total standard deviation of the elevation noise.
    margin_m
        Ground around the channel in the elevation model.
    rotation_deg, origin_m
        Where the corridor lies in the world: its head, and the direction of its valley.
    line_wander_widths
        Greatest sideways error of the stream line, in toe widths.
    line_step_m
        Least and greatest distance between the line's vertices.
    line_reversed
        Whether the line is drawn upstream.
    line_pieces
        Number of pieces the line is cut into.
    """

    kind: Kind = "sine"
    toe_width_m: float = 5.0
    height_m: float = 1.5
    radius_width: float = 2.5
    omega_deg: float = 70.0
    length_m: float = 800.0
    straight_widths: float = 6.0
    outside_angle_deg: float = 60.0
    inside_angle_deg: float = 18.0
    inside_height_frac: float = 0.6
    face: Face = "straight"
    rounding_frac: float = 0.35
    ground_slope_ratio: float = 0.01
    valley_side: tuple[Side, float, float] | None = None
    ditch: tuple[Side, float] | None = None
    levee_fall_ratio: float = 0.0
    levee_drop_m: float = 0.5
    plants_m: float = 0.0
    width_variation_frac: float = 0.12
    height_variation_frac: float = 0.15
    toe_roughness_frac: float = 0.0
    width_growth_frac: float = 0.0
    slope_ratio: float = 0.003
    bed_relief_m: float = 0.05
    failing: tuple[Failing, ...] = ()
    crossings: tuple[Crossing, ...] = ()
    holes: tuple[Hole, ...] = ()
    ponds: tuple[Pond, ...] = ()
    houses: tuple[House, ...] = ()
    cell_m: float = 1.0
    noise_m: float = 0.07
    margin_m: float = 40.0
    rotation_deg: float = 23.0
    origin_m: tuple[float, float] = (182_340.0, 311_870.0)
    line_wander_widths: float = 1.0
    line_step_m: tuple[float, float] = (4.0, 14.0)
    line_reversed: bool = False
    line_pieces: int = 1


def variant(spec: CorridorSpec, **changes: Any) -> CorridorSpec:
    """Return the same corridor with some things changed, for instance ``cell_m`` or ``noise_m``.

    Examples
    --------
    >>> from reachrank.synthetic import CORRIDORS, variant
    >>> variant(CORRIDORS["sine_w5"], cell_m=0.5).cell_m
    0.5
    """
    return replace(spec, **changes)
