"""The command `table`: headings with units, text that stays text, the same numbers as the file.

Judges: openpyxl reads the workbooks, Python's csv module the other files.
"""

from __future__ import annotations

import csv

import openpyxl
import pyogrio
import pytest

from reachrank.__main__ import main
from reachrank.schema import LAYERS
from reachrank.write import write_ranked

EVIL = "=HYPERLINK(1)"


@pytest.fixture
def ranked(made_run, tmp_path):
    reaches, banks = made_run.tables["reaches"], made_run.tables["banks"]
    reaches["stream_name"] = [EVIL, "+1 Run", "@home"]
    reaches["rank"] = [3, 1, 2]
    banks["reason"] = ["Bank 3.0 m high.", "-5 m of bank.", None]

    def write(units="metric"):
        return write_ranked(
            made_run.tables, made_run.ctx, tmp_path / f"{units}.gpkg", units=units, overwrite=True
        )

    return write


def table(ranked, out, *words):
    assert main(["table", str(ranked), "--out", str(out), *words]) == 0
    return out


def sheet_of(path, name):
    return openpyxl.load_workbook(path)[name]


def as_rows(sheet):
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def test_a_sheet_for_each_layer_with_frozen_filtered_headings(ranked, tmp_path):
    book = openpyxl.load_workbook(table(ranked(), tmp_path / "a.xlsx"))
    assert book.sheetnames == ["reaches", "banks", "repairs", "materials", "dictionary", "about"]
    for name in ("reaches", "banks", "repairs"):
        sheet = book[name]
        assert sheet.freeze_panes == "B2"
        assert sheet.auto_filter.ref == sheet.dimensions
        assert all(cell.font.bold for cell in sheet[1])


def test_headings_carry_the_unit_of_the_numbers_under_them(ranked, tmp_path):
    """A foot is 0.3048 m, a square mile 2.589988110336 km² (NIST SP 811, appendix B)."""
    metric = as_rows(sheet_of(table(ranked(), tmp_path / "m.xlsx"), "reaches"))
    us = as_rows(sheet_of(table(ranked(), tmp_path / "u.xlsx", "--units", "us"), "reaches"))
    source = pyogrio.read_dataframe(ranked(), layer="reaches").set_index("reach_id")
    for m, u in zip(metric, us, strict=True):
        assert m["Length (m)"] == pytest.approx(source["length_m"][m["Reach id"]])
        assert u["Length (ft)"] == pytest.approx(m["Length (m)"] / 0.3048)
        if m["Drainage area (km²)"] is not None:
            area = m["Drainage area (km²)"]
            assert u["Drainage area (mi²)"] == pytest.approx(area / 2.589988110336)
        assert u["Left bank angle (degrees)"] == m["Left bank angle (degrees)"]
    assert [row["Rank"] for row in metric] == [1, 2, 3]


def test_a_file_in_us_units_gives_the_same_tables(ranked, tmp_path):
    a = as_rows(sheet_of(table(ranked(), tmp_path / "a.xlsx", "--units", "us"), "banks"))
    b = as_rows(sheet_of(table(ranked("us"), tmp_path / "b.xlsx"), "banks"))
    for one, other in zip(a, b, strict=True):
        assert set(one) == set(other)
        for key, value in one.items():
            same = pytest.approx(value) if isinstance(value, float) else value
            assert other[key] == same, key


def test_a_cell_that_begins_like_a_formula_is_text(ranked, tmp_path):
    sheet = sheet_of(table(ranked(), tmp_path / "a.xlsx"), "reaches")
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert EVIL in [cell.value for cell in cells]
    assert {cell.data_type for cell in cells} <= {"s", "n", "inlineStr"}  # "f" is a formula


def test_csv_marks_such_cells_and_says_so(ranked, tmp_path, capsys):
    """OWASP, CSV injection: = + - @ at the beginning of a cell."""
    out = table(ranked(), tmp_path / "a.csv")
    assert "3 cells of text begin like a formula" in capsys.readouterr().out
    assert out.read_bytes().startswith(b"\xef\xbb\xbf")
    with out.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert sorted(row["stream_name"] for row in rows) == sorted(["'" + EVIL, "'+1 Run", "'@home"])
    source = pyogrio.read_dataframe(ranked(), layer="reaches").set_index("reach_id")
    for row in rows:
        for name in ("length_m", "slope_ratio", "priority_score"):
            assert float(row[name] or "nan") == pytest.approx(
                source[name][row["reach_id"]], nan_ok=True
            )


def test_csv_holds_one_layer_with_lengths_in_feet_in_sentences(ranked, tmp_path):
    out = table(ranked(), tmp_path / "b.csv", "--layer", "banks", "--units", "us")
    text = out.read_text(encoding="utf-8-sig")
    assert "Bank 9.8 ft high." in text
    assert "'-16 ft of bank." in text
    assert "length_ft" in text.splitlines()[0]
    assert main(["table", str(ranked()), "--out", str(tmp_path / "c.csv"), "--layer", "all"]) == 2


def test_every_heading_is_explained(ranked, tmp_path):
    book = openpyxl.load_workbook(table(ranked(), tmp_path / "a.xlsx"))
    told = {(row["Sheet"], row["Heading"]): row for row in as_rows(book["dictionary"])}
    for name in ("reaches", "banks", "repairs", "materials"):
        for cell in book[name][1]:
            row = told.pop((name, cell.value))
            column = row["Column in the GeoPackage"]
            if column not in ("longitude_deg", "latitude_deg"):
                assert row["Meaning"].startswith(LAYERS[name][column].meaning.split(";")[0])
    assert not told
    about = [cell for row in book["about"].iter_rows(values_only=True) for cell in row]
    assert any("811" in str(text) for text in about)


def test_the_place_is_in_degrees(ranked, tmp_path):
    """The made lines lie at 500 km easting, on UTM zone 15's middle, 93° W."""
    row = as_rows(sheet_of(table(ranked(), tmp_path / "a.xlsx"), "reaches"))[0]
    assert row["Longitude (degrees)"] == pytest.approx(-93.0, abs=0.001)
    assert row["Latitude (degrees)"] == pytest.approx(41.55, abs=0.01)


def test_reasons_wrap_and_columns_are_wide_enough_to_read(ranked, tmp_path):
    sheet = sheet_of(table(ranked(), tmp_path / "a.xlsx"), "banks")
    reason = next(cell for cell in sheet[1] if cell.value == "Reason")
    assert sheet.cell(2, reason.column).alignment.wrap_text
    assert sheet.column_dimensions[reason.column_letter].width >= 40
    for width in sheet.column_dimensions.values():
        assert width.width >= 8


def test_nothing_is_replaced_unasked_and_names_must_fit(ranked, tmp_path):
    out = table(ranked(), tmp_path / "a.xlsx")
    assert main(["table", str(ranked()), "--out", str(out)]) == 3
    assert main(["table", str(ranked()), "--out", str(out), "--overwrite"]) == 0
    assert main(["table", str(ranked()), "--out", str(tmp_path / "a.ods")]) == 2
