"""The elevation of a synthetic corridor at any point, without noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter1d, maximum_filter1d
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from reachrank.synthetic.fields import Gridded, smooth_field, smoothstep
from reachrank.synthetic.section import height_above_water
from reachrank.synthetic.spec import CorridorSpec
from reachrank.synthetic.stations import Stations

Array = NDArray[np.float64]

FILL_SLOPE = 1.0 / 1.5
"""Fall over run of a road fill's sides."""
DITCH_DEPTH_M, DITCH_HALF_WIDTH_M = 0.4, 1.2
EXACT_WITHIN_M = 25.0
"""Distance from the channel within which the nearest point of it is found exactly."""
BEHIND_M = 30.0
"""How far the first slope of the ground behind the top goes on."""


@dataclass(frozen=True)
class Nearest:
    """For each point: the station it belongs to, how far it is from it, and on which side."""

    index: NDArray[np.int64]
    share: Array
    distance_m: Array
    is_left: NDArray[np.bool_]


class Ground:
    """The surface of one corridor, in the corridor's own frame (valley along x).

    Every point belongs to the nearest point of the centreline, so where two limbs compete for a
    neck the nearer one has it.

    Parameters
    ----------
    spec, stations
        What the corridor is made of.
    rng
        For the relief of the flood plain and the plants.
    country
        The ground beyond the banks where it is known already; then the corridor makes no flood
        plain, valley side or ditch of its own.
    """

    def __init__(
        self,
        spec: CorridorSpec,
        stations: Stations,
        rng: np.random.Generator,
        country: Gridded | None = None,
    ) -> None:
        self.spec = spec
        self.stations = stations
        plan = stations.plan
        self._tree = cKDTree(np.column_stack([plan.x_m, plan.y_m]))
        told = stations.told
        reach = spec.margin_m * 1.6 + 30.0
        self.bounds_m = (
            float(plan.x_m[told].min()) - reach,
            float(plan.y_m[told].min()) - reach,
            float(plan.x_m[told].max()) + reach,
            float(plan.y_m[told].max()) + reach,
        )
        self._has_country = country is not None
        self._relief = smooth_field(self.bounds_m, 9.0, rng)
        self._plants = smooth_field(self.bounds_m, 1.2, rng)
        self._plain = self._flood_plain() if country is None else country
        self._near_map, self._away_map = self._map_stations()
        self._to_divide = self._distance_to_divide()
        self._envelope = {side: self._outermost_tops(side) for side in ("left", "right")}

    def nearest(self, x_m: Array, y_m: Array) -> Nearest:
        """Find the nearest point of the centreline for each of n points."""
        plan = self.stations.plan
        i = self._nearest_station(x_m, y_m)
        step = float(plan.s_m[1] - plan.s_m[0])
        cos, sin = np.cos(plan.heading_rad[i]), np.sin(plan.heading_rad[i])
        dx, dy = x_m - plan.x_m[i], y_m - plan.y_m[i]
        along, across = cos * dx + sin * dy, cos * dy - sin * dx
        squeeze = np.maximum(1.0 - plan.curvature_per_m[i] * across, 0.05)
        move = np.clip(along / squeeze, -0.5 * step, 0.5 * step)
        at = np.clip(i + move / step, 0.0, plan.s_m.size - 1.000001)
        index = at.astype(np.int64)
        return Nearest(index, at - index, np.hypot(along - move, across), across >= 0)

    def _nearest_station(self, x_m: Array, y_m: Array) -> NDArray[np.int64]:
        """Find the nearest station exactly near the channel, to about a metre far from it."""
        left, bottom, _, _ = self.bounds_m
        rows, columns = self._near_map.shape
        row = np.clip(np.rint(y_m - bottom).astype(int), 0, rows - 1)
        column = np.clip(np.rint(x_m - left).astype(int), 0, columns - 1)
        i: NDArray[np.int64] = self._near_map[row, column].astype(np.int64)
        close = self._away_map[row, column] < EXACT_WITHIN_M
        _, i[close] = self._tree.query(np.column_stack([x_m, y_m])[close], workers=-1)
        return i

    def elevation(self, x_m: Array, y_m: Array, *, works: bool = True) -> Array:
        """Return elevations in metres at n points; without ``works`` no crossings and ponds."""
        x_m, y_m = np.asarray(x_m, np.float64), np.asarray(y_m, np.float64)
        at = self.nearest(x_m, y_m)
        z = self._natural(x_m, y_m, at)
        if works:
            z = self._with_works(x_m, y_m, z)
        return z

    def _natural(self, x_m: Array, y_m: Array, at: Nearest) -> Array:
        spec, stations = self.spec, self.stations
        water = _between(stations.water_m, at)
        z = np.empty_like(x_m)
        for side, mine in (("left", at.is_left), ("right", ~at.is_left)):
            bank = stations.bank(side).at(at.index[mine], at.share[mine])
            distance = at.distance_m[mine]
            local = water[mine] + height_above_water(distance, bank)
            behind = np.maximum(distance - bank.top_m, 0.0)
            plain = self._plain.at(x_m[mine], y_m[mine])
            to_divide = self._to_divide.at(x_m[mine], y_m[mine])
            towards = stations.plan.curvature_per_m[at.index[mine]] * (
                1.0 if side == "left" else -1.0
            )
            is_apart = smoothstep((0.5 - towards * distance) / 0.4)
            near_divide = is_apart * smoothstep((5.0 - to_divide) / 4.0)
            z[mine] = self._behind(local, behind, bank.height_m + water[mine], plain, near_divide)
            if spec.plants_m > 0:
                patch = np.clip(self._plants.at(x_m[mine], y_m[mine]) - 0.4, 0.0, 1.0)
                beyond_toe = smoothstep((distance - bank.toe_m) / 0.3)
                z[mine] += spec.plants_m * patch * beyond_toe * smoothstep((8.0 - behind) / 3.0)
        if self._has_country:
            return z
        distance = at.distance_m - np.where(
            at.is_left, _between(stations.left.top_m, at), _between(stations.right.top_m, at)
        )
        return self._with_valley(x_m, y_m, z, np.maximum(distance, 0.0))

    def _behind(
        self, local: Array, behind: Array, top: Array, plain: Array, near_divide: Array
    ) -> Array:
        """Blend the ground behind the top into the flood plain, mostly below 7 % steep.

        Where two limbs meet halfway, both have reached the flood plain.
        """
        spec = self.spec
        if spec.levee_fall_ratio > 0:
            run = spec.levee_drop_m / spec.levee_fall_ratio
            local = np.where(behind > run, local + spec.levee_fall_ratio * (behind - run), local)
            start, least = 0.8 * run, 0.4 * run
        else:
            local = local - spec.ground_slope_ratio * np.maximum(behind - BEHIND_M, 0.0)
            plain = plain + spec.ground_slope_ratio * np.minimum(behind, BEHIND_M)
            start, least = 1.0, 6.0
        length = np.maximum(least, 1.5 * np.abs(plain - top) / 0.07)
        if self._has_country:
            length = np.minimum(length, 12.0)  # a hillside begins where it begins
        blend = smoothstep((behind - start) / length)
        # Quicker, up to 15 %, where another limb is near; so a neck has no step in its middle.
        # Not inside a bend, where the two limbs are alike.
        quick = smoothstep(behind / np.maximum(1.0, 1.5 * np.abs(plain - top) / 0.15))
        blend = np.maximum(blend, near_divide * quick)
        return local + blend * (plain - local)

    def _with_valley(self, x_m: Array, y_m: Array, z: Array, behind: Array) -> Array:
        spec = self.spec
        z = z + 0.06 * self._relief.at(x_m, y_m) * smoothstep((behind - 2.0) / 6.0)
        for side, sign in (("left", 1.0), ("right", -1.0)):
            away = sign * y_m - np.interp(x_m, *self._envelope[side])
            start, grade = 25.0, 0.06
            if spec.valley_side is not None and spec.valley_side[0] == side:
                start, grade = spec.valley_side[1:]
            ramp = np.maximum(away - start, 0.0)
            z = z + grade * 40.0 * np.tanh(ramp**2 / (ramp + 0.7) / 40.0)
            if spec.ditch is not None and spec.ditch[0] == side:
                across = np.abs(away - spec.ditch[1]) / DITCH_HALF_WIDTH_M
                z = z - DITCH_DEPTH_M * (1.0 - smoothstep(across)) * (behind > 0)
        return z

    def _with_works(self, x_m: Array, y_m: Array, z: Array) -> Array:
        plan, stations = self.stations.plan, self.stations
        for pond in self.spec.ponds:
            i = int(np.argmin(np.abs(plan.s_m - pond.at_m)))
            lower = min(i + int(pond.radius_m / (plan.s_m[1] - plan.s_m[0])), plan.s_m.size - 1)
            from_edge = np.hypot(x_m - plan.x_m[i], y_m - plan.y_m[i]) - pond.radius_m
            dug = stations.water_m[lower] + np.maximum(from_edge, 0.0) / 2.0
            z = np.minimum(z, dug)
        for road in self.spec.crossings:
            i = int(np.argmin(np.abs(plan.s_m - road.at_m)))
            direction = plan.heading_rad[i] + np.pi / 2.0 + np.radians(road.skew_deg)
            cos, sin = np.cos(direction), np.sin(direction)
            dx, dy = x_m - plan.x_m[i], y_m - plan.y_m[i]
            along, across = np.abs(cos * dx + sin * dy), np.abs(cos * dy - sin * dx)
            taper = smoothstep((road.half_length_m - along) / (0.5 * road.half_length_m))
            base = stations.water_m[i] + stations.plain_m[i]
            side = np.maximum(across - road.crest_width_m / 2.0, 0.0) * FILL_SLOPE
            fill = base + road.fill_m * taper - side
            z = np.where(along < road.half_length_m, np.maximum(z, fill), z)
        return z

    def _flood_plain(self) -> Gridded:
        """Spread the level of the flood plain from the bank tops over the corridor, smoothly."""
        stations, spec = self.stations, self.spec
        every = slice(None, None, 12)
        places, levels = [], []
        for side, failing in (
            ("left", stations.left_failing),
            ("right", stations.right_failing),
        ):
            bank = stations.bank(side)
            x, y = stations.offset_place(side, bank.top_m)
            height = np.where(
                failing, np.maximum(bank.height_m, stations.plain_m), stations.plain_m
            )
            height = height - (spec.levee_drop_m if spec.levee_fall_ratio > 0 else 0.0)
            places.append(np.column_stack([x, y])[every])
            levels.append((stations.water_m + height)[every])
        points, values = np.concatenate(places), np.concatenate(levels)
        left, bottom, right, top = self.bounds_m
        xs, ys = np.arange(left, right + 4.0, 4.0), np.arange(bottom, top + 4.0, 4.0)
        grid = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        plain = np.empty(len(grid))
        for first in range(0, len(grid), 2000):
            weight = (cdist(grid[first : first + 2000], points) + 3.0) ** -3.0
            plain[first : first + 2000] = weight @ values / weight.sum(axis=1)
        return Gridded(plain.reshape(ys.size, xs.size), left, bottom, 4.0)

    def _map_stations(self) -> tuple[NDArray[np.int32], Array]:
        """Return, on a 1 m grid over the bounds, the nearest station and how far it is."""
        left, bottom, right, top = self.bounds_m
        plan = self.stations.plan
        here = np.full((int(top - bottom) + 2, int(right - left) + 2), -1, np.int32)
        row = np.rint(plan.y_m - bottom).astype(int)
        column = np.rint(plan.x_m - left).astype(int)
        inside = (row >= 0) & (row < here.shape[0]) & (column >= 0) & (column < here.shape[1])
        here[row[inside], column[inside]] = np.flatnonzero(inside)
        away, nearest = distance_transform_edt(here < 0, return_indices=True)
        return here[tuple(nearest)], away

    def _distance_to_divide(self) -> Gridded:
        """Measure how far places are from where the nearest limb changes."""
        left, bottom, _, _ = self.bounds_m
        s = self.stations.plan.s_m[self._near_map]
        is_divide = np.zeros(s.shape, bool)
        is_divide[:, 1:] |= np.abs(np.diff(s, axis=1)) > 8.0
        is_divide[1:, :] |= np.abs(np.diff(s, axis=0)) > 8.0
        away = distance_transform_edt(~is_divide) if is_divide.any() else np.full(s.shape, 99.0)
        return Gridded(away, left, bottom, 1.0)

    def _outermost_tops(self, side: str) -> tuple[Array, Array]:
        """Return a smooth line along the valley, outside of all bank tops of one side.

        As x and sign times y, where sign is +1 on the left.
        """
        sign = 1.0 if side == "left" else -1.0
        x, y = self.stations.offset_place(side, self.stations.bank(side).top_m)
        left, _, right, _ = self.bounds_m
        bins = np.arange(left, right + 2.0, 2.0)
        outermost = np.full(bins.size, -np.inf)
        np.maximum.at(
            outermost, np.clip(((x - left) / 2.0).astype(int), 0, bins.size - 1), sign * y
        )
        known = np.isfinite(outermost)
        outermost = np.interp(bins, bins[known], outermost[known])
        window = 61
        wide = maximum_filter1d(outermost, window, mode="nearest")
        return bins, gaussian_filter1d(wide, window / 6.5, truncate=3.0, mode="nearest")


def _between(values: Array, at: Nearest) -> Array:
    return np.asarray(values[at.index] + at.share * (values[at.index + 1] - values[at.index]))
