"""Toe and top of both banks on one surveyed section, of any origin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reachrank.bank.fit import FIGURES, GROUND, RISE, TOE, TOP, fit_bank
from reachrank.errors import InputError

Float = NDArray[np.float64]

GRID_POINTS = 300
"""Points that the profile is laid on, evenly, before the fit."""
LEAST_RISE_M = 0.15
LEAST_FACE_SLOPE = 0.1
LIP_RATIO = 0.4
LOOKS = (0.25, 0.5, 0.75, 1.0)
"""Shares of the profile beyond the middle that are looked at in turn for a lip."""
GROUND_BEHIND = 0.1
"""Ground that must be seen behind a top, as a share of the face: a slope that runs to the end of
the profile has no lip."""
GROUND_PRIOR_WEIGHT = 1e-4
"""A survey is so much more precise than lidar that the ground needs no expected slope; just enough
to keep the fit solvable."""


@dataclass(frozen=True, kw_only=True)
class BankEdges:
    """What one profile says about its banks; NaN where there is no bank.

    Offsets are in the profile's own stationing and grow from left to right looking downstream.
    ``left_height_m`` is top minus toe; angles are from level, of the line from toe to top.
    ``bankfull_width_m`` is the width at the lower of the two tops, from face to face, NaN without
    any top. ``flags`` holds words: ``no_left_top``, ``no_right_top``, ``no_channel``.
    """

    left_toe_m: float
    left_top_m: float
    right_toe_m: float
    right_top_m: float
    left_height_m: float
    right_height_m: float
    left_angle_deg: float
    right_angle_deg: float
    bankfull_width_m: float
    flags: tuple[str, ...]


@dataclass(frozen=True)
class _Edge:
    toe: float
    top: float
    toe_z: float
    top_z: float


def bank_edges(
    offset_m: ArrayLike, elevation_m: ArrayLike, *, center_m: float | None = None
) -> BankEdges:
    """Find toe and top of both banks on one profile.

    The same whole-bank fit as on lidar (level bed, straight face, sloping ground behind), on the
    profile laid out evenly; toe and top then move to the surveyed point at the break, if one is
    near, because a surveyor puts the rod there.

    Parameters
    ----------
    offset_m
        Shape (n,), growing from left to right looking downstream, metres; spacing may be uneven.
    elevation_m
        Shape (n,), metres, same datum for all points.
    center_m
        Where the channel is, in the profile's stationing; by default the lowest point.

    Returns
    -------
    BankEdges

    Raises
    ------
    InputError
        Fewer than five points, offsets that do not grow, or values that are not finite.

    Examples
    --------
    A trapezoid 4 m wide at the bed with banks 1.5 m high, 2 m long on the left, 1 m on the right:

    >>> edges = bank_edges([0, 10, 12, 16, 17, 27], [1.5, 1.5, 0, 0, 1.5, 1.5])
    >>> edges.left_top_m, edges.left_toe_m, edges.right_toe_m, edges.right_top_m
    (10.0, 12.0, 16.0, 17.0)
    >>> round(edges.left_angle_deg, 2)  # arctan(1.5 / 2)
    36.87
    """
    x, z = _checked(offset_m, elevation_m)
    bottom = float(z.min())
    middle = float(np.median(x[z <= bottom + 1e-9])) if center_m is None else float(center_m)
    if not x[0] <= middle <= x[-1]:
        raise InputError(
            f"The centre {middle:g} m lies outside of the profile ({x[0]:g} to {x[-1]:g} m)."
        )
    grid = np.linspace(x[0], x[-1], GRID_POINTS)
    even = np.interp(grid, x, z)
    right = _edge(grid, even, middle, x, z)
    left = _edge(-grid[::-1], even[::-1], -middle, -x[::-1], z[::-1])
    flags = []
    if left is None:
        flags.append("no_left_top")
    if right is None:
        flags.append("no_right_top")
    if left is None and right is None:
        flags.append("no_channel")
    nan = float("nan")
    return BankEdges(
        left_toe_m=nan if left is None else -left.toe,
        left_top_m=nan if left is None else -left.top,
        right_toe_m=nan if right is None else right.toe,
        right_top_m=nan if right is None else right.top,
        left_height_m=nan if left is None else left.top_z - left.toe_z,
        right_height_m=nan if right is None else right.top_z - right.toe_z,
        left_angle_deg=_angle_deg(left),
        right_angle_deg=_angle_deg(right),
        bankfull_width_m=_bankfull_width_m(x, z, middle, left, right),
        flags=tuple(flags),
    )


def _checked(offset_m: ArrayLike, elevation_m: ArrayLike) -> tuple[Float, Float]:
    x = np.asarray(offset_m, np.float64)
    z = np.asarray(elevation_m, np.float64)
    if x.ndim != 1 or x.shape != z.shape:
        raise InputError("A profile needs as many elevations as offsets, in one row each.")
    if x.size < 5:
        raise InputError(f"A profile needs at least five points, this one has {x.size}.")
    if not (np.isfinite(x).all() and np.isfinite(z).all()):
        raise InputError("A profile may not hold missing or infinite values.")
    steps = np.diff(x)
    if (steps < 0).any():
        raise InputError(
            "Offsets must grow from left to right looking downstream.",
            hint="Sort the points, or turn the section round if it was measured from the right.",
        )
    if (steps == 0).any():  # a vertical face: two points over one another
        x = x + np.concatenate([[0.0], np.cumsum(np.where(steps == 0, 1e-6, 0.0))])
    return x, z


def _edge(grid: Float, even: Float, middle: float, x: Float, z: Float) -> _Edge | None:
    """Find the bank that lies towards larger offsets."""
    step = float(grid[1] - grid[0])
    far = float(grid[-1]) - middle
    best: tuple[float, float] | None = None
    for share in LOOKS:  # the nearest lip is the bank's; a valley side comes later
        found = _lip(grid, even, middle, middle + share * far, step)
        if found is None:
            continue
        # once more, looking not far behind that top: what lies beyond is not the bank's business
        toe, top = found
        end = min(middle + share * far, top + max(2.0 * (top - toe), 8.0 * step))
        best = _lip(grid, even, middle, end, step) or found
        break
    if best is None:
        return None
    toe, top = best
    tolerance = max(0.3 * (top - toe), 2.0 * step)
    toe, top = _at_point(toe, x, z, tolerance, 1.0), _at_point(top, x, z, tolerance, -1.0)
    toe_z, top_z = (float(np.interp(at, x, z)) for at in (toe, top))
    if top <= toe or top_z - toe_z < LEAST_RISE_M:
        return None
    return _Edge(toe, top, toe_z, top_z)


def _lip(
    grid: Float, even: Float, middle: float, end: float, step: float
) -> tuple[float, float] | None:
    """Return toe and top of a bank with level ground behind it, seen between middle and end."""
    part = (grid >= middle) & (grid <= end)
    if part.sum() < 6:
        return None
    u = grid[part] - middle
    result = np.empty(FIGURES)
    found = fit_bank(
        u, even[part], step, LEAST_RISE_M, 0.5 * step, float(u[-1]), 2.0 * step, 0.0,
        GROUND_PRIOR_WEIGHT, np.nan, np.nan, 9, result,
    )  # fmt: skip
    if not found:
        return None
    run = result[TOP] - result[TOE]
    slope = result[RISE] / run
    behind = float(u[-1]) - result[TOP]
    is_lip = result[GROUND] <= LIP_RATIO * slope and behind >= GROUND_BEHIND * run
    if slope < LEAST_FACE_SLOPE or not is_lip:
        return None
    return float(result[TOE] + middle), float(result[TOP] + middle)


def _at_point(at: float, x: Float, z: Float, tolerance: float, bends: float) -> float:
    """Move to the surveyed point near by where the slope changes most, up (1) or down (-1)."""
    slope = np.diff(z) / np.diff(x)
    change = np.concatenate([[0.0], np.diff(np.arctan(slope)), [0.0]]) * bends
    near = np.abs(x - at) <= tolerance
    if not near.any() or change[near].max() < 0.05:
        return at
    return float(x[near][np.argmax(change[near])])


def _angle_deg(edge: _Edge | None) -> float:
    if edge is None:
        return float("nan")
    return float(np.degrees(np.arctan2(edge.top_z - edge.toe_z, edge.top - edge.toe)))


def _bankfull_width_m(
    x: Float, z: Float, middle: float, left: _Edge | None, right: _Edge | None
) -> float:
    """Width of the channel at the lower top, where the profile reaches that level on both sides."""
    tops = [edge.top_z for edge in (left, right) if edge is not None]
    if not tops:
        return float("nan")
    level = min(tops)
    ends = []
    for sign in (-1.0, 1.0):
        beyond = (x - middle) * sign >= 0
        distance = np.abs(x[beyond] - middle)
        height = z[beyond]
        order = np.argsort(distance)
        distance, height = distance[order], height[order]
        reached = np.flatnonzero(height >= level - 1e-9)
        if not reached.size:
            return float("nan")
        k = int(reached[0])
        if k == 0:
            ends.append(float(distance[0]))
            continue
        share = (level - height[k - 1]) / (height[k] - height[k - 1])
        ends.append(float(distance[k - 1] + share * (distance[k] - distance[k - 1])))
    return ends[0] + ends[1]
