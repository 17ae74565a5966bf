"""The land of the invented county: valleys, channels, roads, a pond, holes in the data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter, gaussian_filter1d, zoom
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from reachrank.synthetic.county_streams import HEIGHT_M, WIDTH_M, Stream
from reachrank.synthetic.fields import Gridded, lidar_noise, slow, smooth_field, smoothstep
from reachrank.synthetic.ground import FILL_SLOPE, Ground
from reachrank.synthetic.hillslopes import hillslopes

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

CELL_M = 1.0
COARSE_M = 8.0
PAD_M = 240.0
"""Land beyond the county's border that takes part in forming the hills."""
EDGE_RISE_M = 17.0
"""How far the border of that land lies above the nearest valley floor."""
STRIP_M = 45.0
"""Distance from a channel within which it shapes the ground."""


@dataclass(frozen=True)
class Road:
    """A road: its middle, half of its surface's width, and where it crosses streams on a fill.

    ``fills`` are places (x, y) of the crossings, with the height of the fill above the ground.
    """

    name: str
    road_class: str
    x_m: Array
    y_m: Array
    half_width_m: float
    fills: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class HoleInData:
    """A round place without elevations."""

    x_m: float
    y_m: float
    radius_m: float


class CountyGround:
    """The surface of the county without noise, in metres from its south-west corner."""

    def __init__(
        self,
        streams: list[Stream],
        roads: list[Road],
        holes: list[HoleInData],
        rng: np.random.Generator,
    ) -> None:
        self.streams, self.roads, self.holes = streams, roads, holes
        self.country, self.floor = _country(streams, rng)
        self.grounds = [
            Ground(stream.spec, stream.stations, rng, self.country) for stream in streams
        ]
        self._away = [_distance_map(stream) for stream in streams]
        self._crests = [self._crest(road) for road in roads]
        self._road_trees = [cKDTree(np.column_stack([r.x_m, r.y_m])) for r in roads]

    def distance_to_channel(self, x_m: Array, y_m: Array) -> Array:
        """Return the distance to the nearest channel's middle, to about a metre."""
        return np.asarray(np.min([away.at(x_m, y_m) for away in self._away], axis=0))

    def own(self, number: int, x_m: Array, y_m: Array) -> Array:
        """Return the surface that one stream alone would make."""
        return self.grounds[number].elevation(x_m, y_m, works=False)

    def elevation(self, x_m: Array, y_m: Array) -> Array:
        """Return elevations in metres at n points."""
        # a channel's own ground runs out into the country; where two are near the lower one has it
        z = np.full(np.shape(x_m), np.inf)
        for ground, away in zip(self.grounds, self._away, strict=True):
            near = away.at(x_m, y_m) < STRIP_M
            if near.any():
                z[near] = np.minimum(z[near], ground.elevation(x_m[near], y_m[near]))
        z = np.where(np.isfinite(z), z, self.country.at(x_m, y_m))
        return self._with_roads(x_m, y_m, z)

    def _with_roads(self, x_m: Array, y_m: Array, z: Array) -> Array:
        points = np.column_stack([x_m, y_m])
        for road, crest, tree in zip(self.roads, self._crests, self._road_trees, strict=True):
            far, k = tree.query(points, distance_upper_bound=14.0, workers=-1)
            near = np.isfinite(far)
            if not near.any():
                continue
            away, at = far[near], k[near]
            level, is_bridge = crest[0][at], crest[1][at]
            side = np.maximum(away - road.half_width_m - 1.0, 0.0)
            filled = np.maximum(z[near], level - side * FILL_SLOPE)
            cut = np.minimum(filled, level + np.maximum(side - 1.0, 0.0) * 0.5)
            fresh = np.where(is_bridge, z[near], cut)
            z[near] = fresh
        return z

    def _crest(self, road: Road) -> tuple[Array, Flags]:
        """Return the level of the road's surface along it, and where it is a bridge."""
        step = float(np.hypot(np.diff(road.x_m[:2]), np.diff(road.y_m[:2]))[0])
        level = gaussian_filter1d(self.country.at(road.x_m, road.y_m), 30.0 / step) + 0.25
        is_bridge = self.distance_to_channel(road.x_m, road.y_m) < 14.0
        for x, y, height in road.fills:
            away = np.hypot(road.x_m - x, road.y_m - y)
            level = level + (height - 0.25) * smoothstep((90.0 - away) / 65.0)
            is_bridge &= away > 30.0
        return level, is_bridge

    def elevation_model(self, canopy: Gridded, rng: np.random.Generator) -> NDArray[np.float32]:
        """Return the cells' means with noise, row 0 in the north, NaN in holes."""
        rows, columns = int(HEIGHT_M / CELL_M), int(WIDTH_M / CELL_M)
        x = (np.arange(columns) + 0.5) * CELL_M
        y = HEIGHT_M - (np.arange(rows) + 0.5) * CELL_M
        x, y = (part.ravel() for part in np.meshgrid(x, y))
        z = self.country.at(x, y)
        away = self.distance_to_channel(x, y)
        special = away < STRIP_M
        points = np.column_stack([x, y])
        for tree in self._road_trees:
            special |= np.isfinite(tree.query(points, distance_upper_bound=14.0, workers=-1)[0])
        fine = away < 13.0
        coarse = special & ~fine
        z[coarse] = self.elevation(x[coarse], y[coarse])
        z[fine] = 0.0
        steps = (np.arange(4) + 0.5) / 4.0 - 0.5
        for dx in steps * CELL_M:
            for dy in steps * CELL_M:
                z[fine] += self.elevation(x[fine] + dx, y[fine] + dy) / steps.size**2
        sd = 0.055 + 0.04 * smoothstep(canopy.at(x, y) / 6.0)
        z += sd * lidar_noise((rows, columns), 1.0, rng).ravel()
        for hole in self.holes:
            z[np.hypot(x - hole.x_m, y - hole.y_m) <= hole.radius_m] = np.nan
        return z.reshape(rows, columns).astype(np.float32)

    def is_untouched(self, number: int, x_m: Array, y_m: Array) -> Flags:
        """Tell where the surface is the one stream's own, and known."""
        same = np.abs(self.elevation(x_m, y_m) - self.own(number, x_m, y_m)) < 0.02
        for hole in self.holes:
            same &= np.hypot(x_m - hole.x_m, y_m - hole.y_m) > hole.radius_m + 1.5 * CELL_M
        plan = self.streams[number].stations.plan
        for pond in self.streams[number].spec.ponds:
            k = int(np.argmin(np.abs(plan.s_m - pond.at_m)))
            same &= np.hypot(x_m - plan.x_m[k], y_m - plan.y_m[k]) > pond.radius_m + 2.0
        inside = (x_m > 3.0) & (y_m > 3.0) & (x_m < WIDTH_M - 3.0) & (y_m < HEIGHT_M - 3.0)
        return np.asarray(same & inside)


def _distance_map(stream: Stream) -> Gridded:
    """Return the distance to one channel's middle on a 2 m grid, right to about a metre."""
    plan, step = stream.stations.plan, 2.0
    shape = (int(HEIGHT_M / step) + 1, int(WIDTH_M / step) + 1)
    row = np.rint(plan.y_m / step).astype(int)
    column = np.rint(plan.x_m / step).astype(int)
    inside = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    is_land = np.ones(shape, bool)
    is_land[row[inside], column[inside]] = False
    return Gridded(step * distance_transform_edt(is_land), 0.0, 0.0, step)


def _country(streams: list[Stream], rng: np.random.Generator) -> tuple[Gridded, Gridded]:
    """Return the ground between the channels on a 1 m grid, and 1 on valley floors, 0 off them."""
    xs = np.arange(-PAD_M, WIDTH_M + PAD_M + COARSE_M, COARSE_M)
    ys = np.arange(-PAD_M, HEIGHT_M + PAD_M + COARSE_M, COARSE_M)
    x, y = np.meshgrid(xs, ys)
    places, levels, is_floor = [], [], np.zeros(x.shape, bool)
    away = np.full(x.shape, np.inf)
    for stream in streams:
        plan, stations = stream.stations.plan, stream.stations
        least, most = stream.floor_half_width_m
        half = least + (most - least) * (0.5 + 0.5 * slow(plan.s_m.size, 0.25, 90.0, rng))
        half = half * (0.45 + 0.55 * smoothstep((plan.s_m + 60.0) / 350.0))
        far, k = cKDTree(np.column_stack([plan.x_m, plan.y_m])).query(
            np.column_stack([x.ravel(), y.ravel()]), workers=-1
        )
        away = np.minimum(away, far.reshape(x.shape))
        is_floor |= (far < np.maximum(half[k], 12.0)).reshape(x.shape)
        for side in ("left", "right"):
            top_x, top_y = stations.offset_place(side, stations.bank(side).top_m)
            excess = np.where(
                stations.left_failing if side == "left" else stations.right_failing,
                np.maximum(stations.bank(side).height_m - stations.plain_m, 0.0),
                0.0,
            )
            places.append(np.column_stack([top_x, top_y])[::40])
            levels.append((stations.water_m + stations.plain_m + excess)[::40])
    points, values = np.concatenate(places), np.concatenate(levels)
    floor = np.zeros(x.shape)
    inside = np.column_stack([x[is_floor], y[is_floor]])
    spread = np.empty(len(inside))
    for first in range(0, len(inside), 4000):
        weight = (cdist(inside[first : first + 4000], points) + 3.0) ** -3.0
        spread[first : first + 4000] = weight @ values / weight.sum(axis=1)
    floor[is_floor] = spread
    _, nearest = distance_transform_edt(~is_floor, return_indices=True)
    rim = np.zeros(x.shape, bool)
    rim[:2], rim[-2:], rim[:, :2], rim[:, -2:] = True, True, True, True
    beyond = (
        floor[tuple(nearest)]
        + EDGE_RISE_M
        + 4.0 * gaussian_filter(rng.standard_normal(x.shape), 10.0) * 30.0
    )
    floor = np.where(rim & ~is_floor, beyond, floor)
    z = hillslopes(floor, is_floor | rim, COARSE_M, rng)
    fine = zoom(z, COARSE_M / CELL_M, order=3, mode="nearest", grid_mode=True)
    on_floor = zoom(
        is_floor.astype(float), COARSE_M / CELL_M, order=1, grid_mode=True, mode="nearest"
    )
    far = zoom(away, COARSE_M / CELL_M, order=1, mode="nearest", grid_mode=True)
    fine += smoothstep((far - 14.0) / 14.0) * (gaussian_filter(fine, 7.0 / CELL_M) - fine)
    corner = -PAD_M - COARSE_M / 2.0 + CELL_M / 2.0
    bounds = (-PAD_M, -PAD_M, WIDTH_M + PAD_M, HEIGHT_M + PAD_M)
    fine_y = corner + CELL_M * np.arange(fine.shape[0])
    fine_x = corner + CELL_M * np.arange(fine.shape[1])
    grid_x, grid_y = np.meshgrid(fine_x, fine_y)
    for scale, size in ((28.0, 0.16), (9.0, 0.05)):
        fine += size * (1.0 - 0.6 * on_floor) * smooth_field(bounds, scale, rng).at(grid_x, grid_y)
    return Gridded(fine, corner, corner, CELL_M), Gridded(on_floor, corner, corner, CELL_M)
