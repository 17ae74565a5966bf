"""The channel along its length: planform, water's edge, widths and the two banks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reachrank.errors import UsageError
from reachrank.synthetic import planform as pf
from reachrank.synthetic.fields import rough, slow, smoothstep
from reachrank.synthetic.section import BENCH_SLOPE, BankShape
from reachrank.synthetic.spec import CorridorSpec

Array = NDArray[np.float64]

STATION_STEP_M = 0.25
LEAD_WIDTHS = 4.0
LEAST_BENDS = 8
ROUGH_WIDTHS = 8.0
"""Longest wavelength of a toe's roughness, in toe widths; what is longer is the channel's width."""


@dataclass(frozen=True)
class Stations:
    """The channel on an even step, in the corridor's own frame (valley along x).

    Attributes
    ----------
    length_m
        Length of the part whose truth is told; beyond its ends the channel goes on straight.
    plan
        Place, heading and curvature.
    water_m
        Elevation of the water's edge.
    plain_m
        Height of the flood plain above the water's edge.
    left, right
        The banks, looking downstream.
    left_failing, right_failing
        True within the limits of the plainly failing stretches.
    """

    length_m: float
    plan: pf.Planform
    water_m: Array
    plain_m: Array
    left: BankShape
    right: BankShape
    left_failing: NDArray[np.bool_]
    right_failing: NDArray[np.bool_]

    @property
    def told(self) -> NDArray[np.bool_]:
        """True for the stations whose truth is told."""
        return (self.plan.s_m >= -1e-9) & (self.plan.s_m <= self.length_m + 1e-9)

    def bank(self, side: str) -> BankShape:
        """Return the left or the right bank."""
        return self.left if side == "left" else self.right

    def offset_place(self, side: str, distance_m: Array) -> tuple[Array, Array]:
        """Return the points at a distance from the middle of the channel towards one bank."""
        sign = 1.0 if side == "left" else -1.0
        return (
            self.plan.x_m - sign * distance_m * np.sin(self.plan.heading_rad),
            self.plan.y_m + sign * distance_m * np.cos(self.plan.heading_rad),
        )


def make_curve(spec: CorridorSpec, rng: np.random.Generator) -> pf.Curve:
    """Return the centreline of a specification, entering and leaving along the valley."""
    radius = spec.radius_width * spec.toe_width_m
    omega = float(np.radians(spec.omega_deg))
    lead = LEAD_WIDTHS * spec.toe_width_m
    if spec.kind == "straight":
        return pf.straight(spec.length_m)
    room = spec.length_m - 2.0 * lead - np.pi * omega * radius

    def count(half_wave_m: float) -> int:
        return max(LEAST_BENDS, round(room / half_wave_m))

    curve: pf.Curve
    if spec.kind == "sine":
        meander = 2.0 * np.pi * omega * radius
        curve = pf.sine_generated(meander, omega, count(meander / 2.0))
    elif spec.kind == "arcs":
        curve = pf.arcs(radius, 2.0 * omega, count(2.0 * omega * radius / 0.85))
    elif spec.kind == "short":
        gap = spec.straight_widths * spec.toe_width_m
        half_wave = np.pi * omega * radius + gap
        curve = pf.short_bends(radius, 2.0 * omega, count(half_wave), gap)
    elif spec.kind == "irregular":
        mean = np.pi * omega * 0.8 * radius * 1.8
        curve = pf.irregular(radius, (0.6 * omega, omega), count(mean), rng)
    elif spec.kind == "kinoshita":
        unit = pf.Kinoshita(1.0, omega, 2)
        peak = float(np.abs(unit.curvature_per_m(np.linspace(0.0, 1.0, 20001))).max())
        meander = radius * peak
        curve = pf.Kinoshita(meander, omega, count(meander / 2.0))
    else:
        raise UsageError(f"No planform is called {spec.kind!r}.", where="CorridorSpec.kind")
    return pf.WithEnds(curve, 1.5 * radius, lead)


def make_stations(spec: CorridorSpec, rng: np.random.Generator) -> Stations:
    """Lay out the channel of a corridor; its water ends at an elevation of 100 m."""
    curve = make_curve(spec, rng)
    more = 1.6 * spec.margin_m + 30.0
    plan = pf.sample(curve, STATION_STEP_M, extend_m=(more, more))
    return lay_out(spec, plan, curve.length_m, rng)


def lay_out(
    spec: CorridorSpec,
    plan: pf.Planform,
    length_m: float,
    rng: np.random.Generator,
    *,
    mouth: tuple[float, float] | None = None,
    head_m: float = 0.0,
) -> Stations:
    """Give a planform its water, its widths and its banks.

    Parameters
    ----------
    spec
        What the channel is like.
    plan
        Where it lies.
    length_m
        Length of the part whose truth is told.
    mouth
        Elevations of the water and of the flood plain at the mouth, for a tributary: its own
        go over into these along the last 80 m.
    head_m
        Length below the head along which the banks grow to their full height and width.
    """
    n, step, width = plan.s_m.size, STATION_STEP_M, spec.toe_width_m
    toe = 0.5 * width * (1.0 + spec.width_variation_frac * slow(n, step, 4.0 * width + 10.0, rng))
    toe = toe * (1.0 + spec.width_growth_frac * np.clip(plan.s_m / length_m, 0.0, 1.0))
    plain = spec.height_m * (1.0 + spec.height_variation_frac * slow(n, step, 50.0, rng))
    water = spec.slope_ratio * (length_m - plan.s_m)
    relief = spec.bed_relief_m * slow(n, step, 3.0 * width, rng)
    if mouth is not None:
        own = smoothstep((length_m - plan.s_m) / 80.0)
        plain = mouth[1] - mouth[0] + own * (plain - (mouth[1] - mouth[0]))
        relief = relief * own
    if head_m > 0:
        grown = 0.3 + 0.7 * smoothstep((plan.s_m - plan.s_m[0]) / head_m)
        plain, toe = plain * grown, toe * np.sqrt(grown)
    water = water + relief + (mouth[0] if mouth is not None else 100.0)
    water = np.maximum.accumulate(water[::-1])[::-1]
    patches = slow(n, step, 4.0, rng)
    outness = _outness(plan)
    banks: dict[str, BankShape] = {}
    failing: dict[str, NDArray[np.bool_]] = {}
    for side, out in (("left", 1.0 - outness), ("right", outness)):
        share = np.ones_like(out) if spec.kind == "straight" else out
        own = toe
        if spec.toe_roughness_frac > 0:
            wave = rough(n, step, ROUGH_WIDTHS * width, rng)
            own = np.maximum(toe + spec.toe_roughness_frac * width * wave, 0.25 * width)
        banks[side], failing[side] = _bank(
            spec, plan, side, outness=share, toe_m=own, plain_m=plain, patches=patches
        )
    return Stations(
        length_m,
        plan,
        water,
        plain,
        banks["left"],
        banks["right"],
        failing["left"],
        failing["right"],
    )


def _outness(plan: pf.Planform) -> Array:
    """How much the right bank is the outside one: 0 not at all, 0.5 neither, 1 wholly."""
    reference = 0.6 * max(float(np.abs(plan.curvature_per_m).max()), 1e-12)
    return smoothstep(0.5 + 0.5 * plan.curvature_per_m / reference)


def _bank(
    spec: CorridorSpec,
    plan: pf.Planform,
    side: str,
    *,
    outness: Array,
    toe_m: Array,
    plain_m: Array,
    patches: Array,
) -> tuple[BankShape, NDArray[np.bool_]]:
    height = plain_m * (spec.inside_height_frac + (1.0 - spec.inside_height_frac) * outness)
    angle = spec.inside_angle_deg + (spec.outside_angle_deg - spec.inside_angle_deg) * outness
    failing = np.zeros(plan.s_m.size, bool)
    ramp = spec.toe_width_m
    for part in spec.failing:
        if part.side != side:
            continue
        inside = smoothstep((plan.s_m - part.from_m) / ramp + 0.5) * smoothstep(
            (part.to_m - plan.s_m) / ramp + 0.5
        )
        height = height + inside * (part.height_m - height)
        angle = angle + inside * (part.angle_deg - angle)
        failing |= (plan.s_m >= part.from_m) & (plan.s_m <= part.to_m)
    cot = 1.0 / np.tan(np.radians(angle))
    towards = plan.curvature_per_m if side == "left" else -plan.curvature_per_m
    room = 0.75 * (1.0 / np.maximum(towards, 1e-9) - toe_m)
    cot = np.minimum(cot, np.maximum(room, 0.2) / height)
    bench = np.zeros_like(height)
    if spec.face == "block":
        present = smoothstep(3.0 * patches) * smoothstep((outness - 0.55) / 0.2)
        bench = present * np.minimum(1.3, 0.8 * height)
    rise = (height - bench * BENCH_SLOPE) * np.where(bench > 0, 0.5, 1.0)
    rounding = spec.rounding_frac * rise * cot if spec.face == "rounded" else np.zeros_like(cot)
    is_levee = spec.levee_fall_ratio > 0
    behind = np.full_like(cot, -spec.levee_fall_ratio if is_levee else spec.ground_slope_ratio)
    return BankShape(toe_m, height, cot, rounding, bench, behind), failing
