"""A corridor as the stages want it, without files: tables and a context in memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
from affine import Affine
from numpy.typing import NDArray
from shapely.geometry import LineString

from reachrank.context import Context, Inputs, Tables
from reachrank.settings import Settings
from reachrank.surface import Surface
from reachrank.synthetic.corridor import Corridor


@dataclass(frozen=True)
class ArrayDem:
    """Elevation in memory that answers as `reachrank.read.dem.Dem` does."""

    elevation_m: NDArray[np.float32]
    transform: Affine

    @property
    def cell_m(self) -> float:
        """Side of a cell, metres."""
        return float(np.sqrt(abs(self.transform.determinant)))

    def surface(self, lines: Any = None, half_width_m: Any = None, progress: Any = None) -> Surface:
        """Return all of it, whatever lines are asked for."""
        inverse = np.array((~self.transform)[:6], np.float64)
        return Surface.from_array(self.elevation_m, inverse, self.cell_m)

    def coarse(self, max_cells: int = 20_000_000) -> tuple[NDArray[np.float32], Affine]:
        """Return all of it, whatever the limit."""
        return self.elevation_m, self.transform


def corridor_inputs(
    corridor: Corridor,
    settings: Settings | None = None,
    *,
    dem: ArrayDem | None = None,
    lines: Sequence[LineString] | None = None,
    jobs: int = 1,
) -> tuple[Tables, Context]:
    """Return what the read stage would hand on for a corridor.

    Parameters
    ----------
    dem, lines
        In place of the corridor's own, for instance turned or moved.
    """
    lines = list(corridor.lines if lines is None else lines)
    streams = gpd.GeoDataFrame(
        {
            "source_id": [str(i) for i in range(len(lines))],
            "stream_name": [None] * len(lines),
            "attribute_area_km2": np.full(len(lines), np.nan),
            "attribute_width_m": np.full(len(lines), np.nan),
        },
        geometry=lines,
        crs=corridor.crs,
    )
    structures = gpd.GeoDataFrame(
        {
            "structure_id": "structures:" + corridor.structures["structure_id"].astype(str),
            "structure_class": corridor.structures["structure_class"],
            "source": "structures",
        },
        geometry=corridor.structures.geometry,
        crs=corridor.crs,
    )
    ctx = Context(
        inputs=Inputs(streams="corridor", dem=("corridor",)),
        settings=settings or Settings(),
        dem=dem or ArrayDem(corridor.elevation_m, corridor.transform),  # type: ignore[arg-type]
        crs=corridor.crs,
        output_crs=corridor.crs,
        jobs=jobs,
    )
    return {"streams": streams, "structures": structures}, ctx
