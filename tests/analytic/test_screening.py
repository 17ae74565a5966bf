"""Applications judged on a straight stream: each with the outcome that a screener would want."""

from __future__ import annotations

import dataclasses
import time
import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import request_tables as made
import shapely
from openpyxl import Workbook
from shapely.geometry import Point, box

from reachrank.errors import InputError, SettingsError, UsageError
from reachrank.requests.addresses import AddressBook, AddressPoint
from reachrank.requests.applications import from_frame, read_applications
from reachrank.requests.docket import Screening, screen
from reachrank.requests.judging import Facts, judge, limit_rank
from reachrank.requests.matching import landward_points, lengths_in_areas
from reachrank.requests.opening import open_screening
from reachrank.requests.parcels import make_parcels
from reachrank.requests.ranked_tables import open_ranked
from reachrank.requests.rules import (
    EligibilityRules,
    MoneyRules,
    Rules,
    load_rules,
    rules_hash,
    rules_toml,
)
from reachrank.requests.updating import carry_over


@pytest.fixture(scope="module")
def ranked(tmp_path_factory):
    return open_ranked(made.write_ranked_file(tmp_path_factory.mktemp("screen") / "ranked.gpkg"))


@pytest.fixture(scope="module")
def screening(ranked) -> Screening:
    return open_screening(ranked, Rules(), is_demo=True)


def at(*points: Point, **columns):
    frame = pd.DataFrame({"id": [f"A{k}" for k in range(len(points))],
                          "x": [f"{p.x:.2f}" for p in points],
                          "y": [f"{p.y:.2f}" for p in points], **columns})  # fmt: skip
    return from_frame(frame)


def states(docket):
    return list(docket["state"])


def codes(docket):
    return list(docket["reason_code"])


def with_parcels(screening, areas, names=None):
    table = gpd.GeoDataFrame(
        {"pin": names or [f"P{k}" for k in range(len(areas))]}, geometry=areas, crs=made.UTM
    )
    around = dataclasses.replace(screening.around, parcels=make_parcels(table, "pin"))
    return dataclasses.replace(screening, around=around)


# ---- the rules ----------------------------------------------------------------------------------


def test_each_bank_gets_the_state_that_the_rules_ask_for(screening):
    """Six banks have the least score of 35, so the limit is rank 7 (scores 70 to 36)."""
    places = [made.place(b.reach, b.side) for b in made.COUNTY]
    docket = screen(at(*places), screening)
    assert list(zip(states(docket), codes(docket), strict=True)) == [
        ("eligible", "meets_rules"),
        ("eligible", "meets_rules"),
        ("eligible", "meets_rules"),
        ("not_eligible", "path_not_paid"),
        ("visit_first", "rank_unsure"),  # rank 7, range 3 to 11, limit 7
        ("not_eligible", "score_too_low"),
        ("visit_first", "data_thin"),
        ("visit_first", "path_unknown"),
    ]
    assert docket["distance_m"].tolist() == pytest.approx([10.0] * 8)
    assert docket["rank"].tolist() == [1, 2, 4, 6, 7, 8, 5, 3]
    assert docket["share_usd"].tolist()[:3] == [3000.0, 7500.0, 3000.0]  # 75 % of the high cost
    assert docket["cap_applied"].tolist()[:3] == [False, True, False]
    assert docket["structures_count"].tolist()[:2] == [1, 0]
    assert docket["rules_hash"].str.startswith("demo-").all()


FACTS = Facts(
    bank="left", stream="Mill Run", length_m=40.0, path="hand_built", rank=5, rank_low=4,
    rank_high=6, score=60.0, confidence_frac=0.8, limit_rank=10,
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "state", "code"),
    [
        ({}, "eligible", "meets_rules"),
        ({"rank_high": 10}, "eligible", "meets_rules"),
        ({"rank_high": 11}, "visit_first", "rank_unsure"),
        ({"rank": 10, "rank_low": 10, "rank_high": 12}, "visit_first", "rank_unsure"),
        ({"rank": 10, "rank_low": 9, "rank_high": 10}, "eligible", "meets_rules"),
        ({"rank": 12, "rank_low": 10, "rank_high": 14}, "visit_first", "rank_unsure"),
        ({"rank": 12, "rank_low": 11, "rank_high": 14, "score": 20.0}, "not_eligible",
         "score_too_low"),
        ({"rank": 12, "rank_low": 11, "rank_high": 14}, "not_eligible", "rank_too_low"),
        ({"length_m": 5.9}, "not_eligible", "too_short"),
        ({"length_m": 6.0}, "eligible", "meets_rules"),
        ({"length_m": 150.1}, "not_eligible", "too_long"),
        ({"path": "leave_alone"}, "not_eligible", "path_not_paid"),
        ({"path": "leave_alone", "rank_high": 11}, "not_eligible", "path_not_paid"),
        ({"path": "visit_first"}, "visit_first", "path_needs_visit"),
        ({"path": None}, "visit_first", "path_unknown"),
        ({"excluded_frac": 0.6}, "not_eligible", "excluded_area"),
        ({"excluded_frac": 0.3}, "visit_first", "partly_excluded"),
        ({"rank": None, "rank_low": None, "rank_high": None}, "visit_first", "not_measured"),
        ({"rank_low": None, "rank_high": None}, "eligible", "meets_rules"),
        ({"confidence_frac": 0.39}, "visit_first", "data_thin"),
    ],
)  # fmt: skip
def test_every_rule_has_its_own_reason(change, state, code):
    verdict = judge(dataclasses.replace(FACTS, **change), Rules())
    assert (verdict.state, verdict.code) == (state, code)
    assert verdict.sentence[0].isupper()
    assert verdict.sentence.endswith(".")


def test_the_printed_rules_are_the_demo_rules(tmp_path):
    file = tmp_path / "rules.toml"
    file.write_text(rules_toml(), encoding="utf-8")
    assert load_rules(file) == Rules()
    assert rules_hash(load_rules(file), is_demo=False) == rules_hash(
        Rules(), is_demo=True
    ).removeprefix("demo-")


def test_wrong_rules_are_all_told_at_once(tmp_path):
    file = tmp_path / "rules.toml"
    file.write_text("[eligibility]\nleast_scor = 3\n[money]\nshare_frac = 2.0\ncost = 'free'\n")
    with pytest.raises(SettingsError) as error:
        load_rules(file)
    text = str(error.value)
    assert "least_scor" in text
    assert "least_score" in text
    assert "share_frac" in text
    assert "'free'" in text


def test_the_limit_is_the_rank_of_the_last_bank_with_the_score():
    scores = [80.0, 50.0, 35.0, 34.999]
    assert limit_rank(scores, EligibilityRules(least_score=35.0)) == 3
    assert limit_rank(scores, EligibilityRules(least_score=35.0, greatest_rank=2)) == 2
    assert limit_rank(scores, EligibilityRules(least_score=35.0, greatest_rank=9)) == 3
    assert limit_rank([], EligibilityRules()) == 0


def test_a_changed_rule_changes_the_fingerprint():
    other = Rules(money=MoneyRules(share_frac=0.5))
    assert rules_hash(other, is_demo=False) != rules_hash(Rules(), is_demo=False)


def test_excluded_areas(ranked, screening):
    middle = made.Y0 + 50.0
    areas = np.array([box(made.X0, middle - 10, made.X0 + 50, middle + 100)], dtype=object)
    docket = screen(
        at(made.place(0, "left"), made.place(2, "right")),
        dataclasses.replace(screening, excluded=areas),
    )
    # 30 of the 40 m of the first repair lie north of the line
    assert codes(docket) == ["excluded_area", "meets_rules"]
    areas = np.array([box(made.X0, middle + 5, made.X0 + 50, middle + 100)], dtype=object)
    docket = screen(at(made.place(0, "left")), dataclasses.replace(screening, excluded=areas))
    assert codes(docket) == ["partly_excluded"]


# ---- matching -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("side", "sign"), [("left", 1.0), ("right", -1.0)])
def test_the_land_behind_a_bank_is_on_its_side(side, sign):
    """A line that runs south: looking downstream, the left is east."""
    line = np.array([shapely.LineString([(0.0, 100.0), (0.0, 0.0)])], dtype=object)
    points, owners, steps = landward_points(line, np.array([side], dtype=object), 10.0)
    assert shapely.get_x(points) == pytest.approx(np.full(points.size, 10.0 * sign))
    assert steps.sum() == pytest.approx(100.0)
    assert set(owners) == {0}


def test_a_stream_that_is_the_boundary_gives_each_parcel_the_bank_that_faces_it():
    lines = np.array(
        [shapely.LineString([(x, 100.0), (x, 0.0)]) for x in (4.0, -4.0)], dtype=object
    )
    sides = np.array(["left", "right"], dtype=object)
    for off in (-6.0, 0.0, 6.0):  # the drawn boundary may lie off the true middle
        areas = np.array([box(off, 0, 300, 100), box(-300, 0, off, 100)], dtype=object)
        found = lengths_in_areas(lines, sides, areas, 10.0)
        assert {area: set(lines) for area, lines in found.items()} == {0: {0}, 1: {1}}
        assert found[0][0] == pytest.approx(100.0)


def test_the_best_ranked_repair_of_the_own_parcel_wins_over_a_nearer_one(screening):
    own = box(made.X0, made.Y0, made.X0 + 200, made.Y0 + 200)  # reaches 0 and 1, left bank
    parcels = with_parcels(screening, [own])
    docket = screen(at(made.place(1, "left", 5.0)), parcels)
    assert list(docket["repair_id"]) == ["S0001-L-0000"]  # score 70 before 60
    docket = screen(at(made.place(1, "left", 5.0)), screening)
    assert list(docket["repair_id"]) == ["S0001-L-0100"]  # without parcels the nearest


def test_a_place_in_the_stream_goes_to_its_own_parcels_bank(screening):
    parcels = with_parcels(
        screening,
        [box(made.X0 - 300, made.Y0, made.X0, made.Y0 + 800),
         box(made.X0, made.Y0, made.X0 + 300, made.Y0 + 800)],
    )  # fmt: skip
    at_right = made.place(0, "right", 1.0)  # someone stood on the other side
    docket = screen(at(at_right, parcel_id=["P1"]), parcels)
    assert list(docket["repair_id"]) == ["S0001-L-0000"]


def test_an_own_bank_without_a_failing_length_decides_where_it_is_in_reach(screening):
    # right bank of reaches 0 and 1: not failing; only the left bank fails there
    parcels = with_parcels(screening, [box(made.X0 - 300, made.Y0, made.X0, made.Y0 + 200)])
    docket = screen(at(made.place(0, "right", 10.0)), parcels)
    assert codes(docket) == ["no_failing_bank"]
    assert docket["bank_id"].tolist() == ["S0001-R0000-R"]


@pytest.mark.parametrize(("side", "repair"), [("left", "S0001-L-0000"), ("right", None)])
def test_a_pin_in_the_stream_is_about_the_bank_that_faces_the_parcel(screening, side, repair):
    """The parcel ends 40 m before the stream, with a road between; the pin is across the middle."""
    sign = 1.0 if side == "left" else -1.0
    near, far = sorted([made.X0 + sign * 44, made.X0 + sign * 300])
    parcels = with_parcels(screening, [box(near, made.Y0, far, made.Y0 + 99)])
    pin = Point(made.X0 - sign * 1.0, made.Y0 + 50.0)
    docket = screen(at(pin, parcel_id=["P0"]), parcels)
    assert docket["bank"].tolist() == [side]
    assert docket["repair_id"].tolist() == [repair]
    without = screen(at(pin), screening)
    assert without["bank"].tolist() != [side]


@pytest.mark.parametrize(
    ("away_m", "state", "code"),
    [
        (60.0, "eligible", "meets_rules"),
        (60.5, "too_far", "far_from_bank"),
        (20_000.0, "too_far", "outside_area"),
    ],
)
def test_how_far_is_too_far(screening, away_m, state, code):
    docket = screen(at(made.place(0, "left", away_m)), screening)
    assert (states(docket), codes(docket)) == ([state], [code])
    assert docket["distance_m"].tolist() == pytest.approx([away_m], rel=1e-6)


def test_neighbours_share_the_money_for_one_repair(screening):
    first, second, third = (made.place(0, "left", away) for away in (10.0, 20.0, 30.0))
    docket = screen(at(first, second, third), screening)
    assert states(docket) == ["eligible"] * 3
    assert docket["share_usd"].tolist() == [1000.0] * 3
    rules = Rules(money=MoneyRules(share_frac=1.0, cap_per_site_usd=100.0))
    docket = screen(at(first, second, third), dataclasses.replace(screening, rules=rules))
    assert docket["share_usd"].tolist() == [33.34, 33.33, 33.33]  # a cent is not lost
    assert docket["cap_applied"].all()


def test_one_application_for_each_parcel(screening):
    own = box(made.X0, made.Y0, made.X0 + 200, made.Y0 + 200)
    places = at(made.place(1, "left", 5.0), made.place(0, "left", 5.0))
    parcels = with_parcels(screening, [own])
    docket = screen(places, parcels)
    assert sorted(states(docket)) == ["eligible", "not_eligible"]
    assert "parcel_has_another" in codes(docket)
    rules = Rules(eligibility=EligibilityRules(one_per_parcel=False))
    assert states(screen(places, dataclasses.replace(parcels, rules=rules))) == ["eligible"] * 2


# ---- badly written applications ------------------------------------------------------------------


def csv(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "applications.csv"
    path.write_bytes(text.encode(encoding))
    return read_applications(str(path))


GOOD = made.place(0, "left")


def test_swapped_coordinates_are_put_right_and_said(screening, tmp_path):
    lon, lat = made.in_degrees(GOOD)
    stack = csv(
        tmp_path,
        "id,easting,northing,longitude,latitude\n"
        f"1,{GOOD.y:.1f},{GOOD.x:.1f},,\n"
        f"2,,,{lat:.6f},{lon:.6f}\n"
        f"3,,,{-lon:.6f},{lat:.6f}\n",
    )
    docket = screen(stack, screening)
    assert docket["repair_id"].tolist() == ["S0001-L-0000"] * 3
    assert docket["placed_by"].str.contains("swapped|sign").all()


def test_degrees_where_metres_were_promised_and_feet_too(screening, tmp_path):
    lon, lat = made.in_degrees(GOOD)
    feet = 3937.0 / 1200.0
    stack = csv(
        tmp_path,
        "id,x,y\n"
        f"1,{lon:.6f},{lat:.6f}\n"
        f"2,{GOOD.x * feet:.1f},{GOOD.y * feet:.1f}\n"
        f'3,"{GOOD.x:.1f}",{GOOD.y:.1f}\n',
    )
    docket = screen(stack, screening)
    assert docket["repair_id"].tolist() == ["S0001-L-0000"] * 3
    assert "in degrees" in docket["placed_by"][0]
    assert "U.S. survey feet" in docket["placed_by"][1]
    assert docket["placed_by"][2] == "its coordinates"


def test_coordinates_that_can_mean_two_places_are_not_guessed(screening):
    """Two pairs of coordinates of one application lie at two banks of the same area."""
    lon, lat = made.in_degrees(GOOD)
    other = made.place(5, "left")
    frame = pd.DataFrame({"id": ["1"], "longitude": [f"{lon:.6f}"], "latitude": [f"{lat:.6f}"],
                          "x": [f"{other.x:.1f}"], "y": [f"{other.y:.1f}"]})  # fmt: skip
    docket = screen(from_frame(frame), screening)
    assert codes(docket) == ["coordinates_unclear"]
    assert docket["repair_id"].isna().all()


def test_coarse_coordinates_are_not_used(screening):
    lon, lat = made.in_degrees(GOOD)
    frame = pd.DataFrame({"id": ["1"], "lon": [f"{lon:.2f}"], "lat": [f"{lat:.2f}"]})
    assert codes(screen(from_frame(frame), screening)) == ["coordinates_coarse"]
    frame = pd.DataFrame({"id": ["1"], "lon": [f"{lon:.5f}"], "lat": [f"{lat:.5f}"]})
    assert states(screen(from_frame(frame), screening)) == ["eligible"]


def test_empty_cells_fall_back_to_the_address_then_to_the_parcel(screening):
    book = AddressBook([AddressPoint("12 Kiln Lane", GOOD.x, GOOD.y)])
    parcels = with_parcels(
        screening, [box(made.X0, made.Y0 + 100, made.X0 + 99, made.Y0 + 200)], ["17-01"]
    )
    around = dataclasses.replace(parcels.around, book=book)
    frame = pd.DataFrame({
        "id": ["1", "2", "3", "4", "5", "6"],
        "x": ["", "0", "", "", "", "hm"], "y": ["", "0", "", "", "", "hm"],
        "address": ["12 KILN LN.", "12 Kiln Lane", "", "14 Kiln Lane", "", ""],
        "parcel_id": ["", "", "17 01", "", "", ""],
    })  # fmt: skip
    docket = screen(from_frame(frame), dataclasses.replace(parcels, around=around))
    assert codes(docket) == [
        "meets_rules", "same_place", "meets_rules", "address_unsure", "no_place",
        "coordinates_unreadable",
    ]  # fmt: skip
    assert docket["repair_id"].tolist()[2] == "S0001-L-0100"
    assert "12 Kiln Lane" in docket["reason"][3]


def test_a_formula_in_a_name_stays_text_and_stays_out_unless_kept(screening, tmp_path):
    stack_text = f'id,owner,x,y\n1,"=HYPERLINK(""http://x"")",{GOOD.x},{GOOD.y}\n'
    path = tmp_path / "a.csv"
    path.write_text(stack_text)
    plain = screen(read_applications(str(path)), screening)
    assert not [c for c in plain.columns if "owner" in c]
    kept = read_applications(str(path), keep=["owner"])
    assert kept.kept["kept_owner"].tolist() == ['=HYPERLINK("http://x")']
    with pytest.raises(UsageError, match="no_such"):
        read_applications(str(path), keep=["no_such"])


def test_two_rows_with_the_same_id(screening):
    frame = pd.DataFrame({
        "id": ["7", "7", "7"],
        "x": [f"{p.x}" for p in (GOOD, GOOD, made.place(2, "right"))],
        "y": [f"{p.y}" for p in (GOOD, GOOD, made.place(2, "right"))],
    })  # fmt: skip
    docket = screen(from_frame(frame), screening)
    assert states(docket) == ["eligible", "duplicate", "duplicate"]
    assert codes(docket)[1:] == ["same_number", "same_number_other_place"]
    assert "row 1" in docket["reason"][1]
    assert docket["application_id"].tolist() == ["7", "7", "7"]
    assert docket["source_row"].tolist() == [1, 2, 3]


def test_a_mended_application_stands_before_the_one_that_had_no_place(screening):
    frame = pd.DataFrame({"id": ["7", "7"], "x": ["", f"{GOOD.x}"], "y": ["", f"{GOOD.y}"]})
    docket = screen(from_frame(frame), screening)
    assert states(docket) == ["duplicate", "eligible"]


def test_rows_without_a_number_get_one_of_their_place(screening):
    frame = pd.DataFrame({"id": ["", None], "x": [f"{GOOD.x}", ""], "y": [f"{GOOD.y}", ""]})
    docket = screen(from_frame(frame), screening)
    assert docket["application_id"].tolist() == ["row-1", "row-2"]


def test_windows_1252_semicolons_and_decimal_commas(screening, tmp_path):
    text = (
        f"Antrag;Name;Easting;Northing\r\n1;Müller – Söhne;{GOOD.x:.1f};{GOOD.y:.1f}\r\n".replace(
            ".", ","
        )
    )
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode("cp1252"))
    stack = read_applications(str(path), keep=["Name"])
    assert stack.kept["kept_Name"].tolist() == ["Müller – Söhne"]
    assert any("Windows-1252" in note for note in stack.notes)
    assert states(screen(stack, screening)) == ["eligible"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_with_and_without_a_mark(tmp_path, encoding):
    stack = csv(tmp_path, "id,address\n1,Žižkova 3\n", encoding)
    assert stack.rows["address"].tolist() == ["Žižkova 3"]
    assert stack.notes == ()


def test_a_spreadsheet_with_a_title_line_above_the_headings(screening, tmp_path):
    book = Workbook()
    notes = book.active
    notes.title = "Notes"
    notes.append(["nothing here"])
    sheet = book.create_sheet("Round 2")
    sheet.append(["Cost-share 2025, second round"])
    sheet.append([])
    sheet.append(["App no.", "Owner", "Easting", "Northing"])
    sheet.append([1, "=1+1", GOOD.x, GOOD.y])
    sheet.append([2, None, GOOD.x, None])
    sheet.append([None, None, None, None])
    path = tmp_path / "applications.xlsx"
    book.save(path)
    stack = read_applications(str(path))
    assert len(stack) == 2
    assert any("title" in note for note in stack.notes)
    assert any("not counted: 1" in note for note in stack.notes)
    docket = screen(stack, screening)
    assert states(docket) == ["eligible", "not_placed"]
    assert docket["application_id"].tolist() == ["1", "2"]
    with pytest.raises(InputError, match="no sheet 'Round 9'"):
        read_applications(f"{path}|layername=Round 9")


def test_layers_of_points_and_of_parcels(screening, tmp_path):
    points = gpd.GeoDataFrame({"id": ["1", "2"]}, geometry=[GOOD, None], crs=made.UTM)
    path = tmp_path / "points.gpkg"
    points.to_file(path)
    docket = screen(read_applications(str(path)), screening)
    assert states(docket) == ["eligible", "not_placed"]
    lots = gpd.GeoDataFrame(
        {"Application": ["P"]},
        geometry=[box(made.X0, made.Y0, made.X0 + 90, made.Y0 + 250)], crs=made.UTM,
    ).to_crs(4326)  # fmt: skip
    path = tmp_path / "lots.geojson"
    lots.to_file(path)
    docket = screen(read_applications(str(path)), screening)
    assert docket["repair_id"].tolist() == ["S0001-L-0000"]
    assert docket["distance_m"].tolist() == [0.0]


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.csv", b"one,two\n1,2\n", "headings"),
        ("a.csv", b"id\n1\n", "says where"),
        ("a.csv", b"", "headings"),
        ("a.csv", b"id,x,y\n\x00\x01\x02", "not a text file"),
        ("a.xlsx", b"PK\x03\x04 broken", "not an .xlsx"),
        ("a.xls", b"\xd0\xcf\x11\xe0", "Old .xls"),
        ("a.gpkg", b"no database", "not a vector file"),
    ],
)
def test_what_cannot_be_read_is_said(tmp_path, name, content, says):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError, match=says):
        read_applications(str(path))


def test_10000_rows_in_seconds(screening):
    """Our own limit: a county's stack must not be a reason to wait."""
    rng = np.random.default_rng(1)
    count = 10_000
    frame = pd.DataFrame({
        "id": np.arange(count).astype(str),
        "x": (made.X0 + rng.uniform(-200, 200, count)).round(1).astype(str),
        "y": (made.Y0 + rng.uniform(0, 800, count)).round(1).astype(str),
        "parcel": rng.integers(0, 3000, count).astype(str),
    })  # fmt: skip
    began = time.perf_counter()
    docket = screen(from_frame(frame), screening)
    assert time.perf_counter() - began < 15.0
    assert len(docket) == count
    assert docket["application_id"].tolist() == frame["id"].tolist()


# ---- updating -----------------------------------------------------------------------------------


def test_an_update_carries_decisions_over_and_says_what_changed(screening):
    old = screen(at(GOOD, made.place(5, "left"), made.place(2, "right")), screening)
    old.loc[0, ["decision", "decided_on", "decision_note"]] = ["approved", "2025-11-03", "visited"]
    old.loc[2, "decision"] = "declined"
    rules = Rules(eligibility=EligibilityRules(paths=("design_first",)))
    frame = at(GOOD, made.place(5, "left"), made.place(1, "left"))
    frame.rows["application_id"] = ["A0", "A1", "A9"]
    new = screen(frame, dataclasses.replace(screening, rules=rules))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        updated, changes = carry_over(new, old)
    assert updated["decision"].tolist() == ["approved", None, None]
    assert updated["decided_on"].tolist()[0] == "2025-11-03"
    assert changes.new == ("A9",)
    assert changes.gone == ("A2",)
    assert changes.gone_decided == ("A2",)
    assert changes.decided_and_changed == ("A0",)
    assert "state eligible to not_eligible" in updated["changed"][0]
    assert updated["changed"][2] == "new"
    assert len(updated) == 3


def test_the_same_again_changes_nothing(screening):
    old = screen(at(GOOD, made.place(5, "left")), screening)
    updated, changes = carry_over(screen(at(GOOD, made.place(5, "left")), screening), old)
    assert updated["changed"].isna().all()
    assert (changes.new, changes.gone, changes.changed) == ((), (), ())
