"""Surveyed sections from a table, as a user types it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner

from reachrank import bank_edges
from reachrank.commands import cli

BOOK = """\ufeffSection,Station (ft),Elevation (ft)
A,0,105.0
A,20,105.0
A,26,100.0
A,40,100.0
A,43,103.0
A,70,103.0
"""


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(cli, ["profile", *words])
    return result.exit_code if result.exception is None else -1, result.output


def test_table_in_metres_from_a_book_in_feet(tmp_path: Path) -> None:
    book, out = tmp_path / "book.csv", tmp_path / "edges.csv"
    book.write_text(BOOK, encoding="utf-8")
    code, said = run(str(book), "--survey-units", "ft", "--out", str(out))
    assert code == 0
    (row,) = csv.DictReader(out.read_text(encoding="utf-8").splitlines())
    # international feet: 0.3048 m exactly (85 FR 62698); 5 ft and 3 ft high
    assert float(row["left_height_m"]) == pytest.approx(5 * 0.3048, abs=0.001)
    assert float(row["right_height_m"]) == pytest.approx(3 * 0.3048, abs=0.001)
    assert float(row["left_top_m"]) == pytest.approx(20 * 0.3048, abs=0.001)
    assert "left bank 1.52 m high" in said


def test_picture(tmp_path: Path) -> None:
    book, out = tmp_path / "book.csv", tmp_path / "edges.png"
    book.write_text(BOOK.replace("A,", "Mill $x_{ Run$,"), encoding="utf-8")
    code, _ = run(str(book), "--survey-units", "ft", "--out", str(out))
    assert code == 0
    assert out.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(("text", "words"), [
    ("section,elevation\nA,1\n", "station"),
    ("section,station,elevation\nA,0,high\n", "row 2"),
    ("section,station,elevation\n", "no rows"),
    ("station,elevation\n0,1\n1,0\n", "five points"),
])  # fmt: skip
def test_bad_books_say_what_is_wrong(tmp_path: Path, text: str, words: str) -> None:
    from reachrank.errors import InputError

    book = tmp_path / "book.csv"
    book.write_text(text)
    result = CliRunner().invoke(
        cli, ["profile", str(book), "--survey-units", "m", "--out", str(tmp_path / "o.csv")]
    )
    error = result.exception
    assert isinstance(error, InputError)
    assert words in str(error).lower()
    assert not (tmp_path / "o.csv").exists()


def test_bank_edges_is_at_the_top_of_the_package() -> None:
    assert bank_edges([0, 10, 12, 16, 17, 27], [1.5, 1.5, 0, 0, 1.5, 1.5]).left_toe_m == 12.0
