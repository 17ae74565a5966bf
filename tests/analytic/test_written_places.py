"""Coordinates, addresses and headings as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reachrank.requests.addresses import AddressBook, AddressPoint, normal
from reachrank.requests.coordinates import degrees, pair, readings
from reachrank.requests.guesses import guesses
from reachrank.requests.headings import header_row, recognise


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("497685.2", [497685.2]),
        ("497 685,2", [497685.2]),
        ("497,685.2", [497685.2]),
        ("497.685,2", [497685.2]),
        ("4,817,630", [4817630.0]),
        ("498459,1", [498459.1]),
        ("43,511", [43511.0, 43.511]),
        ("4.8176308e6", [4817630.8]),
        ("-87.0286", [-87.0286]),
        ("−87.0286", [-87.0286]),
        ("497685.2 m", [497685.2]),
        ("1634253.9 ft", [1634253.9]),
        ("", []), ("n/a", []), ("about 150'", []), ("=1+1", []), ("1.2.3", []), ("1,2,3", []),
        ("nan", []), ("inf", []), ("1e999", []), ("12 34 x", []),
    ],
)  # fmt: skip
def test_numbers_as_typed(text, values):
    assert [r.value for r in readings(text)] == pytest.approx(values)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # 43 + 30/60 + 43.4/3600 and so on: degrees, minutes, seconds
        ("43° 30' 43.4\" N", 43.512055555),
        ("87° 02' 15.9\" W", -87.037750),
        ("43°30′43.4″N", 43.512055555),
        ("N43 30.7233", 43.512055),
        ("87:02:15.9 W", -87.037750),
        ("-87 02 15.9", -87.037750),
        ("87.037750 W", -87.037750),
        ("-87.037750 W", -87.037750),
        ("43d30m43.4s", 43.512055555),
        ("43.512056°", 43.512056),
    ],
)
def test_angles_as_typed(text, value):
    assert degrees(text)[0].value == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize("text", ["", "43 75 10", "43.5 10 5", "N", "N W 3", "43° 30' 61\"", "x43"])
def test_what_is_no_angle_is_none(text):
    assert degrees(text) == ()


def test_the_last_digit_says_how_coarse():
    assert degrees("43.50")[0].error == pytest.approx(0.005)
    assert degrees("43 30 43")[0].error == pytest.approx(0.5 / 3600)
    assert readings("4817630.8")[0].error == pytest.approx(0.05)


@given(st.floats(-179.0, 179.0), st.integers(3, 7))
def test_written_degrees_come_back(value, decimals):
    text = f"{value:.{decimals}f}"
    assert degrees(text)[0].value == float(text)
    assert abs(degrees(text)[0].value - value) <= degrees(text)[0].error * (1 + 1e-6)


@given(st.text(max_size=40))
def test_no_text_breaks_the_readers(text):
    for reading in (*degrees(text), *readings(text)):
        assert abs(reading.value) <= 1e12
    pair(text)
    row = dict.fromkeys(("longitude", "latitude", "coordinates", "x", "y"), text)
    guesses(row, 1.0)
    normal(text)


def row(**given):
    return {**dict.fromkeys(("longitude", "latitude", "coordinates", "x", "y"), ""), **given}


def first_inside(made, low, high):
    return next(g for g in made if low[0] <= g.first <= high[0] and low[1] <= g.second <= high[1])


LAKE = ((-88.0, 43.0), (-86.0, 44.0))


def test_swapped_degrees_and_a_lost_sign_are_among_the_guesses():
    swapped = first_inside(guesses(row(longitude="43.51", latitude="-87.02"), 1.0), *LAKE)
    assert not swapped.is_as_written
    assert "swapped back" in swapped.how
    lost = first_inside(guesses(row(longitude="87.02", latitude="43.51"), 1.0), *LAKE)
    assert "sign" in lost.how
    letters = first_inside(guesses(row(longitude="43.51 N", latitude="87.02 W"), 1.0), *LAKE)
    assert (letters.first, letters.second) == (-87.02, 43.51)


def test_degrees_where_metres_were_promised():
    made = [g for g in guesses(row(x="-87.02", y="43.51"), 1.0) if g.is_degrees]
    found = first_inside(made, *LAKE)
    assert not found.is_as_written
    assert "in degrees" in found.how


def test_zero_zero_is_no_place():
    assert guesses(row(longitude="0", latitude="0.0", x="0", y="0"), 1.0) == []


# ---- addresses --------------------------------------------------------------------------------

STREETS = [
    AddressPoint("1038 Lower Mill Road", 1.0, 1.0),
    AddressPoint("1040 Lower Mill Road", 2.0, 1.0),
    AddressPoint("1038 Upper Mill Road", 3.0, 1.0),
    AddressPoint("12 Saint Anne's Street, Weldon", 4.0, 1.0),
    AddressPoint("12 Saint Anne's Street, Marbury", 5.0, 1.0),
    AddressPoint("7 N Kiln Ln", 6.0, 1.0),
]


@pytest.mark.parametrize(
    ("asked", "x"),
    [
        ("1038 LOWER MILL RD.", 1.0),
        ("1038 lower  mill road, Ostermere County", 1.0),
        ("1038 Lower Mill Rd Apt 2", 1.0),
        ("1038, Lower Mill Road", 1.0),
        ("1040 Lower Mil Road", 2.0),
        ("12 St. Annes St, Marbury", 5.0),
        ("7 North Kiln Lane", 6.0),
    ],
)  # fmt: skip
def test_an_address_in_any_spelling_is_found(asked, x):
    match = AddressBook(STREETS).find(asked)
    assert match.kind == "found"
    assert match.points[0].x == x


@pytest.mark.parametrize(
    ("asked", "offered"),
    [
        ("1038 Mill Road", {1.0, 3.0}),  # lower or upper
        ("1039 Lower Mill Road", {1.0, 2.0}),  # no such number: its neighbours
        ("12 Saint Anne's Street", {4.0, 5.0}),  # in two towns
    ],
)
def test_an_unsure_address_is_asked_and_never_taken(asked, offered):
    match = AddressBook(STREETS).find(asked)
    assert match.kind == "unsure"
    assert offered <= {p.x for p in match.points}


@pytest.mark.parametrize(
    "asked", ["PO Box 1038", "first farm past the old kiln", "", "9 Nowhere Way", "Lower Mill"]
)
def test_what_is_no_address_finds_nothing(asked):
    assert AddressBook(STREETS).find(asked).kind in ("none", "unsure")
    assert AddressBook(STREETS).find(asked).kind == "none" or "Lower" in asked


def test_the_order_of_the_list_does_not_matter():
    asked = ("1038 Mill Road", "12 Saint Anne's Street", "1039 Lower Mill Road")
    for text in asked:
        assert AddressBook(STREETS).find(text) == AddressBook(STREETS[::-1]).find(text)


# ---- headings ---------------------------------------------------------------------------------


def test_headings_in_many_spellings():
    found = recognise(["App #", "Owner", "LATITUDE (dd)", "Long.", "Parcel PIN", "Site Address"])
    assert found == {"application_id": 0, "latitude": 2, "longitude": 3, "parcel": 4, "address": 5}
    assert recognise(["ID", "Easting (m)", "Northing (m)"]) == {"application_id": 0, "x": 1, "y": 2}


def test_a_title_above_the_headings_is_passed_over():
    rows = [
        ["Cost-share applications 2025, round 2", "", ""],
        ["", "", ""],
        ["No.", "Easting", "Northing"],
        ["1", "497685.2", "4817630.8"],
    ]
    assert header_row(rows, {}) == 2
    assert header_row([["1", "2", "3"], ["4", "5", "6"]], {}) is None
    assert header_row([["Nummer", "hier", "dort"], ["1", "2", "3"]], {"x": "hier"}) == 0
