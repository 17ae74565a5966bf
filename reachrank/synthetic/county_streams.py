"""The streams of the invented county: where they run, what their banks are like."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reachrank.synthetic import planform as pf
from reachrank.synthetic.spec import CorridorSpec, Failing, Pond
from reachrank.synthetic.stations import STATION_STEP_M, Stations, lay_out

Array = NDArray[np.float64]

WIDTH_M, HEIGHT_M = 2400.0, 1600.0
"""Size of the county, west to east and south to north."""
MOUTH_WATER_M = 182.0


@dataclass(frozen=True)
class Stream:
    """One stream.

    ``joins`` is the number of the stream it flows into (-1 for the main stem, which leaves the
    county), ``joins_at_m`` the distance downstream along that one.
    """

    name: str
    spec: CorridorSpec
    stations: Stations
    joins: int
    joins_at_m: float
    floor_half_width_m: tuple[float, float]


@dataclass(frozen=True)
class _Sketch:
    """What a stream is drawn from.

    ``bases_deg`` are the directions of the valley at each inflection before the whole is fitted
    between head and mouth; at the inflections the channel leaves them by ``omega_deg`` to one
    side and the other. ``straights`` are (number of the bend it follows, length).
    """

    name: str
    spec: CorridorSpec
    head_m: tuple[float, float]
    bases_deg: tuple[float, ...]
    omega_deg: tuple[float, float]
    radius_m: tuple[float, float]
    floor_half_width_m: tuple[float, float]
    joins: int = -1
    joins_near_frac: float = 0.0
    joins_side: str = "left"
    straights: tuple[tuple[int, float], ...] = ()


def _sway(count: int, size_deg: float, waves: float, shift: float) -> tuple[float, ...]:
    at = np.arange(count) / count
    return tuple(size_deg * np.sin(2.0 * np.pi * (waves * at + shift)))


SKETCHES = (
    _Sketch(
        "Brindlewater Creek",
        CorridorSpec(
            toe_width_m=3.6, width_growth_frac=0.8, height_m=1.45, outside_angle_deg=58.0,
            inside_angle_deg=17.0, slope_ratio=0.0042, ground_slope_ratio=0.0,
            width_variation_frac=0.10, height_variation_frac=0.15,
            failing=(
                Failing(side="right", from_m=880.0, to_m=955.0, height_m=2.3, angle_deg=64.0),
                Failing(side="left", from_m=1210.0, to_m=1450.0, height_m=2.7, angle_deg=60.0),
                Failing(side="right", from_m=1210.0, to_m=1450.0, height_m=2.6, angle_deg=57.0),
                Failing(side="left", from_m=1960.0, to_m=2050.0, height_m=2.9, angle_deg=68.0),
                Failing(side="right", from_m=2505.0, to_m=2590.0, height_m=3.2, angle_deg=70.0),
            ),
        ),
        head_m=(190.0, 700.0),
        bases_deg=_sway(47, 24.0, 2.0, 0.55),
        omega_deg=(38.0, 82.0),
        radius_m=(11.0, 30.0),
        floor_half_width_m=(26.0, 62.0),
        straights=((18, 270.0),),
    ),
    _Sketch(
        "Kettlemoss Run",
        CorridorSpec(
            toe_width_m=3.5, width_growth_frac=0.2, height_m=0.95, outside_angle_deg=52.0,
            inside_angle_deg=20.0, slope_ratio=0.011, ground_slope_ratio=0.0,
            ponds=(Pond(at_m=270.0, radius_m=17.0),),
        ),
        head_m=(560.0, 1440.0),
        bases_deg=_sway(25, 22.0, 1.0, 0.1),
        omega_deg=(30.0, 65.0),
        radius_m=(8.0, 18.0),
        floor_half_width_m=(13.0, 28.0),
        joins=0,
        joins_near_frac=0.36,
        joins_side="left",
    ),
    _Sketch(
        "Pennythorn Branch",
        CorridorSpec(
            toe_width_m=3.7, width_growth_frac=0.2, height_m=1.1, outside_angle_deg=55.0,
            inside_angle_deg=18.0, slope_ratio=0.009, ground_slope_ratio=0.0,
            failing=(
                Failing(side="right", from_m=532.0, to_m=580.0, height_m=2.2, angle_deg=66.0),
            ),
        ),
        head_m=(1010.0, 130.0),
        bases_deg=_sway(23, 25.0, 1.0, 0.6),
        omega_deg=(32.0, 72.0),
        radius_m=(8.0, 20.0),
        floor_half_width_m=(14.0, 30.0),
        joins=0,
        joins_near_frac=0.63,
        joins_side="right",
    ),
    _Sketch(
        "Ashbarrow Run",
        CorridorSpec(
            toe_width_m=3.6, width_growth_frac=0.25, height_m=1.0, outside_angle_deg=55.0,
            inside_angle_deg=20.0, slope_ratio=0.010, ground_slope_ratio=0.0,
        ),
        head_m=(1500.0, 1480.0),
        bases_deg=_sway(27, 20.0, 1.0, 0.0),
        omega_deg=(30.0, 70.0),
        radius_m=(8.0, 19.0),
        floor_half_width_m=(14.0, 30.0),
        joins=0,
        joins_near_frac=0.86,
        joins_side="left",
    ),
    _Sketch(
        "Goosequill Hollow",
        CorridorSpec(
            toe_width_m=2.5, width_growth_frac=0.1, height_m=0.8, outside_angle_deg=50.0,
            inside_angle_deg=22.0, slope_ratio=0.016, ground_slope_ratio=0.0,
        ),
        head_m=(2200.0, 1420.0),
        bases_deg=_sway(15, 15.0, 1.0, 0.3),
        omega_deg=(25.0, 55.0),
        radius_m=(8.0, 16.0),
        floor_half_width_m=(11.0, 20.0),
        joins=3,
        joins_near_frac=0.55,
        joins_side="left",
    ),
)  # fmt: skip
"""All names are invented."""


def make_streams(rng: np.random.Generator) -> list[Stream]:
    """Lay out all streams, in metres from the county's south-west corner."""
    streams: list[Stream] = []
    for sketch in SKETCHES:
        if sketch.joins < 0:
            mouth, at, levels = (WIDTH_M - 25.0, 830.0), 0.0, (MOUTH_WATER_M, MOUTH_WATER_M + 1.5)
            after = 110.0
        else:
            into = streams[sketch.joins].stations
            k = _meeting_place(into, sketch.joins_near_frac, sketch.joins_side)
            mouth = (float(into.plan.x_m[k]), float(into.plan.y_m[k]))
            at = float(into.plan.s_m[k])
            levels = (float(into.water_m[k]), float(into.water_m[k] + into.plain_m[k]))
            after = 0.0
        curve, plan = _fitted(sketch, mouth, after, rng)
        stations = lay_out(
            sketch.spec,
            plan,
            curve.length_m,
            rng,
            mouth=levels,
            head_m=160.0,
        )
        streams.append(
            Stream(sketch.name, sketch.spec, stations, sketch.joins, at, sketch.floor_half_width_m)
        )
    return streams


def _meeting_place(into: Stations, near_frac: float, side: str) -> int:
    """Choose the apex, nearest to a share of the length, whose outside bank is on that side."""
    near = near_frac * into.length_m
    bends = [bend for bend in into.plan.bends if bend.outside_bank == side]
    bend = min(bends, key=lambda bend: abs(bend.apex_m - near))
    return int(np.argmin(np.abs(into.plan.s_m - bend.apex_m)))


def _pieces(sketch: _Sketch, rng: np.random.Generator) -> pf.Train:
    omega = np.radians(rng.uniform(*sketch.omega_deg, len(sketch.bases_deg)))
    hand = (-1.0) ** np.arange(len(sketch.bases_deg))
    heading = np.radians(sketch.bases_deg) + hand * omega
    straights = dict(sketch.straights)
    pieces = []
    if sketch.joins < 0:
        heading[-1] = np.radians(sketch.bases_deg[-1])
    for k, turning in enumerate(np.diff(heading)):
        skew = float(rng.uniform(-0.25, 0.25))
        u = np.linspace(0.0, 1.0, 2001)
        peak = float(np.max(np.sin(np.pi * u) + skew * np.sin(2.0 * np.pi * u)))
        radius = rng.uniform(*sketch.radius_m)
        if sketch.joins < 0:
            radius *= 0.75 + 0.5 * k / len(heading)
        length = float(np.pi * abs(turning) / 2.0 * peak * radius)
        pieces.append(pf.Piece(length, float(turning), "sine", skew))
        if k in straights:
            pieces.append(pf.Piece(straights[k], 0.0))
    pieces.append(pf.Piece(14.0, 0.0))
    return pf.Train(tuple(pieces), float(heading[0]))


def _fitted(
    sketch: _Sketch, mouth_m: tuple[float, float], after_m: float, rng: np.random.Generator
) -> tuple[pf.Train, pf.Planform]:
    """Scale and turn a train of bends so that it runs from head to mouth."""
    train = _pieces(sketch, rng)
    rough = pf.sample(train, 1.0)
    chord = float(rough.x_m[-1])
    dx, dy = mouth_m[0] - sketch.head_m[0], mouth_m[1] - sketch.head_m[1]
    scale = float(np.hypot(dx, dy)) / chord
    train = replace(
        train, pieces=tuple(replace(p, length_m=p.length_m * scale) for p in train.pieces)
    )
    plan = pf.sample(train, STATION_STEP_M, extend_m=(60.0, after_m))
    return train, pf.moved(plan, *sketch.head_m, float(np.arctan2(dy, dx)))
