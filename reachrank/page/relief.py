"""The ground behind the map: one pale picture of the whole, sharp tiles near the worst banks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Protocol

import numpy as np
import shapely
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer

from reachrank.page.mercator import (
    TILE_PX,
    Tile,
    pixel_m,
    pixel_places,
    tiles_near,
    to_degrees,
    to_mercator,
    zoom_for,
)
from reachrank.page.shade import as_data_uri, shade, taller
from reachrank.progress import Progress, silent
from reachrank.surface import Surface

NEAR_BANK_M = 60.0
"""Ground shown sharp on either side of a bank: its far bank and what stands behind it."""
_BATCH = 48
_OVERVIEW_PX = 1400
_OVERVIEW_CELLS = 3_000_000
_MARGIN = 0.06
_STEEPEST = 0.4
"""Nine tenths of the ground are drawn no steeper than this, rise over length; tool default."""


class Ground(Protocol):
    """What is asked of a DEM; `reachrank.read.dem.Dem` is one."""

    crs: CRS
    cell_m: float

    def surface(self, lines: ArrayLike, half_width_m: ArrayLike) -> Surface:
        """Return the elevation within a distance of lines in the ground's CRS."""

    def coarse(self, max_cells: int) -> tuple[NDArray[np.float32], Affine]:
        """Return all of it, averaged down."""


def overview(ground: Ground, box_deg: Sequence[float]) -> dict[str, Any] | None:
    """Return one picture of the ground behind all reaches, None where there is none.

    Parameters
    ----------
    ground
        The DEM.
    box_deg
        West, south, east, north of the reaches, in degrees.

    Returns
    -------
    dict
        ``box``: south, west, north, east in degrees; ``picture``: a ``data:`` address;
        ``taller``: how much taller the ground is drawn, for the tiles to match.
    """
    (west, east), (south, north) = to_mercator(box_deg[::2], box_deg[1::2])
    pad = _MARGIN * max(east - west, north - south, 1.0)
    box = (west - pad, south - pad, east + pad, north + pad)
    longest = max(box[2] - box[0], box[3] - box[1])
    latitude = (box_deg[1] + box_deg[3]) / 2.0
    ground_m = longest * np.cos(np.radians(latitude))
    px = min(_OVERVIEW_PX, max(64, int(ground_m / ground.cell_m)))
    shape = (
        max(2, round(px * (box[3] - box[1]) / longest)),
        max(2, round(px * (box[2] - box[0]) / longest)),
    )
    elevation, transform = ground.coarse(_OVERVIEW_CELLS)
    back = ~transform
    inverse = np.array([back.a, back.b, back.c, back.d, back.e, back.f])
    surface = Surface.from_array(elevation, inverse, ground.cell_m)
    seen = surface.sample(*pixel_places(box, shape, ground.crs))
    times_taller = taller(seen, ground_m / px, _STEEPEST)
    uri = as_data_uri(shade(seen, ground_m / px, times_taller))
    longitude, latitudes = to_degrees(box[::2], box[1::2])
    at = [latitudes[0], longitude[0], latitudes[1], longitude[1]]
    if not uri:
        return None
    return {
        "box": [round(float(v), 7) for v in at],
        "picture": uri,
        "taller": times_taller,
    }


def tiles_wanted(ground: Ground, lines_deg: Iterable[shapely.Geometry]) -> list[Tile]:
    """Return the tiles near lines in degrees, as fine as the ground, those of the first first."""
    lines = list(lines_deg)
    if not lines:
        return []
    zoom = zoom_for(ground.cell_m, float(np.mean([line.centroid.y for line in lines])))
    near = (tile for line in lines for tile in tiles_near(line, NEAR_BANK_M, zoom))
    return list(dict.fromkeys(near))


def shaded_tiles(
    ground: Ground,
    tiles: Sequence[Tile],
    progress: Progress = silent,
    *,
    times_taller: float = 1.0,
) -> Iterator[tuple[Tile, str]]:
    """Yield tiles of one zoom with their pictures, those without any ground left out.

    A caller that has enough simply stops. Elevations are asked for in batches, so that memory
    stays bounded.
    """
    for first in range(0, len(tiles), _BATCH):
        yield from _shaded(ground, tiles[first : first + _BATCH], times_taller)
        progress(min(1.0, (first + _BATCH) / len(tiles)), "hillshade")


def _shaded(
    ground: Ground, tiles: Sequence[Tile], times_taller: float
) -> Iterator[tuple[Tile, str]]:
    to_ground = Transformer.from_crs(3857, ground.crs, always_xy=True)
    middles = []
    for tile in tiles:
        west, south, east, north = tile.box
        middle = (south + north) / 2.0
        middles.append(
            shapely.LineString(np.column_stack(to_ground.transform([west, east], [middle] * 2)))
        )
    sides_m = np.array([line.length for line in middles])
    surface = ground.surface(middles, sides_m * 0.55 + 2.0 * ground.cell_m)
    for tile in tiles:
        x, y = pixel_places(tile.box, (TILE_PX, TILE_PX), ground.crs)
        _, tile_latitude = to_degrees(0.0, (tile.box[1] + tile.box[3]) / 2.0)
        px_m = pixel_m(tile.zoom, float(tile_latitude))
        uri = as_data_uri(shade(surface.sample(x, y), px_m, times_taller))
        if uri:
            yield tile, uri
