"""Reaches and bank lines on streams whose answers have a closed form."""

import itertools

import numpy as np
import pytest
import shapely
from stream_tables import arc, context, joined, straight, stream

from reachrank import reaches
from reachrank.reaches.split import pieces
from reachrank.reaches.top_line import Stations, filled_offsets, top_line
from reachrank.settings import ReachesSettings


def bank_lengths(tables):
    return tables["banks"].groupby("bank")["length_m"].sum()


@pytest.mark.parametrize(
    ("length", "expected"), [(10, 1), (49, 1), (149, 1), (151, 2), (249, 2), (260, 3), (1000, 10)]
)
def test_pieces_are_as_near_the_target_as_equal_pieces_can_be(length, expected):
    assert pieces(length, 100.0) == expected
    # No other number of equal pieces of at least half of the target leaves less to the target
    # in proportion (within the rounding rule's own halves).
    if length >= 50:
        assert 2 / 3 - 1e-9 <= length / expected / 100.0 <= 1.5


def test_reaches_are_cut_at_junctions_then_evenly():
    tables = reaches.run(stream(straight(400.0), junctions=(130.5,)), context())
    table = tables["reaches"]
    # 130.5 m -> 1 piece; 269.5 m -> 3 pieces of 89.83 m. The points stand at whole metres, the
    # junction is midway between 130 and 131.
    assert table["station_from_m"].tolist() == pytest.approx(
        [0.0, 130.5, 130.5 + 269.5 / 3, 130.5 + 2 * 269.5 / 3]
    )
    assert table["station_to_m"].tolist()[:-1] == table["station_from_m"].tolist()[1:]
    assert table["length_m"].sum() == pytest.approx(400.0)
    assert table["reach_id"].tolist() == [f"S0001-R{i:04d}" for i in (1, 2, 3, 4)]
    assert table["drainage_area_km2"].tolist() == [20.0, 19.0, 19.0, 19.0]
    # Number 1 is at the mouth, the east end of a stream that runs east.
    assert table.geometry.iloc[0].coords[-1] == pytest.approx((400.0, 0.0), abs=1e-9)


def test_each_section_is_in_one_reach_and_a_border_belongs_to_the_upper_one():
    tables = stream(straight(300.0))
    tables["sections"].loc[0, "station_m"] = 100.0
    out = reaches.run(tables, context())
    sections, table = out["sections"], out["reaches"].set_index("reach_id")
    assert sections["reach_id"].notna().all()
    start = sections["reach_id"].map(table["station_from_m"])
    stop = sections["reach_id"].map(table["station_to_m"])
    assert ((sections["station_m"] >= start) & (sections["station_m"] < stop)).all()
    assert sections["reach_id"].iloc[0] == "S0001-R0002"


def test_widths_are_between_the_toes_and_between_the_tops():
    """Medians of the sections that count; without one the stream's width between toes, no other."""
    tables = stream(straight(300.0), toe=2.0, left_top=6.0, right_top=8.0)
    sections = tables["sections"]
    sections.loc[sections["station_m"] > 260.0, ["toe_width_m", "top_width_m"]] = 90.0, 99.0
    sections.loc[sections["station_m"].between(100.0, 200.0), "quality"] = 0.0
    table = reaches.run(tables, context())["reaches"]
    assert table["toe_width_m"].tolist() == [4.0, 4.0, 4.0]
    assert table["top_width_m"].fillna(-1.0).tolist() == [14.0, -1.0, 14.0]


def test_the_input_tables_stay_as_they_are():
    tables = stream(straight(300.0))
    before = {name: table.copy() for name, table in tables.items()}
    reaches.run(tables, context())
    for name, table in tables.items():
        assert table.equals(before[name]), name


def test_straight_banks_are_parallels_on_their_own_side():
    tables = reaches.run(stream(straight(300.0), left_top=6.0, right_top=8.0), context())
    for row in tables["banks"].itertuples():
        y = np.array(row.geometry.coords)[:, 1]
        # Going east, left is north.
        assert y == pytest.approx(6.0 if row.bank == "left" else -8.0)
        x = np.array(row.geometry.coords)[:, 0]
        assert (np.diff(x) > 0).all()  # drawn downstream


@pytest.mark.parametrize("bearing", [0.0, 37.0, 180.0, 301.0])
def test_turning_the_map_changes_no_length(bearing):
    tables = reaches.run(stream(straight(300.0, (5e5, 4e6), bearing)), context())
    assert tables["banks"]["length_m"].to_numpy() == pytest.approx(100.0)


@pytest.mark.parametrize("turns", ["left", "right"])
def test_banks_of_a_half_circle_are_half_circles(turns):
    radius, left, right = 50.0, 6.0, 8.0
    tables = reaches.run(stream(arc(radius, 180.0, turns=turns), spacing=2.0), context())
    # Turning left, the left bank is on the inside.
    inner = {"left": radius - left, "right": radius + right}
    outer = {"left": radius + left, "right": radius - right}
    expected = inner if turns == "left" else outer
    lengths = bank_lengths(tables)
    for side in ("left", "right"):
        # Chords of 2 m on a radius of 50 m: shorter than the arc by (2/50)^2/24 = 0.007 %; the
        # directions at the two ends are taken over half a metre, 0.3 degrees off.
        assert lengths[side] == pytest.approx(np.pi * expected[side], rel=2e-3)
        for line in tables["banks"].query("bank == @side").geometry:
            r = np.hypot(*np.array(line.coords).T)
            assert r == pytest.approx(expected[side], abs=0.01)


def test_sinuosity_of_half_circles_is_half_of_pi():
    settings = ReachesSettings(target_length_m=1000.0)
    tables = reaches.run(stream(arc(50.0, 180.0)), context(reaches=settings))
    assert tables["reaches"]["sinuosity_ratio"].tolist() == pytest.approx([np.pi / 2], rel=1e-4)
    tables = reaches.run(stream(straight(300.0)), context())
    assert tables["reaches"]["sinuosity_ratio"].to_numpy() == pytest.approx(1.0)


def test_neighbouring_banks_share_an_end_and_lose_no_length():
    short = reaches.run(stream(arc(60.0, 300.0)), context())
    settings = ReachesSettings(target_length_m=10_000.0)
    whole = reaches.run(stream(arc(60.0, 300.0)), context(reaches=settings))
    assert bank_lengths(short).tolist() == pytest.approx(bank_lengths(whole).tolist(), rel=1e-12)
    for _, group in short["banks"].groupby("bank"):
        lines = list(group.geometry)  # from the mouth up
        for lower, upper in itertools.pairwise(lines):
            assert upper.coords[-1] == pytest.approx(lower.coords[0], abs=1e-9)


def test_inside_of_a_bend_tighter_than_the_offset_does_not_fold_back():
    # East 60 m, a quarter turn to the left of radius 5 m, north 60 m. With tops 9 m off, the
    # inner bank is a corner at (-4, 9); the tops of the sections in the turn run backwards.
    turn = arc(5.0, 90.0) + np.array([0.0, 5.0])
    coords = np.vstack(
        [straight(60.0, (-60.0, 0.0))[:-1], turn, straight(60.0, (5.0, 5.0), 0.0)[1:]]
    )
    tables = reaches.run(stream(coords, left_top=9.0, toe=2.0, spacing=1.0), context())
    banks = tables["banks"]
    left = list(banks[banks["bank"] == "left"].geometry)[::-1]
    merged = shapely.LineString([xy for line in left for xy in line.coords])
    assert merged.is_simple
    # 56 m to the corner and 56 m from it; the first section past the end of the turn and the last
    # one before it are up to 1 m from the corner, which may cut it off: 2 - sqrt(2) m at most.
    # Run through backwards, the turn would add pi/2 * 4 m and the 4 m of either leg.
    assert 112.0 - 0.6 < merged.length < 112.0 + 0.1
    steps = np.diff(np.array(merged.coords), axis=0)
    steps = steps[np.linalg.norm(steps, axis=1) > 1e-9]
    unit = steps / np.linalg.norm(steps, axis=1)[:, None]
    assert ((unit[1:] * unit[:-1]).sum(axis=1) > -1e-9).all()  # never turns by more than 90


def places(station, top, toe=4.0):
    station = np.asarray(station, float)
    n = len(station)
    return Stations(
        station, -station, np.zeros(n), np.full(n, np.pi / 2), np.asarray(top, float),
        np.full(n, toe),
    )  # fmt: skip


def test_short_gaps_are_bridged_straight_and_long_ones_follow_the_toe():
    station = np.arange(100.0, -1.0, -5.0)
    top = np.where(station > 50.0, 6.0, 10.0)
    short = top.copy()
    short[9:12] = np.nan  # stations 55, 50, 45, between 60 (6 m) and 40 (10 m)
    offsets = filled_offsets(places(station, short), 20.0, 1)
    assert offsets[9:12] == pytest.approx([7.0, 8.0, 9.0])
    long = top.copy()
    long[4:17] = np.nan  # known at 85 and 15, more than 10 m from either between 74 and 26
    offsets = filled_offsets(places(station, long), 20.0, 1)
    far = (station < 75.0) & (station > 25.0)
    assert offsets[far] == pytest.approx(4.0)
    assert offsets[4] == pytest.approx(6.0 - 2.0 / 3.0)  # a third of the way from 85 to 70
    assert (offsets[:4] == 6.0).all()
    assert (offsets[17:] == 10.0).all()


def test_one_false_top_makes_no_spike():
    top = np.full(11, 6.0)
    top[5] = 25.0
    line_offsets = filled_offsets(places(np.arange(50.0, -1.0, -5.0), top), 20.0, 3)
    assert line_offsets == pytest.approx(6.0)
    assert filled_offsets(places(np.arange(50.0, -1.0, -5.0), top), 20.0, 1)[5] == 25.0
    top[4:7] = 25.0
    assert filled_offsets(places(np.arange(50.0, -1.0, -5.0), top), 20.0, 7) == pytest.approx(6.0)


def test_a_line_is_cut_at_stations_between_its_points():
    p = places([10.0, 0.0], [6.0, 6.0])
    line = top_line(p, p.top_m, "right")
    [part] = line.parts(np.array([2.0]), np.array([7.0]))
    assert shapely.get_coordinates(part) == pytest.approx(np.array([[-7.0, -6.0], [-2.0, -6.0]]))


def test_a_stream_without_sections_still_has_two_banks_a_toe_width_apart():
    tables = stream(arc(50.0, 180.0), toe=3.0)
    tables["sections"] = tables["sections"].iloc[:0]
    out = reaches.run(tables, context())
    assert len(out["banks"]) == 2 * len(out["reaches"])
    assert out["banks"]["bank_height_m"].isna().all()
    assert (out["banks"]["sections_used"] == 0).all()
    lengths = bank_lengths(out)
    assert lengths["left"] == pytest.approx(np.pi * 47.0, rel=2e-3)
    assert lengths["right"] == pytest.approx(np.pi * 53.0, rel=2e-3)


def test_one_unmeasured_side_does_not_touch_the_other():
    tables = stream(straight(300.0))
    tables["sections"]["left_top_offset_m"] = np.nan
    tables["sections"]["left_bank_height_m"] = np.nan
    banks = reaches.run(tables, context())["banks"].set_index("bank")
    assert banks.loc["left", "bank_height_m"].isna().all()
    assert banks.loc["right", "bank_height_m"].tolist() == [2.5] * 3
    ys = [y for g in banks.loc["left"].geometry for _, y in g.coords]
    assert ys == pytest.approx([4.0] * len(ys))


def test_flagged_and_poor_sections_do_not_count():
    tables = stream(straight(100.0))
    sections = tables["sections"]
    sections["left_bank_height_m"] = 1.0
    for row, flag in enumerate(("crossing", "coarse gap", "pond")):
        sections.loc[row, ["left_bank_height_m", "flags"]] = [50.0, flag]
    sections.loc[3, ["left_bank_height_m", "quality"]] = [50.0, 0.1]
    sections.loc[4, ["left_bank_height_m", "flags"]] = [2.0, "angle_lower_bound coarse"]
    left = reaches.run(tables, context())["banks"].query("bank == 'left'").iloc[0]
    assert left["sections_used"] == len(sections) - 4
    assert left["bank_height_m"] == 1.0
    assert left["bank_height_p90_m"] < 2.0


def test_angle_is_a_lower_bound_when_most_of_its_angles_are():
    tables = stream(straight(200.0))
    upper = tables["sections"]["station_m"] > 100.0
    count = upper.sum()
    tables["sections"].loc[upper, "left_is_angle_lower_bound"] = [True] * (count // 2 + 1) + [
        False
    ] * (count - count // 2 - 1)
    banks = reaches.run(tables, context())["banks"].set_index("bank_id")
    assert banks["is_angle_lower_bound"].to_dict() == {
        "S0001-R0001-L": False,
        "S0001-R0001-R": False,
        "S0001-R0002-L": True,
        "S0001-R0002-R": False,
    }


def test_slope_is_the_fall_per_length_whatever_lies_on_one_section():
    tables = stream(straight(300.0), slope=0.0123)
    tables["sections"].loc[7, "bed_elevation_m"] += 3.0
    slopes = reaches.run(tables, context())["reaches"]["slope_ratio"]
    assert slopes.to_numpy() == pytest.approx(0.0123)


def test_a_bed_that_rises_downstream_is_a_finding_and_no_slope():
    ctx = context()
    slopes = reaches.run(stream(straight(300.0), slope=-0.01), ctx)["reaches"]["slope_ratio"]
    assert (slopes == 0.0).all()
    assert [row["code"] for row in ctx.findings.rows] == ["bed_rises"]


def test_a_pool_longer_than_the_window_takes_a_longer_window():
    # A fall of 1 in 100 with a deep hole that the bed climbs out of, going downstream, between
    # the stations 400 and 500: 1 m of rise in 100 m. One reach in ten sees it.
    tables = stream(straight(1000.0), slope=0.01)
    station = tables["sections"]["station_m"]
    hole = station.between(400.0, 500.0)
    tables["sections"].loc[hole, "bed_elevation_m"] -= 0.02 * (station[hole] - 400.0)
    ctx = context()
    table = reaches.run(tables, ctx)["reaches"].set_index("reach_id")
    assert table.loc["S0001-R0005", "station_from_m"] == pytest.approx(400.0)
    # A window of 200 m: half of it falls by 1 in 100, half rises by as much. Twice that is the
    # first that holds mostly falling bed.
    assert (table["slope_ratio"] > 0.0).all()
    assert table.loc["S0001-R0001", "slope_ratio"] == pytest.approx(0.01)
    assert ctx.findings.rows == []


def test_tightest_bend_and_share_on_its_outside():
    bends = [("B1", 220.0, 150.0, 40.0, "right"), ("B2", 150.0, 50.0, 25.0, "left")]
    tables = reaches.run(stream(straight(300.0), bends=bends), context())
    table = tables["reaches"].set_index("reach_id")
    assert table["bend_id"].tolist() == ["B2", "B2", "B1"]
    assert table["radius_m"].tolist() == [25.0, 25.0, 40.0]
    assert table["outside_bank"].tolist() == ["left", "left", "right"]
    share = tables["banks"].set_index("bank_id")["outside_frac"]
    # Middle reach, stations 100 to 200: left outside below 150, right outside above.
    assert share["S0001-R0002-L"] == pytest.approx(0.5)
    assert share["S0001-R0002-R"] == pytest.approx(0.5)
    assert share["S0001-R0001-L"] == pytest.approx(0.5)
    assert share["S0001-R0001-R"] == 0.0
    assert share["S0001-R0003-R"] == pytest.approx(0.2)


def test_no_bend_is_a_fact():
    table = reaches.run(stream(straight(300.0)), context())["reaches"]
    assert table["bend_id"].isna().all()
    assert table["radius_m"].isna().all()


def test_streams_do_not_touch_each_other():
    one = stream(straight(300.0))
    other = stream(straight(200.0, (0.0, 900.0)), stream_id="S0002", left_height=4.0)
    both = reaches.run(joined(one, other), context())["banks"]
    alone = reaches.run(one, context())["banks"]
    same = both[both["bank_id"].isin(alone["bank_id"])]
    assert same["length_m"].tolist() == alone["length_m"].tolist()
    assert same["bank_height_m"].tolist() == alone["bank_height_m"].tolist()
    assert all(
        shapely.equals_exact(a, b, 1e-12)
        for a, b in zip(same.geometry, alone.geometry, strict=True)
    )


def test_a_stream_without_length_is_left_out_with_a_finding():
    tables = stream(straight(300.0))
    tables["channel"]["length_m"] = 0.0
    ctx = context()
    out = reaches.run(tables, ctx)
    assert len(out["reaches"]) == 0
    assert len(out["banks"]) == 0
    assert ctx.findings.rows[0]["code"] == "no_channel"
