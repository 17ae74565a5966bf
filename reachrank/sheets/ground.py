"""Light and shade of the ground in a frame: only the part of the DEM under it is read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import shapely
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from reachrank.page.shade import shade
from reachrank.surface import Surface

Frame = tuple[float, float, float, float]
"""West, south, east, north in the working CRS."""
PIXELS_PER_INCH = 144.0
_TONES = 48
"""Shades kept of the picture: the eye sees no more on paper, and the file stays small."""
_OVERVIEW_CELLS = 1_500_000


class Ground(Protocol):
    """What is asked of a DEM; `reachrank.read.dem.Dem` is one."""

    cell_m: float

    def surface(self, lines: ArrayLike, half_width_m: ArrayLike) -> Surface:
        """Return the elevation within a distance of lines in the working CRS."""

    def coarse(self, max_cells: int) -> tuple[NDArray[np.float32], Affine]:
        """Return all of it, averaged down."""


def fit_frame(box: Sequence[float], width: float, height: float, least_m: float) -> Frame:
    """Return a frame around a box, with the shape of the paper's rectangle.

    Parameters
    ----------
    box
        West, south, east, north of what must be inside.
    width, height
        Of the rectangle, in any unit.
    least_m
        The frame is never narrower than this.

    Examples
    --------
    >>> fit_frame((0, 0, 10, 10), 200, 100, 10.0)
    (-5.0, 0.0, 15.0, 10.0)
    """
    west, south, east, north = (float(v) for v in box)
    across = max(east - west, (north - south) * width / height, least_m)
    up = across * height / width
    x, y = (west + east) / 2.0, (south + north) / 2.0
    return x - across / 2.0, y - up / 2.0, x + across / 2.0, y + up / 2.0


def relief(ground: Ground, frame: Frame, width_pt: float) -> NDArray[np.uint8] | None:
    """Return the shaded ground of a frame, None where the DEM has nothing there.

    Returns
    -------
    uint8, shape (rows, columns, 3)
        Row 0 in the north.
    """
    x, y, pixel_m = _pixels(frame, width_pt, 0.5 * ground.cell_m)
    west, south, east, north = frame
    middle = (south + north) / 2.0
    half_m = (north - south) / 2.0 + 2.0 * ground.cell_m
    surface = ground.surface([shapely.LineString([(west, middle), (east, middle)])], half_m)
    return _few_tones(shade(surface.sample(x, y), pixel_m))


def wide_relief(ground: Ground, frame: Frame, width_pt: float) -> NDArray[np.uint8] | None:
    """Return the same for a frame of any size, from the DEM averaged down."""
    elevation_m, transform = ground.coarse(_OVERVIEW_CELLS)
    back = ~transform
    inverse = np.array([back.a, back.b, back.c, back.d, back.e, back.f])
    cell_m = float(np.sqrt(abs(transform.determinant)))
    x, y, pixel_m = _pixels(frame, width_pt, cell_m)
    surface = Surface.from_array(elevation_m, inverse, cell_m)
    return _few_tones(shade(surface.sample(x, y), pixel_m))


def _pixels(
    frame: Frame, width_pt: float, least_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Return the middles of pixels with a border of one more on each side, and their size."""
    west, south, east, north = frame
    columns = max(8, round(min(width_pt / 72.0 * PIXELS_PER_INCH, (east - west) / least_m)))
    pixel_m = (east - west) / columns
    rows = max(8, round((north - south) / pixel_m))
    x = west + (np.arange(-1, columns + 1) + 0.5) * pixel_m
    y = north - (np.arange(-1, rows + 1) + 0.5) * (north - south) / rows
    grid_x, grid_y = np.meshgrid(x, y)
    return grid_x, grid_y, pixel_m


def _few_tones(picture: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
    known = picture[..., 3] > 0
    if not known.any():
        return None
    colours = picture[..., :3].astype(float)
    dark, pale = colours[known].min(axis=0), colours[known].max(axis=0)
    range_ = max(1.0, float(pale[0] - dark[0]))
    tone = np.rint((colours[..., :1] - dark[0]) / range_ * (_TONES - 1)) / (_TONES - 1)
    out: NDArray[np.uint8] = np.rint(dark + tone * (pale - dark)).astype(np.uint8)
    out[~known] = 255
    return out
