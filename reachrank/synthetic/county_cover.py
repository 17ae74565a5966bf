"""Trees, soils and permit areas of the invented county."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from shapely import affinity
from shapely.geometry import LineString, MultiPoint, box
from shapely.ops import unary_union

from reachrank.synthetic.county_ground import CountyGround
from reachrank.synthetic.county_streams import HEIGHT_M, WIDTH_M, Stream
from reachrank.synthetic.fields import Gridded, smooth_field, smoothstep
from reachrank.synthetic.truth import CorridorTruth

Array = NDArray[np.float64]

COVER_CELL_M = 2.0
_BOUNDS = (0.0, 0.0, WIDTH_M, HEIGHT_M)


def canopy_height(
    ground: CountyGround, houses: gpd.GeoDataFrame, rng: np.random.Generator
) -> Gridded:
    """Return canopy height in whole metres: woods on the hills, a broken row along the streams."""
    columns, rows = int(WIDTH_M / COVER_CELL_M), int(HEIGHT_M / COVER_CELL_M)
    x = (np.arange(columns) + 0.5) * COVER_CELL_M
    y = (np.arange(rows) + 0.5) * COVER_CELL_M
    x, y = np.meshgrid(x, y)
    land = ground.country.at(x, y)
    slope = np.hypot(*np.gradient(gaussian_filter(land, 4.0), COVER_CELL_M))
    away = ground.distance_to_channel(x, y)
    woods = smooth_field(_BOUNDS, 75.0, rng).at(x, y) + 9.0 * (slope - 0.13)
    woods = np.where(ground.floor.at(x, y) > 0.5, woods - 1.3, woods)
    row = smooth_field(_BOUNDS, 32.0, rng).at(x, y) + 0.25
    along_stream = smoothstep((row + 0.1) / 0.3) * smoothstep((17.0 - away) / 4.0)
    share = np.maximum(smoothstep(woods / 0.25), along_stream)
    crowns = 17.0 + 3.0 * smooth_field(_BOUNDS, 40.0, rng).at(x, y)
    crowns = crowns + 3.5 * smooth_field(_BOUNDS, 3.0, rng).at(x, y)
    height = np.where(along_stream > smoothstep(woods / 0.25), 0.65 * crowns, crowns) * share
    height[away < 1.5] = 0.0
    clear = np.zeros(height.shape, bool)
    for shape in houses.geometry:
        left, bottom, right, top = shape.buffer(7.0).bounds
        clear |= (x > left) & (x < right) & (y > bottom) & (y < top)
    for road in ground.roads:
        inside = (np.abs(road.x_m - WIDTH_M / 2) <= WIDTH_M) & (road.y_m > -20)
        for px, py in zip(road.x_m[inside][::2], road.y_m[inside][::2], strict=True):
            i, j = int(py / COVER_CELL_M), int(px / COVER_CELL_M)
            clear[max(i - 3, 0) : max(i + 4, 0), max(j - 3, 0) : max(j + 4, 0)] = True
    height = np.where(clear, 0.0, np.clip(np.rint(height), 0.0, 30.0))
    return Gridded(height, COVER_CELL_M / 2, COVER_CELL_M / 2, COVER_CELL_M)


def soils(
    streams: list[Stream], ground: CountyGround, rng: np.random.Generator
) -> gpd.GeoDataFrame:
    """Return soil areas that fill the county: one along the streams, the others on the hills.

    ``texture`` is a texture class; ``kffact`` an erodibility factor in U.S. customary units, both
    invented.
    """
    frame = box(0, 0, WIDTH_M, HEIGHT_M)
    floors = unary_union(
        [
            LineString(np.column_stack([s.stations.plan.x_m, s.stations.plan.y_m])[::40]).buffer(
                0.5 * sum(s.floor_half_width_m) + 8.0
            )
            for s in streams
        ]
    ).simplify(3.0)
    seeds = np.column_stack([rng.uniform(0, WIDTH_M, 16), rng.uniform(0, HEIGHT_M, 16)])
    cells = shapely.voronoi_polygons(MultiPoint(seeds), extend_to=frame.buffer(400)).geoms
    bend_x, bend_y = smooth_field(_BOUNDS, 110.0, rng), smooth_field(_BOUNDS, 110.0, rng)

    def bent(points: Array) -> Array:
        x, y = points[:, 0], points[:, 1]
        return np.column_stack([x + 28.0 * bend_x.at(x, y), y + 28.0 * bend_y.at(x, y)])

    hill = (("loam", 0.32), ("silt loam", 0.43), ("clay loam", 0.28), ("channery loam", 0.24))
    low = (("silt loam", 0.43), ("sandy loam", 0.20), ("fine sandy loam", 0.28), ("loam", 0.37))
    rows = []
    for number, cell in enumerate(sorted(cells, key=lambda c: (c.centroid.x, c.centroid.y))):
        shape = (
            shapely.transform(shapely.segmentize(cell, 15.0), bent).buffer(0).intersection(frame)
        )
        for part, kinds, where in (
            (shape.difference(floors), hill, "hill"),
            (shape.intersection(floors), low, "valley floor"),
        ):
            texture, erodibility = kinds[(number * 5 + 3) % 4 if where == "hill" else number % 4]
            rows += [
                {"texture": texture, "kffact": erodibility, "setting": where, "geometry": piece}
                for piece in getattr(part, "geoms", [part])
                if piece.geom_type == "Polygon" and piece.area > 1.0
            ]
    table = gpd.GeoDataFrame(rows, geometry="geometry")
    table.insert(0, "soil_id", [f"S{k:02d}" for k in range(1, len(table) + 1)])
    return table


def permit_areas(truths: list[CorridorTruth], rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Return two wetlands and a floodway."""
    main = truths[0]

    def blob(at_m: float, aside_m: float, length_m: float, width_m: float) -> shapely.Geometry:
        k = int(np.argmin(np.abs(main.s_m - at_m)))
        turn = np.linspace(0.0, 2.0 * np.pi, 73)[:-1]
        rough = (
            1.0
            + 0.16 * np.sin(3 * turn + rng.uniform(0, 6))
            + 0.1 * np.sin(5 * turn + rng.uniform(0, 6))
        )
        shape = shapely.Polygon(
            np.column_stack([length_m * rough * np.cos(turn), width_m * rough * np.sin(turn)])
        )
        # Along the valley here, not along the bend.
        ahead = min(k + 300, main.s_m.size - 1)
        angle = np.arctan2(main.y_m[ahead] - main.y_m[k], main.x_m[ahead] - main.x_m[k])
        x = main.x_m[k] - aside_m * np.sin(angle)
        y = main.y_m[k] + aside_m * np.cos(angle)
        shape = affinity.rotate(shape, angle, origin=(0, 0), use_radians=True)
        return affinity.translate(shape, x, y)

    part = main.s_m > main.length_m - 640.0
    floodway = LineString(np.column_stack([main.x_m, main.y_m])[part][::20]).buffer(24.0)
    return gpd.GeoDataFrame(
        {
            "name": ["Tarrowfen wetland", "Siltmere wetland", "Brindlewater floodway"],
            "type": ["wetland", "wetland", "floodway"],
        },
        geometry=[
            blob(470.0, -26.0, 70.0, 22.0),
            blob(2270.0, -24.0, 75.0, 20.0),
            floodway.simplify(0.5),
        ],
    )
