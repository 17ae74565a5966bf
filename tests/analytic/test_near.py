"""One caller: places on a straight stream whose distances are known by construction."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import time

import geopandas as gpd
import numpy as np
import pytest
import request_tables as made
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely.geometry import Point

from reachrank.__main__ import main
from reachrank.errors import InputError
from reachrank.requests.lookup import Lookup, geometry_of
from reachrank.requests.near import FAR_M, Ground, Place, nearest_answer
from reachrank.requests.questions import Unknown, three_questions


@pytest.fixture(scope="module")
def ranked(tmp_path_factory):
    return made.write_ranked_file(tmp_path_factory.mktemp("near") / "ranked.gpkg")


@pytest.fixture(scope="module")
def ranked_us(tmp_path_factory):
    # plane coordinates in U.S. survey feet, columns in international feet
    return made.write_ranked_file(
        tmp_path_factory.mktemp("near_us") / "us.gpkg", us=True, crs=CRS.from_epsg(2965)
    )


def answer(path, point, **more):
    with Lookup(path) as file:
        ground = Ground(file.crs("banks"))
        x, y = ground.place(point.x, point.y, made.UTM)
        return nearest_answer(file, ground, Place(x, y, 0.0, 0.0, "here"), **more)


def test_the_nearest_bank_is_the_one_that_faces_the_place(ranked):
    got = answer(ranked, made.place(2, "right", 25.0))
    assert got.bank_id == "S0001-R0002-R"
    assert got.bank == "right"  # the stream runs south, so west is on the right hand
    assert got.distance_m == pytest.approx(25.0, abs=1e-9)
    assert got.stream == "Thistle Run"
    assert got.repair is not None
    assert got.repair.repair_id == "S0001-R-0200"
    assert got.repair.path == "hand_built"
    assert got.rank == 4  # scores 70, 60, 55 are above its 50
    assert got.banks_ranked == 2 * made.REACHES


def test_feet_and_metres_agree(ranked, ranked_us):
    """The same ground in plane coordinates of Indiana, columns in feet."""
    place = made.place(0, "left", 30.0)
    metric, feet = answer(ranked, place), answer(ranked_us, place)
    assert feet.bank_id == metric.bank_id
    # the two grids are true to scale within 1 part in 1000 here
    assert feet.distance_m == pytest.approx(metric.distance_m, rel=2e-3)
    assert feet.repair.length_m == pytest.approx(metric.repair.length_m, rel=1e-12)
    assert feet.repair.sediment_mid_t_yr_screening == pytest.approx(5.0, rel=1e-12)
    assert feet.structures[0].distance_m == pytest.approx(6.0, rel=1e-12)


def test_a_far_place_is_answered_with_a_caution(ranked):
    got = answer(ranked, made.place(0, "left", 5000.0))
    assert got.distance_m == pytest.approx(5000.0)
    assert got.distance_m > FAR_M
    assert "far from every ranked bank" in got.cautions[0]


@settings(max_examples=60, deadline=None)
@given(x=st.floats(-3000, 3000), y=st.floats(-3000, 4000))
def test_no_bank_is_nearer_by_brute_force(ranked, x, y):
    """Judge: shapely's distance to every bank."""
    place = Point(made.X0 + x, made.Y0 + y)
    got = answer(ranked, place)
    banks = made.ranked_tables()["banks"]
    assert got.distance_m == pytest.approx(banks.distance(place).min(), abs=1e-6)


def test_the_nearest_of_slanting_lines_is_not_the_first_box_that_touches(tmp_path):
    """Boxes of slanting lines reach far beyond them. Judge: shapely's distance to every line."""
    rng = np.random.default_rng(5)
    starts = rng.uniform(0.0, 5000.0, (60, 2))
    ends = starts + rng.uniform(-1500.0, 1500.0, (60, 2))
    lines = [shapely.LineString(pair) for pair in zip(starts, ends, strict=True)]
    path = tmp_path / "lines.gpkg"
    gpd.GeoDataFrame({"number": range(60)}, geometry=lines, crs=made.UTM).to_file(
        path, layer="lines"
    )
    with Lookup(path) as file:
        for x, y in rng.uniform(-1000.0, 6000.0, (200, 2)):
            place = Point(x, y)
            found = file.nearest("lines", place, 60.0)
            assert found[0][0] == pytest.approx(min(line.distance(place) for line in lines))


def test_without_an_index_the_answer_is_the_same(ranked, tmp_path):
    copy = tmp_path / "plain.gpkg"
    copy.write_bytes(ranked.read_bytes())
    with sqlite3.connect(copy) as db:
        for name, of in db.execute("SELECT name, type FROM sqlite_master").fetchall():
            if of == "trigger" and "rtree" in name:
                db.execute(f'DROP TRIGGER "{name}"')
        db.execute("DROP TABLE rtree_banks_geom")
    db.close()
    place = made.place(4, "left", 70.0)
    assert answer(copy, place) == answer(ranked, place)


def test_a_blob_is_read_with_and_without_its_box():
    """OGC 12-128r14, clause 2.1.3: two letters, version, flags, number, box, then WKB."""
    line = shapely.LineString([(0.0, 1.0), (2.0, 3.0)])
    wkb = shapely.to_wkb(line)
    for kind, box in ((0, b""), (1, bytes(32)), (2, bytes(48)), (3, bytes(48)), (4, bytes(64))):
        blob = b"GP\x00" + bytes([kind << 1 | 1]) + bytes(4) + box + wkb
        assert geometry_of(blob).equals(line)
    assert geometry_of(b"GP\x00\x11" + bytes(4) + wkb) is None  # the flag for an empty geometry
    assert geometry_of(None) is None


@pytest.mark.parametrize(
    ("unknown", "first"),
    [
        (Unknown(is_side_unclear=True, structure_distance_m=4.0), "left hand"),
        (Unknown(structure_distance_m=4.0, structure_class="house"), "from the house"),
        (Unknown(), "would be lost"),
    ],
)
def test_the_most_telling_question_comes_first(unknown, first):
    questions = three_questions(unknown)
    assert len(set(questions)) == 3
    assert first in questions[0]


def test_a_file_without_banks_is_refused(tmp_path):
    text = tmp_path / "a.gpkg"
    text.write_text("no database")
    with pytest.raises(InputError, match="not a GeoPackage"):
        Lookup(text)


# ---- the command ----------------------------------------------------------------------------


def test_at_takes_degrees_in_either_order_and_with_minutes(ranked, capsys):
    lon, lat = made.in_degrees(made.place(2, "right", 25.0))
    told = []
    for text in (f"{lon:.7f},{lat:.7f}", f"{lat:.7f},{lon:.7f}", f"{lat:.7f} N {-lon:.7f} W"):
        assert main(["near", str(ranked), "--at", text, "--json"]) == 0
        told.append(json.loads(capsys.readouterr().out))
    assert [t["bank_id"] for t in told] == ["S0001-R0002-R"] * 3
    # seven decimals of a degree are 1 cm
    assert [t["distance_m"] for t in told] == pytest.approx([25.0] * 3, abs=0.02)
    assert "the other way round" in told[1]["place"]["how"]


def test_xy_in_another_crs(ranked, capsys):
    lon, lat = made.in_degrees(made.place(0, "left", 12.0))
    arguments = ["--xy", f"{lon:.8f},{lat:.8f}", "--crs", "4326", "--units", "us", "--json"]
    assert main(["near", str(ranked), *arguments]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["distance_ft"] == pytest.approx(12.0 / 0.3048, abs=0.05)
    # 5 tonnes over 0.90718474 tonnes in a ton of 2000 lb (NIST SP 811, appendix B)
    assert told["repair"]["sediment_mid_ton_yr_screening"] == pytest.approx(5.0 / 0.90718474)
    assert "4.9 ft" in told["reason"]


def test_the_text_for_a_person(ranked, capsys):
    place = made.place(0, "left", 12.0)
    assert main(["near", str(ranked), "--xy", f"{place.x},{place.y}"]) == 0
    said = capsys.readouterr().out
    assert "left bank (looking downstream) of Thistle Run" in said
    assert "12 m away" in said
    assert "Rank 1 of 16 banks" in said
    assert "house, 6.0 m from the top of the bank" in said
    assert "$2,000 to $4,000" in said
    assert "  3. " in said
    assert "811" in said


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ([], 2, "Give the place once"),
        (["--at", "1,2", "--xy", "1,2"], 2, "Give the place once"),
        (["--at", "north of the mill"], 2, "not two angles"),
        (["--at", "500000,4800000"], 2, "no place"),
        (["--xy", "12"], 2, "not two numbers"),
        (["--xy", "1,2", "--crs", "EPSG:0"], 2, "names no coordinate reference system"),
        (["--address", "1 Mill Road"], 2, "go together"),
        (["--address", "1 Mill Road", "--addresses", "no-such.gpkg"], 3, "There is no such file"),
    ],
)
def test_what_cannot_be_answered_is_one_clear_line(ranked, words, code, says, capsys):
    assert main(["near", str(ranked), *words]) == code
    said = capsys.readouterr()
    assert says in said.err
    assert said.out == ""


def test_one_question_takes_under_a_second_with_everything(ranked):
    """A whole process; the best of three, since other work on the machine only slows it down."""
    lon, lat = made.in_degrees(made.place(2, "right", 25.0))
    command = [sys.executable, "-m", "reachrank", "near", str(ranked), "--at", f"{lon},{lat}"]
    took = []
    for _ in range(3):
        began = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        took.append(time.perf_counter() - began)
    assert min(took) < 1.0


def test_no_table_library_is_loaded_for_one_question(ranked):
    code = (
        "import sys; from reachrank.__main__ import main; "
        f"main(['near', {str(ranked)!r}, '--xy', '500014,4800050', '--json']); "
        "print([n for n in ('pandas', 'geopandas', 'rasterio', 'fiona') if n in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.splitlines()[-1] == "[]"
