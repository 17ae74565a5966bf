"""The streams of one block: random trees on a jittered grid, drawn as meandering channels."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

Array = NDArray[np.float64]

SIDE_M = 11_000.0
"""A block is a square of this side."""
TARGET_KM = 250.0
NODES = 24
OUTLETS = {2: 1.5, 5: 5.0, 9: 0.0, 14: 6.0, 18: 2.5, 22: 4.0}
"""Columns of the nodes in the lowest row where streams leave the block, and by how many nodes
each catchment begins to grow later than the largest."""
STEP_M = 2.0
MOUTH_M = 200.0


@dataclass
class Channel:
    """A stream at stations ``STEP_M`` apart from head to mouth; left is positive.

    ``joins`` is the number of the stream it flows into, -1 for none, and ``joins_at`` the station
    there. ``area_km2`` is the drainage area at its stations.
    """

    xy_m: Array
    toe_width_m: Array
    bed_m: Array
    height_m: Array
    """Shape (n, 2): left, right."""
    face_ratio: Array
    """Rise over run of the faces, shape (n, 2)."""
    area_km2: Array
    joins: int
    joins_at: int
    joined_at: list[int] = field(default_factory=list)

    @property
    def length_m(self) -> float:
        """Length along the channel."""
        return STEP_M * (len(self.xy_m) - 1)


def make_channels(rng: np.random.Generator) -> list[Channel]:
    """Return the channels of one block; a stream comes after the one it flows into."""
    nodes, parent = _grow(rng)
    area = _areas(parent)
    paths = _paths(parent, area)
    channels: list[Channel] = []
    number_at: dict[int, int] = {}
    total_m = 0.0
    for path, joins_node in paths:
        if total_m > TARGET_KM * 1000.0:
            break
        owner = number_at.get(joins_node, -1)
        if joins_node >= 0 and owner < 0:
            continue  # the stream it would flow into was left out
        channel = _channel(nodes, path, joins_node, area, channels, owner, rng)
        for node in path:
            number_at[node] = len(channels)
        if owner >= 0:
            channels[owner].joined_at.append(channel.joins_at)
        channels.append(channel)
        total_m += channel.length_m
    return channels


def _grow(rng: np.random.Generator) -> tuple[Array, NDArray[np.int64]]:
    """Return jittered nodes and for each the one downstream of it, by growth from the outlets."""
    spacing = SIDE_M / NODES
    j, i = np.meshgrid(np.arange(NODES), np.arange(NODES))
    nodes = (np.stack([j, i], axis=-1) + 0.5) * spacing
    nodes = nodes + rng.uniform(-0.28, 0.28, nodes.shape) * spacing
    nodes = nodes.reshape(-1, 2)
    parent = np.full(NODES * NODES, -2)
    heap = [(late, c, -1) for c, late in OUTLETS.items()]
    while heap:
        when, at, below = heapq.heappop(heap)
        if parent[at] != -2:
            continue
        parent[at] = below
        row, column = divmod(at, NODES)
        for r, c in ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)):
            if 0 <= r < NODES and 0 <= c < NODES and parent[r * NODES + c] == -2:
                heapq.heappush(heap, (when + rng.uniform(0.3, 1.7), r * NODES + c, at))
    return nodes, parent


def _areas(parent: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return how many nodes drain through each."""
    depth = np.zeros(len(parent), int)
    for at in range(len(parent)):
        here = at
        while parent[here] >= 0:
            here = parent[here]
            depth[at] += 1
    area = np.ones(len(parent), int)
    for at in np.argsort(-depth, kind="stable"):
        if parent[at] >= 0:
            area[parent[at]] += area[at]
    return area


def _paths(parent: NDArray[np.int64], area: NDArray[np.int64]) -> list[tuple[list[int], int]]:
    """Return streams as nodes from head to mouth, and the node each flows into; largest first."""
    children: dict[int, list[int]] = {}
    for at, below in enumerate(parent):
        children.setdefault(int(below), []).append(at)
    paths = []
    waiting = [(at, -1) for at in children[-1]]
    while waiting:
        at, joins = waiting.pop()
        path = [at]
        while children.get(path[-1]):
            above = sorted(children[path[-1]], key=lambda c: (-area[c], c))
            waiting += [(c, path[-1]) for c in above[1:]]
            path.append(above[0])
        paths.append((path[::-1], joins))
    return sorted(paths, key=lambda p: (-area[p[0][-1]], p[0][-1]))


def _channel(
    nodes: Array,
    path: list[int],
    joins_node: int,
    area: NDArray[np.int64],
    channels: list[Channel],
    owner: int,
    rng: np.random.Generator,
) -> Channel:
    points = nodes[path]
    joins_at = -1
    if owner >= 0:
        trunk = channels[owner].xy_m
        away = np.hypot(*(trunk - nodes[joins_node]).T)
        away[:30] = away[-30:] = np.inf
        joins_at = int(np.argmin(away))
        points = np.vstack([points, trunk[joins_at]])
    else:
        points = np.vstack([points, [points[-1, 0], 80.0]])
    if len(path) == 1 or owner < 0:  # a little way beyond the first node
        points = np.vstack([points[0] + 0.3 * (points[0] - points[1]), points])
    points = np.clip(points, 80.0, SIDE_M - 80.0)
    base = _smooth(points, 100.0)
    node_area_km2 = (SIDE_M / NODES / 1000.0) ** 2
    along = np.linspace(0.3, area[path[-1]], 50) * node_area_km2
    width = np.clip(4.2 * along**0.2, 3.0, 8.0)
    xy = _meander(base, float(width.mean()), rng)
    n = len(xy)
    area_km2 = np.interp(np.arange(n), np.linspace(0, n - 1, 50), along)
    width = np.interp(np.arange(n), np.linspace(0, n - 1, 50), width)
    width = width * (1.0 + 0.08 * _wander(n, 60.0, rng))
    slope = np.interp(width, [3.0, 8.0], [0.005, 0.002])
    mouth = channels[owner].bed_m[joins_at] if owner >= 0 else MOUTH_M
    bed = mouth + STEP_M * (np.cumsum(slope[::-1])[::-1] - slope[-1])
    height = 0.7 + 0.16 * width * (1.0 + 0.5 * _wander(n, 250.0, rng))
    sides = np.column_stack([height * (1.0 + 0.2 * _wander(n, 120.0, rng)) for _ in range(2)])
    heading = np.unwrap(np.arctan2(*np.gradient(xy, axis=0).T[::-1]))
    turn = np.clip(3.0 * gaussian_filter1d(np.gradient(heading) / STEP_M, 3.0) * width, -1.0, 1.0)
    # turning left, the right bank is outside and steep
    angle = np.column_stack([40.0 - 22.0 * turn, 40.0 + 22.0 * turn])
    face = np.tan(np.radians(angle))
    return Channel(xy, width, bed, np.clip(sides, 0.8, 2.5), face, area_km2, owner, joins_at)


def _smooth(points: Array, sigma_m: float) -> Array:
    """Return the line at even steps with its corners evened out and its ends kept."""
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    even = np.linspace(0.0, at[-1], max(8, int(at[-1] / 5.0)))
    xy = np.column_stack([np.interp(even, at, points[:, k]) for k in range(2)])
    pad = min(int(4 * sigma_m / 5.0), len(xy) - 1)
    padded = np.vstack([2 * xy[0] - xy[pad:0:-1], xy, 2 * xy[-1] - xy[-2 : -pad - 2 : -1]])
    return gaussian_filter1d(padded, sigma_m / 5.0, axis=0)[pad : pad + len(xy)]


def _meander(base: Array, width_m: float, rng: np.random.Generator) -> Array:
    """Lay a sine-generated curve of wandering wavelength along a line, ``STEP_M`` by ``STEP_M``."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(base, axis=0).T))])
    n = int(2.5 * along[-1] / 0.5)
    wave_m = 15.0 * width_m * (1.0 + 0.35 * np.tanh(_wander(n, 600.0, rng)))
    omega = np.radians(50.0 + 18.0 * np.tanh(_wander(n, 800.0, rng)))
    direction = omega * np.sin(np.cumsum(2.0 * np.pi * 0.5 / wave_m))
    u = 0.5 * np.cumsum(np.cos(direction))
    v = 0.5 * np.cumsum(np.sin(direction))
    v -= gaussian_filter1d(v, 1.2 * 15.0 * width_m / 0.5)
    keep = u < along[-1]
    u, v = u[keep], v[keep]
    v *= np.clip(np.minimum(u, along[-1] - u) / 60.0, 0.0, 1.0)
    ahead = np.gradient(base, axis=0)
    ahead /= np.hypot(*ahead.T)[:, None]
    x, y, dx, dy = (np.interp(u, along, a) for a in (*base.T, *ahead.T))
    xy = np.vstack([base[0], np.column_stack([x - v * dy, y + v * dx]), base[-1]])
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    even = np.linspace(0.0, s[-1], max(4, round(s[-1] / STEP_M)))
    return np.column_stack([np.interp(even, s, xy[:, k]) for k in range(2)])


def _wander(n: int, length: float, rng: np.random.Generator) -> Array:
    """Return smooth noise of about unit size that changes over ``length`` steps."""
    knots = rng.normal(size=max(4, int(n / length) + 4))
    smooth = np.interp(np.arange(n) / length, np.arange(len(knots)), knots)
    return np.asarray(gaussian_filter1d(smooth, length / 3.0, mode="nearest"))
