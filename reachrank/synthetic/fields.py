"""Smooth random variation along a line and over a plane, from a passed generator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates

Array = NDArray[np.float64]


def slow(points: int, step_m: float, scale_m: float, rng: np.random.Generator) -> Array:
    """Return smooth variation along a line, between -1 and 1, its greatest size exactly 1.

    Parameters
    ----------
    points, step_m
        Number of values and the distance between them.
    scale_m
        Distance over which the variation is alike (standard deviation of the filter).
    """
    coarse_step = max(scale_m / 8.0, step_m)
    count = int(points * step_m / coarse_step) + 40
    wave = gaussian_filter1d(rng.standard_normal(count), max(scale_m / coarse_step, 1.0))
    wave = wave - wave.mean()
    wave = wave / np.abs(wave).max()
    at = np.arange(points) * step_m / coarse_step
    out = map_coordinates(wave, [at + 10.0], order=3, mode="nearest")
    return np.asarray(out / max(np.abs(out).max(), 1e-12))


def rough(points: int, step_m: float, longest_m: float, rng: np.random.Generator) -> Array:
    """Return variation along a line whose size grows with its wavelength; standard deviation 1.

    Each octave of wavelengths, from four steps to the longest, varies twice as much as the next
    shorter one, as the toes of real banks do.

    Parameters
    ----------
    points, step_m
        Number of values and the distance between them.
    longest_m
        The longest wavelength.
    """
    count = max(points, int(8.0 * longest_m / step_m))
    per_m = np.fft.rfftfreq(count, step_m)
    spectrum = np.fft.rfft(rng.standard_normal(count))
    is_in = (per_m >= 1.0 / longest_m) & (per_m <= 0.25 / step_m)
    spectrum[~is_in] = 0.0
    spectrum[is_in] *= per_m[is_in] ** -1.5
    wave = np.fft.irfft(spectrum, count)
    return np.asarray((wave / wave.std())[:points])


@dataclass(frozen=True)
class Gridded:
    """Values on a square grid, sampled bilinearly anywhere; the rim goes on outside.

    Row 0 lies at ``y0_m`` and rows go up, column 0 lies at ``x0_m``.
    """

    values: Array
    x0_m: float
    y0_m: float
    step_m: float

    def at(self, x_m: Array, y_m: Array) -> Array:
        """Return the values at points of any shape."""
        rows = (np.asarray(y_m) - self.y0_m) / self.step_m
        columns = (np.asarray(x_m) - self.x0_m) / self.step_m
        return np.asarray(map_coordinates(self.values, [rows, columns], order=1, mode="nearest"))


def smooth_field(
    bounds_m: tuple[float, float, float, float], scale_m: float, rng: np.random.Generator
) -> Gridded:
    """Return a random surface with mean 0 and standard deviation about 1.

    Parameters
    ----------
    bounds_m
        Left, bottom, right, top.
    scale_m
        Distance over which the surface is alike (standard deviation of the filter).
    """
    step = scale_m / 2.0
    left, bottom, right, top = bounds_m
    shape = (int((top - bottom) / step) + 12, int((right - left) / step) + 12)
    values = gaussian_filter(rng.standard_normal(shape), 2.0)
    return Gridded(values / values.std(), left - 5 * step, bottom - 5 * step, step)


def lidar_noise(
    shape: tuple[int, int],
    sd_m: float,
    rng: np.random.Generator,
    *,
    correlated_share: float = 0.5,
    scale_cells: float = 1.2,
) -> Array:
    """Return elevation noise: one part alike over two to three cells, one part white.

    Parameters
    ----------
    shape
        Rows and columns.
    sd_m
        Standard deviation of the sum.
    correlated_share
        Share of the variance in the correlated part.
    scale_cells
        Standard deviation of the filter that makes the correlated part.
    """
    alike = gaussian_filter(rng.standard_normal(shape), scale_cells, mode="wrap")
    alike = alike / alike.std()
    white = rng.standard_normal(shape)
    return np.asarray(
        sd_m * (np.sqrt(correlated_share) * alike + np.sqrt(1.0 - correlated_share) * white)
    )


def smoothstep(t: Array) -> Array:
    """Return 0 below 0, 1 above 1, and 3 t^2 - 2 t^3 between."""
    t = np.clip(t, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))
