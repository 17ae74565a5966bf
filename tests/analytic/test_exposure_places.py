"""Which bank a structure is charged to, and from where the distance is measured."""

import itertools
from contextlib import closing

import geopandas as gpd
import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box
from stream_tables import CRS, arc, context, joined, straight, stream

from reachrank import exposure, reaches
from reachrank.running.beside import Beside
from reachrank.settings import ExposureSettings


def structures(*rows):
    """Rows of (id, class, geometry)."""
    names, classes, shapes = zip(*rows, strict=True) if rows else ((), (), ())
    return gpd.GeoDataFrame(
        {"structure_id": list(names), "structure_class": list(classes), "source": "made"},
        geometry=list(shapes),
        crs=CRS,
    )


def exposed(tables, *rows, ctx=None, **settings):
    ctx = ctx or context(exposure=ExposureSettings(**settings))
    measured = reaches.run(tables, ctx)
    return exposure.run({**measured, "structures": structures(*rows)}, ctx)


def distances(tables):
    return tables["banks"].set_index("bank_id")["structure_distance_m"].to_dict()


def test_distance_is_from_the_top_of_the_bank_not_from_the_middle():
    # Running east, left is north; the left top is at y = 6. The house begins at y = 20.
    out = exposed(stream(straight(100.0)), ("h", "house", box(40.0, 20.0, 50.0, 30.0)))
    row = out["exposures"].iloc[0]
    assert row["bank_distance_m"] == pytest.approx(14.0)
    assert row["bank"] == "left"
    assert distances(out) == {
        "S0001-R0001-L": pytest.approx(14.0),
        "S0001-R0001-R": pytest.approx(np.nan, nan_ok=True),
    }
    # The link leads from the top to the house.
    start, end = row.geometry.coords
    assert start[1] == pytest.approx(6.0)
    assert end[1] == pytest.approx(20.0)


def test_the_other_side_of_the_stream_is_the_other_bank():
    out = exposed(stream(straight(100.0)), ("h", "house", box(40.0, -30.0, 50.0, -20.0)))
    assert out["exposures"]["bank"].tolist() == ["right"]
    assert out["exposures"]["bank_distance_m"].tolist() == pytest.approx([12.0])  # top at -8
    banks = out["banks"].set_index("bank")
    assert np.isnan(banks.loc["left", "structure_distance_m"])
    assert banks.loc["left", "exposure_score"] == 0.0
    assert banks.loc["right", "exposure_score"] > 0.0
    reach = out["reaches"].iloc[0]
    assert reach["structure_distance_m"] == pytest.approx(12.0)
    assert reach["structure_id"] == "h"
    assert reach["exposure_score"] == banks.loc["right", "exposure_score"]


def test_a_house_inside_a_bend_is_charged_to_the_inner_bank_alone():
    # Three quarters of a circle of radius 30 turning left: its middle is on the left.
    out = exposed(stream(arc(30.0, 270.0), spacing=2.0), ("h", "house", Point(0.0, 0.0)))
    banks = out["banks"]
    left = banks["bank"] == "left"
    # Radius of the inner top: 24 m; chords of 2 m lie inside of it by up to 2^2 / (8 * 24).
    assert banks.loc[left, "structure_distance_m"].to_numpy() == pytest.approx(24.0, abs=0.03)
    assert banks.loc[~left, "structure_distance_m"].isna().all()


def test_a_house_outside_a_bend_is_charged_to_the_outer_bank_alone():
    out = exposed(stream(arc(30.0, 180.0), spacing=2.0), ("h", "house", Point(58.0, 0.0)))
    banks = out["banks"].set_index("bank")
    assert banks.loc["right", "structure_distance_m"] == pytest.approx(20.0, abs=0.03)
    assert np.isnan(banks.loc["left", "structure_distance_m"])


def test_a_house_beyond_another_stream_is_not_charged():
    near = stream(straight(100.0))
    far = stream(straight(100.0, (0.0, 30.0)), stream_id="S0002")
    out = exposed(joined(near, far), ("h", "house", Point(50.0, 45.0)))
    # 39 m from the left top of the first stream, but the second, at y = 30, lies between.
    assert out["exposures"]["bank_id"].tolist() == ["S0002-R0001-L"]
    assert out["banks"]["structure_distance_m"].notna().sum() == 1


@pytest.mark.parametrize("end", ["head", "mouth"])
def test_nothing_is_charged_round_the_end_of_a_stream(end):
    x = -10.0 if end == "head" else 110.0
    out = exposed(stream(straight(100.0)), ("h", "house", Point(x, 15.0)))
    banks = out["banks"].set_index("bank")
    assert banks.loc["left", "structure_distance_m"] == pytest.approx(np.hypot(10.0, 9.0))
    assert np.isnan(banks.loc["right", "structure_distance_m"])


def test_every_bank_within_reach_is_charged_but_a_structure_has_one_row():
    out = exposed(stream(straight(300.0)), ("h", "house", Point(150.0, 26.0)))
    assert len(out["exposures"]) == 1
    assert out["exposures"]["bank_id"].tolist() == ["S0001-R0002-L"]
    found = distances(out)
    assert found["S0001-R0002-L"] == pytest.approx(20.0)
    # From the near ends of the neighbours, 50 m along and 20 m off.
    assert found["S0001-R0001-L"] == pytest.approx(np.hypot(50.0, 20.0))
    assert found["S0001-R0003-L"] == pytest.approx(np.hypot(50.0, 20.0))


def test_out_of_reach_is_no_exposure():
    tables = stream(straight(100.0))
    out = exposed(tables, ("h", "house", Point(50.0, 6.0 + 60.1)))
    assert len(out["exposures"]) == 0
    assert (out["banks"]["exposure_score"] == 0.0).all()
    out = exposed(tables, ("h", "house", Point(50.0, 6.0 + 60.0 - 1e-6)))
    assert len(out["exposures"]) == 1


def test_past_the_lip_is_distance_nought():
    out = exposed(
        stream(straight(100.0)),
        ("shed on the face", "shed", Point(30.0, 5.0)),
        ("house over the lip", "house", box(60.0, -10.0, 70.0, -7.0)),
    )
    rows = out["exposures"].set_index("structure_id")
    assert rows["bank_distance_m"].tolist() == [0.0, 0.0]
    assert rows["bank"].to_dict() == {"shed on the face": "left", "house over the lip": "right"}
    assert (rows.geometry.length > 0.0).all()  # something to see on a map


def test_a_building_across_the_channel_is_at_both_banks():
    out = exposed(stream(straight(100.0)), ("mill", "building", box(45.0, -12.0, 55.0, 12.0)))
    assert out["banks"]["structure_distance_m"].tolist() == [0.0, 0.0]


def test_a_road_that_crosses_is_left_out_around_the_crossing_and_said_so():
    ctx = context()
    road = LineString([(50.0, -200.0), (50.0, 200.0)])
    out = exposed(stream(straight(100.0)), ("r", "road", road), ctx=ctx)
    # Top width 14 m: left out within 28 m of (50, 0); the tops are at 6 and -8.
    banks = out["banks"].set_index("bank")["structure_distance_m"]
    # The circle's 64 sides lie within it by 28 (1 - cos(pi / 64)) = 0.03 m.
    assert banks["left"] == pytest.approx(28.0 - 6.0, abs=0.04)
    assert banks["right"] == pytest.approx(28.0 - 8.0, abs=0.04)
    assert [row["code"] for row in ctx.findings.rows] == ["crossing"]


def test_a_bridge_cut_into_pieces_is_no_nearer():
    cuts = [-200.0, -9.0, 0.5, 9.0, 200.0]
    parts = [
        (f"r{i}", "road", LineString([(50.0, a), (50.0, b)]))
        for i, (a, b) in enumerate(itertools.pairwise(cuts))
    ]
    whole = exposed(
        stream(straight(100.0)), ("r", "road", LineString([(50.0, -200.0), (50.0, 200.0)]))
    )
    pieces = exposed(stream(straight(100.0)), *parts)
    assert distances(pieces) == pytest.approx(distances(whole))
    assert pieces["banks"]["exposure_score"].tolist() == pytest.approx(
        whole["banks"]["exposure_score"].tolist()
    )


def test_a_slanting_road_is_charged_on_either_side_to_the_bank_there():
    # Crosses at (150, 0) at 20 degrees. For the left bank downstream the nearest part of the road
    # is over on the right side; its own part, on the left, must not be lost for that.
    slope = np.tan(np.radians(20.0))
    road = LineString([(0.0, 150.0 * slope), (300.0, -150.0 * slope)])
    out = exposed(stream(straight(300.0)), ("r", "road", road))
    middle = out["banks"][out["banks"]["reach_id"] == "S0001-R0002"]
    assert middle["structure_distance_m"].notna().all()
    # 28 m up the road from the crossing, less the top's offset.
    height = 28.0 * np.sin(np.radians(20.0))
    assert middle.set_index("bank")["structure_distance_m"].to_dict() == pytest.approx(
        {"left": height - 6.0, "right": height - 8.0}, abs=0.04
    )


def test_crossings_count_where_the_settings_say_so():
    road = LineString([(50.0, -200.0), (50.0, 200.0)])
    ctx = context(exposure=ExposureSettings(count_crossings=True))
    out = exposed(stream(straight(100.0)), ("r", "road", road), ctx=ctx)
    assert out["banks"]["structure_distance_m"].tolist() == [0.0, 0.0]
    assert ctx.findings.rows == []


def test_a_road_along_the_stream_counts_at_its_distance():
    road = LineString([(-50.0, -20.0), (150.0, -20.0)])
    out = exposed(stream(straight(100.0)), ("r", "road", road))
    assert out["exposures"]["bank_distance_m"].tolist() == pytest.approx([12.0])
    assert out["exposures"]["bank"].tolist() == ["right"]


def test_a_house_at_a_crossing_is_not_left_out():
    road = LineString([(50.0, -200.0), (50.0, 200.0)])
    house = box(52.0, 10.0, 60.0, 18.0)
    out = exposed(stream(straight(100.0)), ("r", "road", road), ("h", "house", house))
    left = out["banks"].set_index("bank").loc["left"]
    assert left["structure_distance_m"] == pytest.approx(4.0)
    assert left["structure_id"] == "h"


def test_no_layer_is_unknown_and_an_empty_layer_is_none():
    ctx = context()
    measured = reaches.run(stream(straight(100.0)), ctx)
    out = exposure.run(measured, ctx)
    assert out["banks"]["exposure_score"].isna().all()
    assert out["reaches"]["exposure_score"].isna().all()
    assert len(out["exposures"]) == 0
    out = exposure.run({**measured, "structures": structures()}, ctx)
    assert (out["banks"]["exposure_score"] == 0.0).all()
    assert out["banks"]["structure_distance_m"].isna().all()


def test_useless_geometry_is_a_finding_and_a_bow_tie_is_mended():
    ctx = context()
    bow = Polygon([(40.0, 20.0), (50.0, 30.0), (50.0, 20.0), (40.0, 30.0)])
    out = exposed(
        stream(straight(100.0)),
        ("a", "house", None),
        ("b", "house", Point()),
        ("c", "house", bow),
        ctx=ctx,
    )
    assert [row["source_id"] for row in ctx.findings.rows] == ["a", "b"]
    assert out["exposures"]["structure_id"].tolist() == ["c"]
    assert out["exposures"]["bank_distance_m"].tolist() == pytest.approx([14.0])


def test_a_repeated_id_gives_two_names():
    out = exposed(
        stream(straight(100.0)),
        ("h", "house", Point(40.0, 20.0)),
        ("h", "house", Point(60.0, 30.0)),
    )
    assert out["exposures"]["exposure_id"].is_unique
    assert len(out["exposures"]) == 2


def test_input_tables_stay_as_they_are():
    ctx = context()
    tables = reaches.run(stream(straight(100.0)), ctx)
    tables["structures"] = structures(
        ("r", "road", LineString([(50.0, -200.0), (50.0, 200.0)])), ("h", "house", Point(1.0, 20.0))
    )
    before = {name: table.copy() for name, table in tables.items()}
    exposure.run(tables, ctx)
    for name, table in tables.items():
        assert table.equals(before[name]), name


def test_what_is_measured_beside_other_stages_stands_where_it_would_have_stood():
    """Tables and findings are those of a run that does one stage after the other."""

    def ranked(ctx):
        tables = reaches.run(stream(straight(100.0)), ctx)
        tables["structures"] = structures(
            ("r", "road", LineString([(50.0, -200.0), (50.0, 200.0)])),
            ("h", "house", Point(1.0, 20.0)),
        )
        ctx.findings.add("info", "before", "Said before.")
        tables = exposure.run(tables, ctx)
        ctx.findings.add("info", "after", "Said after.")
        tables["banks"] = tables["banks"].assign(hazard_score=[80.0, 60.0])
        if ctx.beside:
            assert "exposures" not in tables
            return ctx.beside.end(tables)
        return exposure.add_years(tables, ctx)

    one, other = context(), context()
    with closing(Beside()) as other.beside:
        beside, plain = ranked(other), ranked(one)
    assert [row["code"] for row in other.findings.rows] == ["before", "crossing", "after"]
    assert other.findings.to_frame(CRS).equals(one.findings.to_frame(CRS))
    assert plain["exposures"]["reached_middle_yr"].notna().all()
    for layer in ("banks", "reaches", "exposures"):
        assert set(beside[layer]) == set(plain[layer])
        assert beside[layer][list(plain[layer])].equals(plain[layer]), layer
