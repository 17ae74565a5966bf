"""Light and shade of the ground, pale enough to read lines and letters on it."""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

_LIGHT_FROM_DEG, _LIGHT_HEIGHT_DEG = 315.0, 45.0
"""From the north-west, where maps have their light: common practice, no source."""
_EXAGGERATION = 2.2
"""Heights are drawn this much taller, so that a bank of a metre shows; tool default."""
_PALEST, _DARKEST = (250, 248, 242), (70, 74, 80)
_STEEP_DEG, _STEEP_DARKER = 40.0, 0.3
_QUALITY = 62


def shade(elevation_m: NDArray[np.float64], pixel_m: float) -> NDArray[np.uint8]:
    """Return a shaded picture of the ground.

    Parameters
    ----------
    elevation_m
        Shape (rows + 2, columns + 2), row 0 in the north: one pixel more on each side than the
        picture. NaN where nothing is known.
    pixel_m
        Side of a pixel on the ground.

    Returns
    -------
    uint8, shape (rows, columns, 4)
        Red, green, blue and opacity; clear where a slope cannot be found.

    Notes
    -----
    Light by the cosine of the angle between the ground's normal and the light (Lambert), darker
    with steepness so that a bank that faces the light shows too.
    """
    east = (elevation_m[1:-1, 2:] - elevation_m[1:-1, :-2]) / (2.0 * pixel_m)
    north = (elevation_m[:-2, 1:-1] - elevation_m[2:, 1:-1]) / (2.0 * pixel_m)
    gx, gy = east * _EXAGGERATION, north * _EXAGGERATION
    azimuth, height = np.radians(_LIGHT_FROM_DEG), np.radians(_LIGHT_HEIGHT_DEG)
    light = np.array(
        [np.sin(azimuth) * np.cos(height), np.cos(azimuth) * np.cos(height), np.sin(height)]
    )
    lit = (light[2] - gx * light[0] - gy * light[1]) / np.sqrt(1.0 + gx**2 + gy**2)
    flat = light[2]
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
