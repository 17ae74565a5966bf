"""Tiles and shade of the page against pyproj (EPSG:3857) and matplotlib's light source."""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
import shapely
from matplotlib.colors import LightSource
from PIL import Image
from pyproj import CRS, Transformer

from reachrank.page import mercator
from reachrank.page.relief import overview, shaded_tiles, tiles_wanted
from reachrank.page.shade import as_data_uri, illumination, shade, slope
from reachrank.surface import Surface

UTM = CRS.from_epsg(26916)


def test_mercator_is_epsg_3857():
    longitude = np.array([-179.0, -87.03, 0.0, 12.5, 151.2])
    latitude = np.array([-60.0, 43.51, 0.0, 55.7, -33.9])
    x, y = Transformer.from_crs(4326, 3857, always_xy=True).transform(longitude, latitude)
    np.testing.assert_allclose(mercator.to_mercator(longitude, latitude), [x, y], atol=1e-6)
    back = mercator.to_degrees(x, y)
    np.testing.assert_allclose(back, [longitude, latitude], atol=1e-12)


def test_pixels_of_a_tile_lie_where_pyproj_puts_them():
    tile = mercator.Tile(16, 16923, 24043)  # in Lake Michigan
    x, y = mercator.pixel_places(tile.box, (256, 256), UTM, margin=1)
    west, _, _, north = tile.box
    side = mercator.WORLD_M / 2**16 / 256
    columns, rows = np.meshgrid(np.arange(-1, 257), np.arange(-1, 257))
    exact = Transformer.from_crs(3857, UTM, always_xy=True).transform(
        west + (columns + 0.5) * side, north - (rows + 0.5) * side
    )
    # a fiftieth of a pixel of 1.7 m
    np.testing.assert_allclose(x, exact[0], atol=0.035)
    np.testing.assert_allclose(y, exact[1], atol=0.035)


def test_a_tile_holds_the_place_that_the_usual_formula_gives_it():
    # "Slippy map tilenames", wiki.openstreetmap.org, from memory: column floor((lon + 180) / 360
    # 2^z), row floor((1 - asinh(tan lat) / pi) / 2 * 2^z)
    longitude, latitude, zoom = -87.0351, 43.5128, 17
    column = int((longitude + 180.0) / 360.0 * 2**zoom)
    row = int((1.0 - np.arcsinh(np.tan(np.radians(latitude))) / np.pi) / 2.0 * 2**zoom)
    line = shapely.LineString([(longitude, latitude), (longitude + 1e-6, latitude)])
    assert mercator.Tile(zoom, column, row) in mercator.tiles_near(line, 1.0, zoom)
    assert len(mercator.tiles_near(line, 500.0, zoom)) > 9


def test_light_agrees_with_matplotlib():
    rng = np.random.default_rng(3)
    elevation = rng.normal(0.0, 3.0, (40, 40)).cumsum(axis=0).cumsum(axis=1) / 20.0
    east, north = slope(elevation, 2.0)
    ours = illumination(east, north)
    light = LightSource(azdeg=315, altdeg=45)
    # matplotlib takes rows from the north with dy < 0; its normals by central differences too
    dy, dx = np.gradient(elevation, -2.0, 2.0)
    normal = np.dstack([-dx, -dy, np.ones_like(dx)])
    normal /= np.linalg.norm(normal, axis=2, keepdims=True)
    theirs = (normal @ light.direction)[1:-1, 1:-1]
    np.testing.assert_allclose(ours, theirs, atol=1e-12)


def test_slopes_towards_the_light_are_pale_and_away_from_it_dark():
    across = np.add.outer(np.arange(12.0), np.arange(12.0))  # rises to the south-east
    toward, away = shade(across, 4.0), shade(across[::-1, ::-1], 4.0)
    flat = shade(np.zeros((12, 12)), 4.0)
    assert toward[..., 0].mean() > away[..., 0].mean() + 40
    assert flat[..., 0].mean() > away[..., 0].mean() + 40


def test_what_is_not_known_is_clear():
    elevation = np.zeros((10, 10))
    elevation[5, 5] = np.nan
    picture = shade(elevation, 1.0)
    clear = np.argwhere(picture[..., 3] == 0).tolist()
    assert [4, 3] in clear  # a slope beside it cannot be found
    assert [0, 0] not in clear
    assert as_data_uri(np.zeros((4, 4, 4), np.uint8)) == ""


class Hill:
    """A cone of 1 m cells, as a DEM."""

    crs = UTM
    cell_m = 1.0

    def __init__(self) -> None:
        self.west, self.north, self.size = 497_000.0, 4_818_000.0, 600
        j, i = np.meshgrid(np.arange(self.size) + 0.5, np.arange(self.size) + 0.5)
        away = np.hypot(j - self.size / 2, i - self.size / 2)
        self.elevation = (100.0 - 0.2 * away).astype(np.float32)

    def inverse(self) -> np.ndarray:
        return np.array([1.0, 0.0, -self.west, 0.0, -1.0, self.north])

    def surface(self, lines, half_width_m) -> Surface:
        return Surface.from_array(self.elevation, self.inverse(), 1.0)

    def coarse(self, max_cells):
        from affine import Affine

        return self.elevation, Affine(1.0, 0.0, self.west, 0.0, -1.0, self.north)


def picture_of(uri: str) -> np.ndarray:
    return np.asarray(
        Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2]))).convert("RGBA")
    ).astype(int)


def test_the_ground_is_put_where_it_is():
    hill = Hill()
    to_degrees = Transformer.from_crs(UTM, 4326, always_xy=True)
    x, y = hill.west + hill.size / 2, hill.north - hill.size / 2
    corner = to_degrees.transform(hill.west + 100, hill.north - 500)
    other = to_degrees.transform(hill.west + 500, hill.north - 100)
    seen = overview(hill, [*corner, *other])
    assert seen is not None
    south, west, north, east = seen["box"]
    picture = picture_of(seen["picture"])
    rows, columns = picture.shape[:2]
    top = to_degrees.transform(x, y)
    column = (top[0] - west) / (east - west) * columns
    row = (north - top[1]) / (north - south) * rows
    # light from the north-west: the cone's north-western side is pale, the other one dark
    at = lambda dr, dc: picture[int(row + dr), int(column + dc), 0]  # noqa: E731
    assert at(-60, -60) > at(60, 60) + 20
    line = shapely.LineString([top, to_degrees.transform(x + 50, y)])
    tiles = dict(shaded_tiles(hill, tiles_wanted(hill, [line])))
    assert tiles
    for tile, uri in tiles.items():
        assert tile.zoom == mercator.zoom_for(1.0, 43.5)
        assert picture_of(uri).shape == (256, 256, 4)


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 1.524, 3.0])
def test_pixels_are_about_as_large_as_cells(cell_m):
    zoom = mercator.zoom_for(cell_m, 43.5)
    assert 2**-0.51 < mercator.pixel_m(zoom, 43.5) / cell_m < 2**0.51
