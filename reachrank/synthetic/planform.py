"""Centrelines whose heading and curvature are known in closed form.

A `Curve` gives heading and curvature at any distance; `sample` puts it on an even step. Distances
here run **downstream**, heading is counter-clockwise from the x axis, and curvature is positive
where the line turns left going downstream; then the right bank is outside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import cumulative_simpson

Array = NDArray[np.float64]


class Curve(Protocol):
    """A centreline given by its own distance."""

    @property
    def length_m(self) -> float:
        """Whole length."""
        ...

    def heading_rad(self, s_m: Array) -> Array:
        """Direction at distances along the line, not wrapped."""
        ...

    def curvature_per_m(self, s_m: Array) -> Array:
        """Change of direction per metre at distances along the line."""
        ...


@dataclass(frozen=True)
class Piece:
    """One bend or one straight of a `Train`.

    Attributes
    ----------
    length_m
        Length along the line.
    turning_rad
        Change of direction from end to end; positive turns left. 0 for a straight.
    shape
        ``"sine"``: curvature rises and falls as half a sine wave, zero at both ends. A train of
        these with equal lengths and turnings 2 omega of alternating sign is the sine-generated
        curve of Langbein and Leopold (1966). ``"arc"``: a circle with a ramp at each end.
    skew
        Share -0.45 to 0.45 of the second harmonic in a ``"sine"`` piece: positive puts the apex
        upstream of the middle.
    ramp_frac
        Share of an ``"arc"`` piece over which curvature rises from 0, and again falls.
    """

    length_m: float
    turning_rad: float
    shape: Literal["sine", "arc"] = "sine"
    skew: float = 0.0
    ramp_frac: float = 0.15

    def curvature(self, u: Array) -> Array:
        """Curvature at shares ``u`` of the length."""
        if self.shape == "sine":
            peak = np.pi * self.turning_rad / (2.0 * self.length_m)
            return peak * (np.sin(np.pi * u) + self.skew * np.sin(2.0 * np.pi * u))
        peak = self.turning_rad / (self.length_m * (1.0 - self.ramp_frac))
        if self.ramp_frac == 0.0:
            return np.full_like(u, peak)
        return peak * np.clip(np.minimum(u, 1.0 - u) / self.ramp_frac, 0.0, 1.0)

    def turned(self, u: Array) -> Array:
        """Change of direction from the start to shares ``u`` of the length."""
        if self.shape == "sine":
            wave = 1.0 - np.cos(np.pi * u)
            second = self.skew * (1.0 - np.cos(2.0 * np.pi * u)) / 2.0
            return self.turning_rad / 2.0 * (wave + second)
        ramp = self.ramp_frac
        peak = self.turning_rad / (1.0 - ramp)
        if ramp == 0.0:
            return peak * u
        rising = np.minimum(u, ramp) ** 2 / (2.0 * ramp)
        level = np.clip(u - ramp, 0.0, 1.0 - 2.0 * ramp)
        into = np.clip(u - (1.0 - ramp), 0.0, ramp)
        return peak * (rising + level + into - into**2 / (2.0 * ramp))


@dataclass(frozen=True)
class Train:
    """Pieces end to end, each beginning in the direction in which the last one ended."""

    pieces: tuple[Piece, ...]
    start_heading_rad: float = 0.0

    @property
    def length_m(self) -> float:
        """Whole length."""
        return float(sum(piece.length_m for piece in self.pieces))

    def _locate(self, s_m: Array) -> tuple[NDArray[np.int64], Array, Array]:
        edges = np.concatenate([[0.0], np.cumsum([piece.length_m for piece in self.pieces])])
        which = np.clip(np.searchsorted(edges, s_m, side="right") - 1, 0, len(self.pieces) - 1)
        lengths = np.diff(edges)
        return which, np.clip((s_m - edges[which]) / lengths[which], 0.0, 1.0), edges

    def heading_rad(self, s_m: Array) -> Array:
        """Direction at distances along the line, not wrapped."""
        which, u, _ = self._locate(s_m)
        starts = self.start_heading_rad + np.concatenate(
            [[0.0], np.cumsum([piece.turning_rad for piece in self.pieces])]
        )
        out = starts[which]
        for k in np.unique(which):
            mine = which == k
            out[mine] += self.pieces[k].turned(u[mine])
        return out

    def curvature_per_m(self, s_m: Array) -> Array:
        """Change of direction per metre at distances along the line."""
        which, u, _ = self._locate(s_m)
        out = np.empty_like(u)
        for k in np.unique(which):
            mine = which == k
            out[mine] = self.pieces[k].curvature(u[mine])
        return out


@dataclass(frozen=True)
class Kinoshita:
    """A skewed and fattened meander train, from one inflection to another.

    theta = t sin(a s) + t^3 [jf cos(3 a s) - js sin(3 a s)], a = 2 pi / M.

    Source: Kinoshita (1961), as in Parker and Andrews (1986), J. Fluid Mech. 162, 139-156
    (from memory). Published versions differ in which coefficient is called skewness; the formula
    above is what is computed.
    """

    meander_length_m: float
    greatest_angle_rad: float
    half_waves: int
    jf: float = 1.0 / 192.0
    js: float = 1.0 / 32.0

    @property
    def length_m(self) -> float:
        """Whole length."""
        return self.half_waves * self.meander_length_m / 2.0

    def _first_inflection(self) -> float:
        s = np.linspace(0.0, self.meander_length_m, 40001)
        k = self._curvature(s)
        crossing = int(np.flatnonzero((k[:-1] > 0) & (k[1:] <= 0))[0])
        share = k[crossing] / (k[crossing] - k[crossing + 1])
        return float(s[crossing] + share * (s[crossing + 1] - s[crossing]))

    def _curvature(self, s: Array) -> Array:
        t, a = self.greatest_angle_rad, 2.0 * np.pi / self.meander_length_m
        third = -self.jf * np.sin(3.0 * a * s) - self.js * np.cos(3.0 * a * s)
        return np.asarray(a * t * np.cos(a * s) + 3.0 * a * t**3 * third)

    def heading_rad(self, s_m: Array) -> Array:
        """Direction at distances along the line, not wrapped."""
        s = s_m + self._first_inflection()
        t, a = self.greatest_angle_rad, 2.0 * np.pi / self.meander_length_m
        third = self.jf * np.cos(3.0 * a * s) - self.js * np.sin(3.0 * a * s)
        return np.asarray(t * np.sin(a * s) + t**3 * third)

    def curvature_per_m(self, s_m: Array) -> Array:
        """Change of direction per metre at distances along the line."""
        return self._curvature(s_m + self._first_inflection())


@dataclass(frozen=True)
class WithEnds:
    """A curve with an entry and an exit along the valley.

    A straight along the valley, a bend into the curve's first direction, the curve, a bend back
    into the valley's direction, a straight. The curve's own distances start at ``before_m``.
    """

    curve: Curve
    radius_m: float
    lead_m: float

    def _ends(self) -> tuple[float, float, Train, Train]:
        first, last = (
            float(h) for h in self.curve.heading_rad(np.array([0.0, self.curve.length_m]))
        )
        quarter = 0.5 * np.pi * self.radius_m
        entry = Train((Piece(self.lead_m, 0.0), Piece(max(abs(first) * quarter, 1e-6), first)))
        leave = Train((Piece(max(abs(last) * quarter, 1e-6), -last), Piece(self.lead_m, 0.0)), last)
        return entry.length_m, entry.length_m + self.curve.length_m, entry, leave

    @property
    def before_m(self) -> float:
        """Length of the entry."""
        return self._ends()[0]

    @property
    def length_m(self) -> float:
        """Whole length."""
        _, behind, _, leave = self._ends()
        return behind + leave.length_m

    def _parts(self, s_m: Array, what: Literal["heading_rad", "curvature_per_m"]) -> Array:
        start, stop, entry, leave = self._ends()
        out = np.empty_like(s_m)
        for mine, curve, shift in (
            (s_m < start, entry, 0.0),
            ((s_m >= start) & (s_m <= stop), self.curve, start),
            (s_m > stop, leave, stop),
        ):
            out[mine] = getattr(curve, what)(s_m[mine] - shift)
        return out

    def heading_rad(self, s_m: Array) -> Array:
        """Direction at distances along the line, not wrapped."""
        return self._parts(s_m, "heading_rad")

    def curvature_per_m(self, s_m: Array) -> Array:
        """Change of direction per metre at distances along the line."""
        return self._parts(s_m, "curvature_per_m")


@dataclass(frozen=True)
class Bend:
    """A stretch in which curvature keeps its sign.

    ``start_m`` and ``end_m`` are distances downstream of the inflections; where a straight lies
    between two bends, each bend ends where the line becomes straight. ``outside_bank`` is the
    concave bank. ``turning_deg`` is positive for a turn to the left.
    """

    start_m: float
    apex_m: float
    end_m: float
    radius_m: float
    turning_deg: float
    outside_bank: str


@dataclass(frozen=True)
class Planform:
    """A curve on an even step: distance downstream, place, heading, curvature, and its bends."""

    s_m: Array
    x_m: Array
    y_m: Array
    heading_rad: Array
    curvature_per_m: Array
    bends: tuple[Bend, ...]

    @property
    def least_radius_m(self) -> float:
        """Least radius anywhere; infinite for a straight."""
        greatest = float(np.abs(self.curvature_per_m).max())
        return 1.0 / greatest if greatest > 0 else np.inf


def sine_generated(meander_length_m: float, omega_rad: float, half_waves: int) -> Train:
    """Return a sine-generated curve, from one inflection to another.

    theta = omega sin(2 pi s / M): apex radius M / (2 pi omega), sinuosity 1 / J0(omega).
    Source: Langbein and Leopold (1966), U.S. Geological Survey Professional Paper 422-H.
    """
    bends = [
        Piece(meander_length_m / 2.0, 2.0 * omega_rad * (1 if k % 2 == 0 else -1))
        for k in range(half_waves)
    ]
    return Train(tuple(bends), -omega_rad)


def arcs(radius_m: float, turning_rad: float, bends: int) -> Train:
    """Return circle arcs of alternating hand, with a ramp of curvature at each end."""
    ramp = Piece(1.0, 1.0, "arc").ramp_frac
    length = radius_m * turning_rad / (1.0 - ramp)
    pieces = [Piece(length, turning_rad * (-1) ** k, "arc") for k in range(bends)]
    return Train(tuple(pieces), -turning_rad / 2.0)


def short_bends(radius_m: float, turning_rad: float, bends: int, straight_m: float) -> Train:
    """Return short bends of alternating hand with straights between."""
    length = np.pi * turning_rad * radius_m / 2.0
    pieces: list[Piece] = []
    for k in range(bends):
        pieces += [Piece(length, turning_rad * (-1) ** k), Piece(straight_m, 0.0)]
    return Train(tuple(pieces), -turning_rad / 2.0)


def irregular(
    least_radius_m: float,
    omega_rad: tuple[float, float],
    bends: int,
    rng: np.random.Generator,
    skew: float = 0.3,
) -> Train:
    """Return bends that all differ in length, turning and skew; curvature is continuous.

    Radii are ``least_radius_m`` times 1 to 2.6; one bend near the middle has the least.
    """
    omegas = rng.uniform(*omega_rad, bends + 1)
    radii = least_radius_m * rng.uniform(1.05, 2.6, bends)
    radii[bends // 2] = least_radius_m
    pieces = []
    for k in range(bends):
        turning = float(omegas[k] + omegas[k + 1])
        share = float(rng.uniform(-skew, skew))
        u = np.linspace(0.0, 1.0, 4001)
        peak = float(np.max(np.sin(np.pi * u) + share * np.sin(2.0 * np.pi * u)))
        length = float(np.pi * turning / 2.0 * peak * radii[k])
        pieces.append(Piece(length, turning * (-1) ** k, "sine", share))
    return Train(tuple(pieces), -float(omegas[0]))


def straight(length_m: float) -> Train:
    """Return a straight line."""
    return Train((Piece(length_m, 0.0),))


def sample(
    curve: Curve,
    step_m: float = 0.25,
    *,
    extend_m: tuple[float, float] = (0.0, 0.0),
    least_turning_deg: float = 3.0,
) -> Planform:
    """Put a curve on an even step, its start at the origin and its end on the x axis.

    Places come from Simpson's rule on the closed-form heading at a quarter of the step; their
    error is below a micrometre per bend, except in arcs without ramps.

    Parameters
    ----------
    curve
        The line.
    step_m
        Wanted step; the nearest that divides the length is taken.
    extend_m
        Straight extensions before the start (with negative distances) and behind the end.
    least_turning_deg
        Stretches that turn less are not listed as bends.
    """
    steps = max(round(curve.length_m / step_m), 4)
    fine = np.linspace(0.0, curve.length_m, 4 * steps + 1)
    heading = curve.heading_rad(fine)
    x = cumulative_simpson(np.cos(heading), x=fine, initial=0.0)
    y = cumulative_simpson(np.sin(heading), x=fine, initial=0.0)
    turn = -np.arctan2(y[-1], x[-1])
    cos, sin = np.cos(turn), np.sin(turn)
    curvature = curve.curvature_per_m(fine)
    bends = bends_of(fine, curvature, heading, least_turning_deg)
    s, k, h = fine[::4], curvature[::4], heading[::4] + turn
    x, y = (cos * x - sin * y)[::4], (sin * x + cos * y)[::4]
    step = s[1] - s[0]
    ahead, behind = (int(np.ceil(more / step)) for more in extend_m)
    back, on = -step * np.arange(ahead, 0, -1), step * np.arange(1, behind + 1)
    x = np.concatenate([back * np.cos(h[0]), x, x[-1] + on * np.cos(h[-1])])
    y = np.concatenate([back * np.sin(h[0]), y, y[-1] + on * np.sin(h[-1])])
    s = np.concatenate([back, s, s[-1] + on])
    k = np.pad(k, (ahead, behind))
    h = np.pad(h, (ahead, behind), mode="edge")
    return Planform(s, x, y, h, k, bends)


def moved(plan: Planform, x_m: float, y_m: float, turn_rad: float) -> Planform:
    """Turn a planform about its own origin, then move the origin to a place."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return replace(
        plan,
        x_m=x_m + cos * plan.x_m - sin * plan.y_m,
        y_m=y_m + sin * plan.x_m + cos * plan.y_m,
        heading_rad=plan.heading_rad + turn_rad,
    )


def bends_of(
    s_m: Array, curvature_per_m: Array, heading_rad: Array, least_turning_deg: float
) -> tuple[Bend, ...]:
    """List the stretches in which curvature keeps its sign, in order downstream."""
    tiny = 1e-9
    sign = np.where(np.abs(curvature_per_m) < tiny, 0, np.sign(curvature_per_m)).astype(int)
    change = np.flatnonzero(np.diff(sign)) + 1
    bends = []
    for first, stop in zip(
        np.concatenate([[0], change]), np.concatenate([change, [s_m.size]]), strict=True
    ):
        if sign[first] == 0:
            continue
        low, high = max(first - 1, 0), min(stop, s_m.size - 1)
        turning = float(np.degrees(heading_rad[high] - heading_rad[low]))
        if abs(turning) < least_turning_deg:
            continue
        size = np.abs(curvature_per_m[first:stop])
        on_top = np.flatnonzero(size >= size.max() * (1.0 - 1e-9)) + first
        bends.append(
            Bend(
                float(_zero(s_m, curvature_per_m, low, first)),
                float(s_m[on_top].mean()),
                float(_zero(s_m, curvature_per_m, stop - 1, high)),
                float(1.0 / size.max()),
                turning,
                "right" if sign[first] > 0 else "left",
            )
        )
    return tuple(bends)


def _zero(s: Array, k: Array, i: int, j: int) -> float:
    """Where curvature passes through 0 between two neighbouring points."""
    if i == j or k[i] == k[j]:
        return float(s[i])
    return float(s[i] + (s[j] - s[i]) * np.clip(k[i] / (k[i] - k[j]), 0.0, 1.0))
