"""Parts of the printed sheets: widths of letters, wrapping, labels, frames, units, ways in."""

from __future__ import annotations

import itertools
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties

from reachrank.sheets.ground import fit_frame, relief
from reachrank.sheets.labels import Labels
from reachrank.sheets.letters import FAMILY, shorten, width_pt, wrap
from reachrank.sheets.map_signs import scale_length
from reachrank.sheets.measures import Measures, money
from reachrank.sheets.roads import compass, ways_in
from reachrank.sheets.site import choose
from reachrank.surface import Surface

WORDS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs")), max_size=120)


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("text", ["Bank height 2.4 m", "Mill_Creek $x^2$", "ÄÖÜ — 12.5°"])
def test_width_is_what_matplotlib_draws(text, bold):
    """Judge: matplotlib's own renderer, which also kerns: it sets no more than 3 % less."""
    renderer = RendererAgg(1000, 200, 72)
    font = FontProperties(family=FAMILY, weight="bold" if bold else "normal", size=100)
    drawn, _, _ = renderer.get_text_width_height_descent(text, font, ismath=False)
    assert width_pt(text, 100.0, bold=bold) == pytest.approx(drawn, rel=0.03)


@given(WORDS, st.floats(20.0, 300.0))
@settings(max_examples=60, deadline=None)
def test_wrapped_lines_fit_and_lose_nothing(text, room):
    lines = wrap(text, room, 7.0)
    assert "".join("".join(lines).split()) == "".join(text.split())
    for line in lines:
        assert width_pt(line, 7.0) <= room or len(line) == 1
    assert width_pt(shorten(text, room, 7.0), 7.0) <= room


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 50)), max_size=40))
@settings(max_examples=30, deadline=None)
def test_no_label_covers_another_or_leaves_the_map(places):
    labels = Labels((0.0, 0.0, 100.0, 50.0), 300.0, 150.0)
    boxes = [labels.find(x, y, 36.0, 9.0) for x, y in places]
    found = [box for box in boxes if box is not None]
    for left, bottom, right, top in found:
        assert left > 0
        assert bottom > 0
        assert right < 300
        assert top < 150
    for a, b in itertools.combinations(found, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


@given(st.floats(0.1, 1e4), st.floats(0.1, 1e4))
def test_frame_holds_the_box_and_has_the_shape_of_the_paper(across, up):
    west, south, east, north = fit_frame((0.0, 0.0, across, up), 340.0, 200.0, 50.0)
    assert west <= 1e-6 <= across <= east + 1e-6
    assert south <= 1e-6 <= up <= north + 1e-6
    assert (east - west) / (north - south) == pytest.approx(1.7)


@pytest.mark.parametrize("us", [False, True])
@given(st.floats(20.0, 100_000.0))
def test_scale_bar_is_a_round_length_and_says_the_right_one(us, across):
    """NIST SP 811 (2008), appendix B.8: a foot is 0.3048 m, a mile 1609.344 m."""
    length_m, text = scale_length((0.0, 0.0, across, across), Measures(us=us))
    number, unit = text.split()
    metres = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "mi": 1609.344}[unit]
    assert length_m == pytest.approx(float(number.replace(",", "")) * metres)
    assert 0.1 * across <= length_m <= 0.3 * across
    assert text.replace(",", "").replace(".", "").lstrip("0")[0] in "125"


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (2.4, "m", "2.4 m", "7.9 ft"),  # 2.4 / 0.3048 = 7.874
        (100.0, "m", "100 m", "328 ft"),
        (3.6, "km²", "3.6 km²", "1.4 mi²"),  # a square mile is 2.589988 km²
        (1.8, "m/s", "1.8 m/s", "5.9 ft/s"),
        (10.0, "t/yr", "10.0 t/yr", "11.0 ton/yr"),  # short tons of 0.90718474 t
    ],
)
def test_quantities_in_both_systems(value, unit, metric, us):
    """Factors: NIST SP 811 (2008), appendix B."""
    assert Measures(us=False).of(value, unit) == metric
    assert Measures(us=True).of(value, unit) == us


def test_missing_values_are_a_dash_never_a_number():
    measures = Measures(us=True)
    for nothing in (None, float("nan")):
        assert measures.of(nothing, "m") == "–"
        assert measures.span(nothing, nothing, "m") == "–"
        assert money(nothing, nothing) == "–"


def test_sentences_change_their_lengths_with_the_units():
    assert Measures(us=True).sentence("Bank 3.0 m high.") == "Bank 9.8 ft high."
    assert Measures(us=False).sentence("Bank 9.8 ft high.") == "Bank 3.0 m high."


def test_compass_has_eight_points():
    for k, point in enumerate(("N", "NE", "E", "SE", "S", "SW", "W", "NW")):
        turn = np.radians(45.0 * k)
        assert compass((0.0, 0.0), (np.sin(turn), np.cos(turn))) == point


def test_the_way_in_tells_on_which_side_of_the_water_the_road_is():
    """A stream along y = 0, its bank at y = 10; a road 30 m south of it and one 200 m north."""
    bank = shapely.LineString([(0, 10), (100, 10)])
    roads = gpd.GeoDataFrame(
        {"name": ["South Road", "North Road"]},
        geometry=[
            shapely.LineString([(-500, -30), (500, -30)]),
            shapely.LineString([(-500, 210), (500, 210)]),
        ],
        crs=26916,
    )
    water = gpd.GeoSeries([shapely.LineString([(-1000, 0), (1000, 0)])], crs=26916)
    near, here = ways_in(SimpleNamespace(line=bank), roads, water)
    assert (near.road, near.crosses, near.length_m, near.towards) == ("South Road", True, 40.0, "N")
    assert (here.road, here.crosses, here.length_m, here.towards) == (
        "North Road", False, 200.0, "S"
    )  # fmt: skip


def test_a_repair_over_two_reaches_gets_one_sheet_in_order_of_rank(ranked_places):
    chosen = choose(ranked_places, top=10)
    assert [bank["bank_id"] for _, bank in chosen] == ["r1-L", "r3-R"]
    assert [bank["bank_id"] for _, bank in choose(ranked_places, 10, ["r2"])] == ["r2-L"]


@pytest.fixture
def ranked_places():
    """r1 and r2 share a repair on the left; r3 has none; ranks 1, 2, 3."""
    import pandas as pd

    reaches = pd.DataFrame(
        {"reach_id": ["r3", "r2", "r1"], "rank": pd.array([3, 2, 1], dtype="Int64"),
         "worst_bank": ["right", "left", "left"]}
    )  # fmt: skip
    banks = pd.DataFrame(
        [
            {"bank_id": f"{r}-{side[0].upper()}", "reach_id": r, "bank": side}
            for r in ("r1", "r2", "r3")
            for side in ("left", "right")
        ]
    )
    repairs = pd.DataFrame(
        {"repair_id": ["a"], "bank": ["left"], "reach_ids": ["r2,r1"], "length_m": [50.0]}
    )
    return {"reaches": reaches, "banks": banks, "repairs": repairs}


def test_shaded_ground_is_darker_where_it_falls_away_from_the_light():
    """A ridge from north-east to south-west under light from the north-west."""
    rows, columns = np.mgrid[0:200, 0:200].astype(float)
    height = 20.0 - 0.3 * np.abs(rows + columns - 199.0) / np.sqrt(2.0)
    inverse = np.array([1.0, 0.0, 0.0, 0.0, -1.0, 200.0])
    ground = SimpleNamespace(
        cell_m=1.0, surface=lambda lines, half: Surface.from_array(height, inverse, 1.0)
    )
    picture = relief(ground, (20.0, 20.0, 180.0, 180.0), 160.0)
    assert picture is not None
    lit, dark = picture[20, 20].astype(int), picture[-20, -20].astype(int)
    assert (lit > dark + 20).all()
    assert len(np.unique(picture.reshape(-1, 3), axis=0)) <= 256  # small in the file: a palette
