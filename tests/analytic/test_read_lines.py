"""Stream lines are cleaned, and everything mended or left out is told once."""

from collections import Counter

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import GeometryCollection, LineString, MultiLineString, Point, box

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.lines import clean_lines

GROUND = box(0, 0, 100, 100)


def clean(*geometry, names=None, footprint=GROUND):
    findings = Findings()
    table = gpd.GeoDataFrame(
        {
            "row": np.arange(len(geometry)),
            "stream_name": np.array(names or [None] * len(geometry), dtype=object),
            "attribute_area_km2": np.nan,
            "attribute_width_m": np.nan,
        },
        geometry=list(geometry),
        crs="EPSG:26916",
    )
    before = table.copy()
    made = clean_lines(
        table, layer="streams", crs=table.crs, footprint=footprint, least_line_m=0.1,
        findings=findings,
    )  # fmt: skip
    assert table.equals(before)
    assert set(made.geom_type) == {"LineString"}
    return made, Counter((r["code"], r["source_id"]) for r in findings.rows), findings


GOOD = LineString([(10, 10), (20, 20)])


def test_a_good_line_stays_as_it_is_and_nothing_is_told():
    made, told, _ = clean(GOOD)
    assert made.geometry[0].equals_exact(GOOD)
    assert made["source_id"].tolist() == ["0"]
    assert not told


def test_parts_get_numbers_in_their_order():
    many = MultiLineString([[(50, 50), (60, 60)], [(30, 30), (40, 40)]])
    made, told, _ = clean(GOOD, many)
    assert dict(zip(made["source_id"], made.geometry.bounds["minx"], strict=True)) == {
        "0": 10.0, "1.0": 50.0, "1.1": 30.0,
    }  # fmt: skip
    assert not told


@pytest.mark.parametrize(
    ("bad", "code"),
    [
        (None, "no_geometry"),
        (LineString(), "no_geometry"),
        (LineString([(1, 1), (1, 1)]), "zero_length"),
        (LineString([(1, 1), (1.05, 1)]), "too_short"),
        (LineString([(1, 1), (np.inf, 2)]), "non_finite"),
        (LineString([(500, 500), (600, 600)]), "off_dem"),
        (LineString([(10, 10), (20, 20)]), "double"),
        (LineString([(20, 20), (10, 10)]), "double"),
        (Point(1, 1), "not_a_line"),
    ],
)
def test_left_out_and_told(bad, code):
    made, told, findings = clean(GOOD, bad)
    assert len(made) == 1
    assert sum(told.values()) == 1
    assert findings.rows[0]["code"] == code
    assert findings.rows[0]["severity"] == "left_out"


@pytest.mark.parametrize(
    ("poor", "code", "made_of"),
    [
        (LineString([(1, 1), (1, 1), (5, 5), (5, 5)]), "repeated_points", [(1, 1), (5, 5)]),
        (LineString([(1, 1), (np.inf, 2), (5, 5)]), "non_finite_dropped", [(1, 1), (5, 5)]),
        (LineString([(5, 50), (-5, 50)]), "partly_off_dem", [(5, 50), (0, 50)]),
        (LineString([(1, 1), (5, 1), (5, 5), (1, 1)]), "closed_loop", None),
    ],
)
def test_mended_and_told(poor, code, made_of):
    made, told, _ = clean(GOOD, poor)
    assert told == {(code, "1"): 1}
    line = made.set_index("source_id").geometry["1"]
    assert line.equals_exact(LineString(made_of) if made_of else poor, 0.0)


def test_a_line_that_leaves_and_comes_back_has_its_parts_in_its_own_direction():
    bow = LineString([(90, 10), (110, 10), (110, 90), (90, 90)])
    for line in (bow, bow.reverse()):
        made, _, _ = clean(line)
        made = made.sort_values("source_id")
        assert made["source_id"].tolist() == ["0.0", "0.1"]
        starts = [part.coords[0] for part in made.geometry]
        assert starts == [line.coords[0], (100.0, line.coords[2][1])]


def test_lines_inside_a_collection_are_used():
    made, _, _ = clean(GeometryCollection([Point(1, 1), LineString([(2, 2), (3, 3)])]))
    assert made.length.sum() == pytest.approx(np.sqrt(2.0))


def test_of_doubles_the_named_one_stays_whatever_the_order():
    for names in (["Elm Run", None], [None, "Elm Run"]):
        made, _, _ = clean(GOOD, GOOD.reverse(), names=names)
        assert made["stream_name"].tolist() == ["Elm Run"]


def test_a_seam_between_tiles_does_not_cut():
    ground = shapely.union_all([box(0, 0, 50, 100), box(50, 0, 100, 100)])
    made, told, _ = clean(LineString([(10, 10), (90, 30)]), footprint=ground)
    assert len(made) == 1
    assert not told


@pytest.mark.parametrize(
    "geometry",
    [[box(1, 1, 2, 2)], [Point(1, 1)], [None], [LineString([(1, 1), (1, 1)])],
     [LineString([(500, 500), (600, 600)])]],
)  # fmt: skip
def test_nothing_usable_is_an_error(geometry):
    with pytest.raises(InputError):
        clean(*geometry)


def test_very_many_of_a_kind_are_told_once_with_their_number():
    far = [LineString([(500 + i, 500), (600 + i, 600)]) for i in range(700)]
    _, told, findings = clean(GOOD, *far)
    assert sum(told.values()) == 501
    assert "200 more" in findings.rows[-1]["text"]
