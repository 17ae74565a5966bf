"""The working CRS: metric twins, true scale, UTM zones, vertical units."""

import math

import pytest
from pyproj import CRS, Transformer

from reachrank.errors import InputError
from reachrank.read.crs import (
    axis_unit_m,
    choose,
    horizontal_part,
    metric_twin,
    scale_error,
    transform_box,
    utm_for,
    vertical_unit,
)

INDIANA = (-85.5, 40.1, -85.3, 40.3)
PLACES = {2965: (-85.4, 40.2), 2263: (-73.5, 40.8), 2222: (-110.2, 33.0), 2225: (-122.0, 40.0)}


@pytest.mark.parametrize("code", sorted(PLACES))
def test_twin_is_the_feet_times_the_foot(code):
    """Judge: pyproj. 2222 (Arizona) is in international feet, the others in survey feet."""
    feet = CRS.from_epsg(code)
    foot = 0.3048 if code == 2222 else 1200.0 / 3937.0
    twin = metric_twin(feet)
    place = PLACES[code]
    in_feet = Transformer.from_crs(feet.geodetic_crs, feet, always_xy=True).transform(*place)
    in_metres = Transformer.from_crs(feet.geodetic_crs, twin, always_xy=True).transform(*place)
    # a coordinate near 2,000,000 ft; survey and international foot would differ by up to 1.2 m
    assert in_metres == pytest.approx([c * foot for c in in_feet], abs=1e-6)
    assert axis_unit_m(twin) == 1.0
    assert twin.is_projected


def test_metric_crs_is_its_own_twin():
    crs = CRS.from_epsg(26916)
    assert metric_twin(crs) is crs


def test_twin_of_the_metric_zone_is_that_zone():
    """EPSG has both: Indiana East in metres (26973) and in survey feet (2965)."""
    twin, metres = metric_twin(CRS.from_epsg(2965)), CRS.from_epsg(26973)
    across = Transformer.from_crs(twin, metres, always_xy=True)
    # false easting and northing of 2965 are rounded to 0.001 ft in the register
    assert across.transform(100000.0, 500000.0) == pytest.approx((100000.0, 500000.0), abs=1e-3)


def test_web_mercator_stretches_by_the_secant_of_latitude():
    """Snyder, Map Projections (USGS Professional Paper 1395, 1987), eq. 7-3: k = sec(latitude)."""
    error = scale_error(CRS.from_epsg(3857), (-86.0, 40.0, -86.0, 40.0))
    assert error == pytest.approx(1.0 / math.cos(math.radians(40.0)) - 1.0, abs=0.005)


def test_utm_scale_at_the_central_meridian():
    """Snyder 1987, p. 57: the scale factor of UTM along the central meridian is 0.9996."""
    error = scale_error(CRS.from_epsg(26916), (-87.0, 40.0, -87.0, 40.0))
    assert error == pytest.approx(0.0004, abs=1e-8)


def test_choice_of_the_working_crs():
    feet = choose(CRS.from_epsg(2965), INDIANA)
    assert (feet.output.to_epsg(), feet.is_warped) == (2965, False)
    assert feet.unit_m == pytest.approx(1200.0 / 3937.0, rel=1e-12)
    metric = choose(CRS.from_epsg(26916), INDIANA)
    assert metric.working == metric.output == CRS.from_epsg(26916)
    for code, utm in ((3857, 32616), (4326, 32616), (4269, 26916)):
        warped = choose(CRS.from_epsg(code), INDIANA)
        assert warped.is_warped
        assert warped.working.to_epsg() == warped.output.to_epsg() == utm


@pytest.mark.parametrize(
    ("longitude", "latitude", "code"),
    [(-180.0, 10.0, 32601), (179.9, 10.0, 32660), (-66.01, 45.0, 32619), (-65.99, 45.0, 32620),
     (147.0, -42.0, 32755)],
)  # fmt: skip
def test_utm_zones(longitude, latitude, code):
    """Zones are 6 degrees wide and counted eastwards from 180 degrees west (Snyder 1987, p. 58)."""
    assert utm_for(CRS.from_epsg(4326), longitude, latitude).to_epsg() == code


def test_data_too_wide_for_one_zone_are_refused():
    with pytest.raises(InputError, match="too far for one UTM zone"):
        choose(CRS.from_epsg(4326), (-100.0, 40.0, -70.0, 41.0))


@pytest.mark.parametrize(
    ("code", "unit"),
    [("EPSG:2965+5703", "m"), ("EPSG:2965+6360", "us-ft"), ("EPSG:2965+8228", "ft"),
     ("EPSG:26916", None), ("EPSG:4979", "m")],
)  # fmt: skip
def test_vertical_units(code, unit):
    """EPSG: NAVD88 height is 5703 in metres, 6360 in survey feet, 8228 in feet."""
    crs = CRS.from_user_input(code)
    assert vertical_unit(crs) == unit
    assert horizontal_part(crs).is_vertical is False
    assert len(horizontal_part(crs).axis_info) == 2


def test_box_holds_the_box():
    box = (100000.0, 500000.0, 101000.0, 501000.0)
    made = transform_box(CRS.from_epsg(26973), CRS.from_epsg(26916), box)
    to_utm = Transformer.from_crs(26973, 26916, always_xy=True)
    for x in (box[0], box[2]):
        for y in (box[1], box[3]):
            east, north = to_utm.transform(x, y)
            assert made[0] - 1e-6 <= east <= made[2] + 1e-6
            assert made[1] - 1e-6 <= north <= made[3] + 1e-6
