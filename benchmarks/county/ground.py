"""The ground of one block: channels with banks cut into gently rolling land."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import KDTree

from county.network import SIDE_M, Channel

Array = NDArray[np.float64]

NOISE_M = 0.05
REACH_M = 60.0
"""Ground farther than this from every channel is the smooth base alone."""
_BLEND_FROM_M = 22.0
_COARSE_M = 25.0


@dataclass(frozen=True)
class Ground:
    """What tiles of elevation are made from: the smooth base, and the channels' segments.

    ``segments`` has one row each: x, y, x, y, toe width, bed, height left, height right, face
    left, face right.
    """

    base_m: Array
    segments: Array

    def tile(self, west_m: float, north_m: float, cells: int, seed: int) -> NDArray[np.float32]:
        """Return elevations of 1 m cells, row 0 in the north, whole centimetres."""
        at = np.arange(cells) + 0.5
        rows = (north_m - at) / _COARSE_M
        columns = (west_m + at) / _COARSE_M
        grid = np.meshgrid(rows, columns, indexing="ij")
        z = map_coordinates(self.base_m, grid, order=1, mode="nearest")
        x, y = self.segments[:, 0], self.segments[:, 1]
        near = (
            (x > west_m - REACH_M) & (x < west_m + cells + REACH_M)
            & (y < north_m + REACH_M) & (y > north_m - cells - REACH_M)
        )  # fmt: skip
        _carve(z, west_m, north_m, self.segments[near])
        noise = np.random.default_rng(seed).standard_normal(z.shape, dtype=np.float32)
        return np.round(z + NOISE_M * noise, 2).astype(np.float32)


def make_ground(channels: list[Channel], rng: np.random.Generator) -> Ground:
    """Lay smooth land over the banks of the channels."""
    segments = []
    for channel in channels:
        keep = np.ones(len(channel.xy_m) - 1, bool)
        if channel.joins >= 0:  # what lies in the channel it joins is that one's
            trunk = channels[channel.joins]
            middle = trunk.xy_m[channel.joins_at]
            away = np.hypot(*(channel.xy_m[1:] - middle).T)
            keep[-20:] = away[-20:] > 0.5 * trunk.toe_width_m[channel.joins_at]
        rows = np.column_stack([
            channel.xy_m[:-1], channel.xy_m[1:], channel.toe_width_m[:-1], channel.bed_m[:-1],
            channel.height_m[:-1], channel.face_ratio[:-1],
        ])  # fmt: skip
        segments.append(rows[keep])
    table = np.vstack(segments)
    tops = table[::10, 5] + table[::10, 6:8].mean(axis=1)
    n = int(SIDE_M / _COARSE_M) + 2
    y, x = np.meshgrid(np.arange(n) * _COARSE_M, np.arange(n) * _COARSE_M, indexing="ij")
    away, which = KDTree(table[::10, :2]).query(np.column_stack([x.ravel(), y.ravel()]), k=8)
    weight = 1.0 / (away**2 + 15.0**2)
    level = ((weight * tops[which]).sum(axis=1) / weight.sum(axis=1)).reshape(n, n)
    away = away[:, 0].reshape(n, n)
    far = np.clip(away / 150.0, 0.0, 1.0)
    blurred = gaussian_filter(level, 3.0)
    phase = rng.uniform(0.0, 2.0 * np.pi, 3)
    rolling = (
        np.sin(x / 190.0 + phase[0])
        + np.sin(y / 240.0 + phase[1])
        + np.sin((x + y) / 330 + phase[2])
    )
    base = level + far * (blurred - level) + 0.012 * away + 1.2 * far * rolling
    return Ground(gaussian_filter(base, 1.0), table)


@numba.njit(cache=True)
def _carve(z, west_m, north_m, segments):  # type: ignore[no-untyped-def]
    rows, columns = z.shape
    nearest = np.full(z.shape, REACH_M * REACH_M, np.float32)
    owner = np.full(z.shape, -1, np.int32)
    for k in range(len(segments)):
        x0, y0, x1, y1 = segments[k, 0], segments[k, 1], segments[k, 2], segments[k, 3]
        dx, dy = x1 - x0, y1 - y0
        square = dx * dx + dy * dy + 1e-12
        for i in range(
            max(0, int(north_m - max(y0, y1) - REACH_M)),
            min(rows, int(north_m - min(y0, y1) + REACH_M) + 1),
        ):
            y = north_m - i - 0.5 - y0
            for j in range(
                max(0, int(min(x0, x1) - REACH_M - west_m)),
                min(columns, int(max(x0, x1) + REACH_M - west_m) + 1),
            ):
                x = west_m + j + 0.5 - x0
                t = min(1.0, max(0.0, (x * dx + y * dy) / square))
                away = (x - t * dx) ** 2 + (y - t * dy) ** 2
                if away < nearest[i, j]:
                    nearest[i, j] = away
                    owner[i, j] = k
    for i in range(rows):
        for j in range(columns):
            k = owner[i, j]
            if k < 0:
                continue
            x = west_m + j + 0.5 - segments[k, 0]
            y = north_m - i - 0.5 - segments[k, 1]
            dx, dy = segments[k, 2] - segments[k, 0], segments[k, 3] - segments[k, 1]
            side = 0 if dx * y - dy * x > 0.0 else 1
            away = np.sqrt(nearest[i, j])
            beyond = max(0.0, away - 0.5 * segments[k, 4])
            height, face = segments[k, 6 + side], segments[k, 8 + side]
            top_at = height / face
            rise = face * beyond if beyond < top_at else height + 0.01 * (beyond - top_at)
            own = segments[k, 5] + rise
            share = min(1.0, max(0.0, (away - _BLEND_FROM_M) / (REACH_M - _BLEND_FROM_M)))
            share = share * share * (3.0 - 2.0 * share)
            z[i, j] = own + share * (z[i, j] - own)
