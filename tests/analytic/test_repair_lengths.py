"""Repairs placed by hand on straight streams and arcs."""

import numpy as np
import pandas as pd
import pytest
from shapely import LineString
from stream_tables import arc, context, joined, straight, stream

from reachrank import reaches, repairs
from reachrank.repairs.runs import cells, failing_runs
from reachrank.settings import RepairsSettings, WorkSettings

ANY_SIZE = WorkSettings(greatest_area_km2=1e4, greatest_height_m=10.0, shaping_most_m3_per_m=5.0)
"""So that nothing calls for a design, whose tie-ins are longer."""


def ranked(tables, left=(), right=(), *, base=10.0, ctx=None):
    """Reaches of a stream with hazards ``(from, to, score)`` by station on either side."""
    out = reaches.run(tables, ctx or context())
    sections = out["sections"]
    for side, spans in (("left", left), ("right", right)):
        sections[f"{side}_hazard_score"] = base
        for low, high, score in spans:
            inside = sections["station_m"].between(low, high)
            sections.loc[inside, f"{side}_hazard_score"] = score
    out["reaches"]["rank"] = range(len(out["reaches"]), 0, -1)
    return out


def repaired(tables, *args, **kwargs):
    settings, work = kwargs.pop("settings", RepairsSettings()), kwargs.pop("work", ANY_SIZE)
    ctx = context(repairs=settings, work=work)
    return repairs.run(ranked(tables, *args, ctx=ctx, **kwargs), ctx)


def test_a_repair_runs_from_the_first_to_the_last_moderate_section():
    # Sections every 5 m at 2.5, 7.5 ...: those from 92.5 to 207.5 are moderate, so the repair
    # reaches from half a step below, 90, to half a step above, 210.
    out = repaired(stream(straight(400.0)), left=[(90, 210, 50.0), (150, 180, 80.0)])
    row = out["repairs"].iloc[0]
    assert len(out["repairs"]) == 1
    assert row["bank"] == "left"
    assert row["length_m"] == pytest.approx(120.0)
    assert row.geometry.length == pytest.approx(120.0)
    # Stations run up from the mouth at x = 400: from x = 190 to x = 310, on the left top, y = 6.
    assert row.geometry.coords[0] == pytest.approx((190.0, 6.0))
    assert row.geometry.coords[-1] == pytest.approx((310.0, 6.0))
    assert row["repair_id"] == "S0001-L-0090"
    assert row["reach_ids"] == "S0001-R0003,S0001-R0002,S0001-R0001"
    assert row["rank"] == 2  # ranks are 4, 3, 2, 1 from the mouth up
    assert row["bank_height_m"] == 1.5
    assert row["bank_height_max_m"] == 1.5


def test_the_length_falls_to_the_reaches_it_lies_in():
    out = repaired(stream(straight(400.0)), left=[(90, 210, 80.0)], right=[(300, 330, 80.0)])
    share = out["banks"].set_index("bank_id")["repair_length_m"]
    assert share.to_dict() == pytest.approx(
        {
            "S0001-R0001-L": 10.0,
            "S0001-R0002-L": 100.0,
            "S0001-R0003-L": 10.0,
            "S0001-R0004-L": 0.0,
            "S0001-R0001-R": 0.0,
            "S0001-R0002-R": 0.0,
            "S0001-R0003-R": 0.0,
            "S0001-R0004-R": 30.0,
        }
    )
    assert out["reaches"]["repair_length_m"].tolist() == pytest.approx([10.0, 100.0, 10.0, 30.0])


def test_on_a_bend_lengths_are_those_of_the_bank_not_of_the_middle():
    # A half circle to the left: the outer bank, right, is pi * 58 m, the inner one pi * 44 m.
    out = repaired(stream(arc(50.0, 180.0), spacing=2.0), base=90.0)
    lengths = out["repairs"].set_index("bank")["length_m"]
    assert lengths["left"] == pytest.approx(np.pi * 44.0, rel=2e-3)
    assert lengths["right"] == pytest.approx(np.pi * 58.0, rel=2e-3)


def test_moderate_alone_starts_nothing():
    out = repaired(stream(straight(400.0)), left=[(90, 210, 49.9)])
    assert len(out["repairs"]) == 0
    assert len(out["tie_ins"]) == 0
    assert (out["banks"]["repair_length_m"] == 0.0).all()
    assert (out["reaches"]["repair_length_m"] == 0.0).all()


def test_a_gap_shorter_than_the_channel_is_wide_is_closed():
    # Toe width 8 m: one section of 5 m is a short gap, two are 10 m.
    one = repaired(stream(straight(200.0)), left=[(50, 100, 80.0), (105, 150, 80.0)])
    assert one["repairs"]["length_m"].tolist() == pytest.approx([100.0])
    two = repaired(stream(straight(200.0)), left=[(50, 100, 80.0), (110, 150, 80.0)])
    assert two["repairs"]["length_m"].tolist() == pytest.approx([40.0, 50.0])  # upper one first


def test_sections_that_do_not_count_are_bridged_only_when_short():
    tables = stream(straight(200.0))
    for width, expected in ((5.0, [100.0]), (10.0, [50.0, 40.0])):
        own = {name: table.copy() for name, table in tables.items()}
        hole = own["sections"]["station_m"].between(90.0, 90.0 + width)
        own["sections"].loc[hole, "flags"] = "crossing"
        out = repaired(own, left=[(50, 150, 80.0)])
        assert out["repairs"]["length_m"].tolist() == pytest.approx(expected)


def test_a_stretch_without_any_sections_is_not_repaired():
    tables = stream(straight(400.0))
    station = tables["sections"]["station_m"]
    tables["sections"] = tables["sections"][~station.between(150.0, 250.0)]
    out = repaired(tables, base=90.0)
    left = out["repairs"][out["repairs"]["bank"] == "left"]
    assert left["length_m"].tolist() == pytest.approx([150.0, 150.0])


def test_short_lengths_are_dropped_after_gaps_are_closed():
    settings = RepairsSettings(least_length_m=12.0)
    out = repaired(stream(straight(200.0)), left=[(50, 60, 80.0)], settings=settings)
    assert len(out["repairs"]) == 0
    out = repaired(
        stream(straight(200.0)), left=[(50, 55, 80.0), (60, 65, 80.0)], settings=settings
    )
    assert out["repairs"]["length_m"].tolist() == pytest.approx([15.0])


def test_tie_ins_go_on_from_either_end_along_the_bank():
    out = repaired(stream(straight(400.0)), left=[(90, 210, 80.0)])
    ties = out["tie_ins"].set_index("end")
    assert ties["length_m"].to_dict() == pytest.approx({"up": 1.5, "down": 1.5})
    assert np.array(ties.loc["up"].geometry.coords) == pytest.approx(
        np.array([[188.5, 6.0], [190.0, 6.0]])
    )
    assert np.array(ties.loc["down"].geometry.coords) == pytest.approx(
        np.array([[310.0, 6.0], [311.5, 6.0]])
    )


def test_tie_ins_of_designed_work_go_by_the_channels_width():
    # FHWA HEC-11 (1989), from memory: one width above and one and a half below. Between the tops
    # the stream is 6 + 8 m wide; it drains 20 km², which is not for work by hand.
    out = repaired(stream(straight(400.0)), left=[(90, 210, 80.0)], work=WorkSettings())
    assert out["repairs"]["path"].tolist() == ["design_first"]
    ties = out["tie_ins"].set_index("end")["length_m"]
    assert ties.to_dict() == pytest.approx({"up": 14.0, "down": 21.0})


def test_tie_ins_end_with_the_stream_and_meet_halfway_between_repairs():
    settings = RepairsSettings(tie_in_m=30.0, gap_widths=0.0)
    out = repaired(
        stream(straight(200.0)), left=[(0, 50, 80.0), (70, 190, 80.0)], settings=settings
    )
    ties = out["tie_ins"].set_index(["repair_id", "end"])["length_m"].to_dict()
    # Upper repair 70 to 190: 10 m to the head, 10 m to the middle of the 20 m gap; the lower one
    # begins at the mouth and has no lower tie-in.
    assert ties == pytest.approx(
        {("S0001-L-0070", "up"): 10.0, ("S0001-L-0070", "down"): 10.0, ("S0001-L-0000", "up"): 10.0}
    )


def test_a_tie_in_does_not_cross_a_tributarys_mouth():
    main = stream(straight(200.0))
    # A tributary comes down from the north, the left, to the middle of the main stream at x = 102.
    side = stream(straight(60.0, (102.0, 60.0), 180.0), stream_id="S0002", toe=1.0)
    settings = RepairsSettings(tie_in_m=10.0)
    tables = joined(main, side)
    spans = [(100.0, 150.0, 80.0)]  # x from 50 to 100
    out = repairs.run(
        ranked(tables, left=spans, right=spans), context(repairs=settings, work=ANY_SIZE)
    )
    own = out["repairs"]["repair_id"].str.startswith("S0001")
    bank_of = dict(zip(out["repairs"]["repair_id"], out["repairs"]["bank"], strict=True))
    assert own.sum() == 2
    ties = {
        (bank_of[row.repair_id], row.end): row.length_m
        for row in out["tie_ins"].itertuples()
        if row.repair_id.startswith("S0001")
    }
    assert ties == pytest.approx(
        {
            ("left", "up"): 10.0,
            ("left", "down"): 2.0,
            ("right", "up"): 10.0,
            ("right", "down"): 10.0,
        }
    )


def test_without_sections_or_ranks_there_is_still_an_answer():
    tables = stream(straight(200.0))
    out = reaches.run(tables, context())
    out["sections"]["left_hazard_score"] = 90.0
    done = repairs.run(out, context())
    assert done["repairs"]["rank"].isna().all()
    out["sections"] = out["sections"].iloc[:0]
    done = repairs.run(out, context())
    assert len(done["repairs"]) == 0
    assert (done["banks"]["repair_length_m"] == 0.0).all()


def test_input_tables_stay_as_they_are():
    tables = ranked(stream(straight(200.0)), left=[(50, 100, 80.0)])
    before = {name: table.copy() for name, table in tables.items()}
    repairs.run(tables, context())
    for name, table in tables.items():
        assert table.equals(before[name]), name


def test_each_section_stands_for_half_the_way_to_its_neighbours():
    starts, ends = cells(np.array([4.0, 6.0, 10.0]), 11.0)
    assert starts.tolist() == [3.0, 5.0, 8.0]
    assert ends.tolist() == [5.0, 8.0, 11.0]
    starts, ends = cells(np.array([4.0]), 11.0)
    assert (starts.tolist(), ends.tolist()) == ([0.0], [11.0])


def test_an_unknown_section_joins_a_moderate_length_to_its_high_start():
    n = np.nan
    hazard = np.array([10.0, 70.0, n, 50.0, 50.0, 10.0])
    edges = np.arange(7) * 2.0
    rule = {"start_score": 60.0, "keep_score": 45.0, "least_m": 1.0}
    assert failing_runs(hazard, edges[:-1], edges[1:], gap_m=3.0, **rule) == [(2.0, 10.0)]
    assert failing_runs(hazard, edges[:-1], edges[1:], gap_m=1.0, **rule) == [(2.0, 4.0)]


def test_repairs_are_lines_on_the_bank_lines():
    out = repaired(stream(arc(50.0, 180.0)), left=[(40, 90, 80.0)], right=[(20, 120, 80.0)])
    for row in out["repairs"].itertuples():
        banks = out["banks"][out["banks"]["bank"] == row.bank].geometry
        assert isinstance(row.geometry, LineString)
        assert pd.Series([banks.distance(p).min() for p in _points(row.geometry)]).max() < 1e-9
        assert row.geometry.length == pytest.approx(row.length_m, rel=1e-9)


def _points(line):
    return [line.interpolate(f, normalized=True) for f in np.linspace(0.0, 1.0, 21)]
