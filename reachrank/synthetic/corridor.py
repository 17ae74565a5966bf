"""Make the elevation model, the stream line, the structures and the truth of one corridor."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import LineString

from reachrank.surface import Surface
from reachrank.synthetic.drawn import drawn_line
from reachrank.synthetic.fields import lidar_noise
from reachrank.synthetic.ground import Ground
from reachrank.synthetic.placing import building_beside
from reachrank.synthetic.spec import CorridorSpec, House
from reachrank.synthetic.stations import Stations, make_stations
from reachrank.synthetic.tell import tell
from reachrank.synthetic.truth import CorridorTruth

Array = NDArray[np.float64]

METRIC_EPSG, FEET_EPSG = 26973, 2965
"""NAD83 / Indiana East in metres, and the same projection in U.S. survey feet."""
US_SURVEY_FOOT_M = 1200.0 / 3937.0


@dataclass(frozen=True)
class Corridor:
    """A synthetic corridor.

    Attributes
    ----------
    spec, seed
        What it was made from.
    elevation_m
        float32, shape (rows, columns), row 0 on top, NaN in holes.
    transform
        From column and row to metres.
    crs
        A projected metric CRS.
    lines
        The stream line as a county holds it, in one or more pieces.
    structures
        Buildings: ``structure_id``, ``structure_class``, ``bank`` and ``bank_distance_m``, the
        true least distance from the true top-of-bank line.
    truth
        All that is known.
    """

    spec: CorridorSpec
    seed: int
    elevation_m: NDArray[np.float32]
    transform: Affine
    crs: CRS
    lines: list[LineString]
    structures: gpd.GeoDataFrame
    truth: CorridorTruth
    ground: Ground

    def surface(self) -> Surface:
        """Return the elevation model as the kernels want it."""
        inverse = np.array((~self.transform)[:6], np.float64)
        return Surface.from_array(self.elevation_m, inverse, self.spec.cell_m)

    def exact_elevation(self, x_m: Array, y_m: Array) -> Array:
        """Return the surface without noise and without averaging over cells, at n points."""
        frame = _Frame(self.spec)
        return self.ground.elevation(*frame.to_local(np.asarray(x_m), np.asarray(y_m)))

    def write(self, folder: Path, *, us_feet: bool = False) -> None:
        """Write ``dem.tif``, ``streams.gpkg``, ``structures.gpkg`` and ``truth.json``.

        With ``us_feet`` coordinates and elevations are U.S. survey feet in the same projection;
        the truth stays in metres.
        """
        folder.mkdir(parents=True, exist_ok=True)
        scale = 1.0 / US_SURVEY_FOOT_M if us_feet else 1.0
        crs = CRS.from_epsg(FEET_EPSG) if us_feet else self.crs
        write_dem(
            folder / "dem.tif",
            self.elevation_m * np.float32(scale),
            Affine(*(scale * part for part in self.transform[:6])),
            crs,
            "US survey foot" if us_feet else "metre",
        )
        streams = gpd.GeoDataFrame({"name": ["Test Run"] * len(self.lines)}, geometry=self.lines)
        for name, table in (("streams", streams), ("structures", self.structures)):
            shapes = table.geometry.affine_transform([scale, 0, 0, scale, 0, 0])
            table.set_geometry(shapes).set_crs(crs, allow_override=True).to_file(
                folder / f"{name}.gpkg", layer=name
            )
        (folder / "truth.json").write_text(self.truth.to_json(), encoding="utf-8")


class _Frame:
    """The corridor's own frame (head at 0, 0, valley along x) and the world."""

    def __init__(self, spec: CorridorSpec) -> None:
        self.angle_rad = float(np.radians(spec.rotation_deg))
        self.x0, self.y0 = spec.origin_m

    def to_world(self, x: Array, y: Array) -> tuple[Array, Array]:
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        return self.x0 + cos * x - sin * y, self.y0 + sin * x + cos * y

    def to_local(self, x: Array, y: Array) -> tuple[Array, Array]:
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        x, y = x - self.x0, y - self.y0
        return cos * x + sin * y, cos * y - sin * x


def make_corridor(spec: CorridorSpec, seed: int = 1) -> Corridor:
    """Make a corridor; the same specification and seed always give the same one.

    Cells of the elevation model are averages over the cell (at least 4 x 4 points near the
    channel), as in a lidar grid, plus noise.

    Examples
    --------
    >>> from reachrank.synthetic import CORRIDORS, make_corridor, variant
    >>> corridor = make_corridor(variant(CORRIDORS["sine_w5"], length_m=200.0), seed=3)
    >>> len(corridor.truth.bends) >= 8  # every corridor has at least eight
    True
    """
    form, relief, grain, hand = (
        np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(4)
    )
    frame = _Frame(spec)
    stations = make_stations(spec, form)
    ground = Ground(spec, stations, relief)
    transform, shape = _grid(spec, stations, frame)
    elevation = _averaged(spec, ground, frame, transform, shape)
    elevation += lidar_noise(shape, spec.noise_m, grain)
    for hole in spec.holes:
        at = int(np.argmin(np.abs(stations.plan.s_m - hole.at_m)))
        x, y = frame.to_world(stations.plan.x_m[at], stations.plan.y_m[at])
        cell_x, cell_y = cell_middles(transform, shape)
        elevation[np.hypot(cell_x - x, cell_y - y) <= hole.radius_m] = np.nan
    truth = tell(stations, ground, lambda x, y: _is_untouched(spec, ground, x, y), frame.to_world)
    lines = drawn_line(
        truth.x_m,
        truth.y_m,
        truth.heading_rad,
        truth.curvature_per_m,
        hand,
        greatest_m=spec.line_wander_widths * spec.toe_width_m,
        scale_m=6.0 * spec.toe_width_m,
        step_m=spec.line_step_m,
        is_upstream=spec.line_reversed,
        pieces=spec.line_pieces,
    )
    return Corridor(
        spec,
        seed,
        elevation.astype(np.float32),
        transform,
        CRS.from_epsg(METRIC_EPSG),
        lines,
        _structures(spec.houses, truth),
        truth,
        ground,
    )


def write_dem(
    path: Path, elevation: NDArray[np.float32], transform: Affine, crs: CRS, unit: str
) -> None:
    """Write a compressed tiled GeoTIFF with the vertical unit on its band."""
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=elevation.shape[0],
        width=elevation.shape[1],
        count=1,
        dtype="float32",
        crs=crs.to_wkt(),
        transform=transform,
        nodata=-9999.0,
        tiled=True,
        compress="deflate",
        predictor=3,
    ) as dataset:
        dataset.write(np.where(np.isnan(elevation), np.float32(-9999.0), elevation), 1)
        dataset.units = (unit,)


def cell_middles(transform: Affine, shape: tuple[int, int]) -> tuple[Array, Array]:
    """Return x and y of the middles of the cells of a grid that is not rotated."""
    x = transform.c + transform.a * (np.arange(shape[1]) + 0.5)
    y = transform.f + transform.e * (np.arange(shape[0]) + 0.5)
    x, y = np.meshgrid(x, y)
    return x, y


def _grid(spec: CorridorSpec, stations: Stations, frame: _Frame) -> tuple[Affine, tuple[int, int]]:
    told = stations.told
    x, y = frame.to_world(stations.plan.x_m[told], stations.plan.y_m[told])
    cell, margin = spec.cell_m, spec.margin_m
    left = np.floor((x.min() - margin) / cell) * cell
    top = np.ceil((y.max() + margin) / cell) * cell
    columns = int(np.ceil((x.max() + margin - left) / cell))
    rows = int(np.ceil((top - (y.min() - margin)) / cell))
    return Affine(cell, 0.0, float(left), 0.0, -cell, float(top)), (rows, columns)


def _averaged(
    spec: CorridorSpec, ground: Ground, frame: _Frame, transform: Affine, shape: tuple[int, int]
) -> Array:
    """Average the surface over each cell; finely near the channel, at its middle elsewhere."""
    cell = spec.cell_m
    x, y = (part.ravel() for part in cell_middles(transform, shape))
    at = ground.nearest(*frame.to_local(x, y))
    widest = max(ground.stations.left.top_m.max(), ground.stations.right.top_m.max())
    is_near = at.distance_m < widest + 3.0 + cell
    out = np.zeros(x.size)
    fine = max(4, int(np.ceil(cell / 0.3)))
    for mine, count in ((is_near, fine), (~is_near, 1)):
        steps = (np.arange(count) + 0.5) / count - 0.5
        for dx in steps * cell:
            for dy in steps * cell:
                out[mine] += ground.elevation(*frame.to_local(x[mine] + dx, y[mine] + dy))
        out[mine] /= count * count
    return out.reshape(shape)


def _is_untouched(spec: CorridorSpec, ground: Ground, x: Array, y: Array) -> NDArray[np.bool_]:
    """Tell where neither a crossing, a pond nor a hole changes the surface."""
    changed = np.abs(ground.elevation(x, y) - ground.elevation(x, y, works=False)) > 0.01
    plan = ground.stations.plan
    for hole in spec.holes:
        at = int(np.argmin(np.abs(plan.s_m - hole.at_m)))
        near = np.hypot(x - plan.x_m[at], y - plan.y_m[at])
        changed |= near <= hole.radius_m + 1.5 * spec.cell_m
    for pond in spec.ponds:
        at = int(np.argmin(np.abs(plan.s_m - pond.at_m)))
        changed |= np.hypot(x - plan.x_m[at], y - plan.y_m[at]) <= pond.radius_m + 2.0
    return ~changed


def _structures(houses: tuple[House, ...], truth: CorridorTruth) -> gpd.GeoDataFrame:
    """Put each building at its distance from the true top-of-bank lines."""
    shapes = [building_beside(truth, h.at_m, h.side, h.distance_m) for h in houses]
    sides = ("left", "right")
    distances = np.array(
        [[truth.bank(side).top_line.distance(shape) for side in sides] for shape in shapes]
    ).reshape(-1, 2)
    return gpd.GeoDataFrame(
        {
            "structure_id": [f"H{number}" for number in range(1, len(houses) + 1)],
            "structure_class": [house.structure_class for house in houses],
            "bank": [sides[k] for k in distances.argmin(axis=1)],
            "bank_distance_m": distances.min(axis=1),
        },
        geometry=shapes,
        crs=CRS.from_epsg(METRIC_EPSG),
    )
