"""Light and shade of the ground, pale enough to read lines and letters on it."""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Floats = NDArray[np.float64]

_LIGHT_FROM_DEG, _LIGHT_HEIGHT_DEG = 315.0, 45.0
"""From the north-west, where maps have their light: common practice, no source."""
_LEAST_TALLER, _MOST_TALLER = 0.5, 3.0
"""Limits of how much taller heights are drawn; tool default."""
_PALEST, _DARKEST = (250, 248, 242), (70, 74, 80)
_STEEP_DEG, _STEEP_DARKER = 40.0, 0.3
_QUALITY = 50


def slope(elevation_m: NDArray[np.float64], pixel_m: float) -> tuple[Floats, Floats]:
    """Return the rise to the east and to the north, per length, of all but the border pixels.

    Examples
    --------
    >>> plane = np.add.outer([6.0, 3.0, 0.0], [0.0, 1.0, 2.0])  # row 0 in the north
    >>> [float(part[0, 0]) for part in slope(plane, 2.0)]  # 1 in 2 m east, 3 in 2 m north
    [0.5, 1.5]
    """
    east = (elevation_m[1:-1, 2:] - elevation_m[1:-1, :-2]) / (2.0 * pixel_m)
    north = (elevation_m[:-2, 1:-1] - elevation_m[2:, 1:-1]) / (2.0 * pixel_m)
    return east, north


def illumination(east: Floats, north: Floats) -> Floats:
    """Return the cosine of the angle between the ground's normal and the light, from its slopes.

    Examples
    --------
    >>> # a slope of 45° that faces the light from the north-west, 45° high, has all of it
    >>> facing = np.array([np.sqrt(0.5)]), np.array([-np.sqrt(0.5)])
    >>> round(float(illumination(*facing)[0]), 12)
    1.0
    """
    azimuth, height = np.radians(_LIGHT_FROM_DEG), np.radians(_LIGHT_HEIGHT_DEG)
    towards_east, towards_north = np.sin(azimuth) * np.cos(height), np.cos(azimuth) * np.cos(height)
    toward = np.sin(height) - east * towards_east - north * towards_north
    return np.asarray(toward / np.sqrt(1.0 + east**2 + north**2), np.float64)


def taller(elevation_m: NDArray[np.float64], pixel_m: float, steepest: float) -> float:
    """Return how much taller to draw the ground, so that nine tenths of it look less steep.

    Flat country is drawn taller, hills are not drawn all black.
    """
    steep = np.hypot(*slope(elevation_m, pixel_m))
    steep = steep[np.isfinite(steep)]
    if not steep.size:
        return 1.0
    typical = max(float(np.quantile(steep, 0.9)), 1e-6)
    return min(_MOST_TALLER, max(_LEAST_TALLER, steepest / typical))


def shade(
    elevation_m: NDArray[np.float64], pixel_m: float, times_taller: float = 1.0
) -> NDArray[np.uint8]:
    """Return a shaded picture of the ground.

    Parameters
    ----------
    elevation_m
        Shape (rows + 2, columns + 2), row 0 in the north: one pixel more on each side than the
        picture. NaN where nothing is known.
    pixel_m
        Side of a pixel on the ground.
    times_taller
        Heights are drawn so many times taller.

    Returns
    -------
    uint8, shape (rows, columns, 4)
        Red, green, blue and opacity; clear where a slope cannot be found.

    Notes
    -----
    Light by Lambert's law, darker with steepness so that a bank that faces the light shows too.
    """
    east, north = slope(elevation_m, pixel_m)
    lit = illumination(east * times_taller, north * times_taller)
    flat = float(np.sin(np.radians(_LIGHT_HEIGHT_DEG)))
    # flat ground is pale, shade goes down to the darkest, full light up to the palest
    part = np.where(lit < flat, 0.82 * lit / flat, 0.82 + 0.18 * (lit - flat) / (1.0 - flat))
    steep_deg = np.degrees(np.arctan(np.hypot(east, north)))
    part *= 1.0 - _STEEP_DARKER * np.clip(steep_deg / _STEEP_DEG, 0.0, 1.0)
    is_known = np.isfinite(part)
    part = np.clip(np.where(is_known, part, 0.0), 0.0, 1.0)[..., None]
    out = np.empty((*is_known.shape, 4), np.uint8)
    out[..., :3] = np.rint(np.array(_DARKEST) + part * (np.array(_PALEST) - np.array(_DARKEST)))
    out[..., 3] = np.where(is_known, 255, 0)
    return out


def as_data_uri(picture: NDArray[np.uint8]) -> str:
    """Return a picture as a ``data:`` address for a page; ``""`` if all of it is clear."""
    if not picture[..., 3].any():
        return ""
    opaque = bool((picture[..., 3] == 255).all())
    image = Image.fromarray(picture[..., :3] if opaque else picture)
    file = io.BytesIO()
    image.save(file, "WEBP", quality=_QUALITY, method=4, alpha_quality=40)
    return "data:image/webp;base64," + base64.b64encode(file.getvalue()).decode("ascii")
