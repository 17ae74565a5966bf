"""The command `sheets` on the invented county: pages, units, names that are no formulas."""

from __future__ import annotations

import itertools
import os
import re
import shutil
import sqlite3
import subprocess
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from PIL import Image

from reachrank.__main__ import main
from reachrank.sheets import document, write_sheets

HARD = "=$x_1^2$ \\frac{a}{b} & <b>Mill</b> 50%"
LONG = "The bank is 2.6 m high, and a dwelling stands 4.1 m from its edge. " * 20
ITEMS = (
    "live stakes",
    "coir mat, with a description that is longer than the column is wide",
    "twine",
)


@pytest.fixture(scope="module")
def ranked(demo) -> Path:
    return demo[0]


@pytest.fixture(scope="module")
def hard(ranked, tmp_path_factory) -> Path:
    """Give the ranked county names full of signs, long reasons and things to buy."""
    path = tmp_path_factory.mktemp("hard") / "hard.gpkg"
    shutil.copy(ranked, path)
    with closing(sqlite3.connect(path)) as db, db:
        # those that mind features call functions that a plain SQLite has not
        for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("UPDATE reaches SET stream_name = ? WHERE stream_id = 'S0001'", (HARD,))
        db.execute("UPDATE repairs SET path_reasons = ?, permit_questions = ?", (LONG, LONG))
        db.execute("DELETE FROM materials")
        for (repair,), item in itertools.product(
            db.execute("SELECT repair_id FROM repairs").fetchall(), ITEMS
        ):
            db.execute(
                "INSERT INTO materials (repair_id, item, unit, purchase_low, purchase_high, "
                "cost_low_usd, cost_high_usd) VALUES (?, ?, 'm', 10, 20, 100, 400)",
                (repair, item),
            )
        db.execute(
            "UPDATE gpkg_ogr_contents SET feature_count = (SELECT count(*) FROM materials) "
            "WHERE table_name = 'materials'"
        )
    return path


def drawn(monkeypatch, ranked, out, **options):
    """Return the sheets of a document before they are saved."""
    kept = []

    def keep(pdf, sheet):
        kept.append(sheet)
        if len(kept) == 1:  # a file must come of it; one page is enough
            pdf.savefig(sheet.figure)

    monkeypatch.setattr(document, "_save", keep)
    write_sheets(ranked, out, on=date(2024, 5, 1), **options)
    return kept


def text_boxes(sheet):
    """Return every text of a page and where it stands, in points, as Agg would draw it."""
    sheet.figure.set_dpi(288)  # letters of 6 points are not yet rounded to whole pixels
    canvas = FigureCanvasAgg(sheet.figure)
    with document.plain_looks():
        canvas.draw()
        renderer = canvas.get_renderer()
        texts = [text for axes in sheet.figure.axes for text in (*axes.texts, *_ticks(axes))]
        return [
            (text.get_text(), text.get_window_extent(renderer).extents * 72.0 / 288.0)
            for text in texts
            if text.get_visible() and text.get_text().strip()
        ]


def _ticks(axes):
    """Return the labels of ticks that are within the axes, as they are drawn."""
    if not axes.axison:
        return []
    shown = []
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        ticks = [tick for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
        shown += [tick.label1 for tick in ticks if tick.label1.get_visible()]
    return shown


@pytest.mark.parametrize(("paper", "us"), [("letter", False), ("a4", True)])
def test_no_text_covers_another_or_runs_off_the_paper(monkeypatch, hard, tmp_path, paper, us):
    """Judge: where matplotlib's raster renderer puts each text; we lay out by our own widths."""
    sheets = drawn(monkeypatch, hard, tmp_path / "a.pdf", top=3, paper=paper, us=us)
    feet = [text.get_text() for sheet in sheets for text in sheet.base.texts]
    assert any("overleaf" in text for text in feet)
    for sheet in sheets:
        boxes = text_boxes(sheet)
        for text, (left, bottom, right, top) in boxes:
            assert left > 10 and bottom > 10, text  # noqa: PT018  (one place, two edges)
            assert right < sheet.paper.width - 10, text
            assert top < sheet.paper.height - 10, text
        for (one, a), (other, b) in itertools.combinations(boxes, 2):
            across = min(a[2], b[2]) - max(a[0], b[0])
            up = min(a[3], b[3]) - max(a[1], b[1])
            # boxes hold room for letters that go below the line: lines may touch by that much
            assert across <= 0.5 or up <= 1.0, (one, other)


def test_names_are_printed_letter_by_letter(hard, tmp_path):
    """Judge: pdftotext (poppler) reads the names back from the PDF."""
    if shutil.which("pdftotext") is None:
        if os.environ.get("CI"):
            pytest.fail("pdftotext is missing: scripts/install_viewers.sh")
        pytest.skip("pdftotext is not installed: scripts/install_viewers.sh")
    out = tmp_path / "a.pdf"
    assert main(["sheets", str(hard), "--out", str(out), "--top", "2", "--progress", "none"]) == 0
    read = subprocess.run(
        ["pdftotext", "-layout", str(out), "-"], capture_output=True, text=True, check=True
    ).stdout
    assert HARD in " ".join(read.split())
    assert "right bank" in read
    for caution in ("811", "screening product", "licensed engineer"):
        assert caution in read
    for item in ("live stakes", "twine"):
        assert item in read


def test_page_size_and_number_of_pages(ranked, tmp_path, capsys):
    """ISO 216: A4 is 210 by 297 mm; ANSI Y14.1: letter is 8.5 by 11 inches; 72 points an inch."""
    sizes = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
    for paper, size in sizes.items():
        out = tmp_path / f"{paper}.pdf"
        words = ["sheets", str(ranked), "--out", str(out), "--top", "1", "--paper", paper]
        assert main([*words, "--progress", "none"]) == 0
        boxes = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", out.read_bytes())
        pages = int(re.search(r"1 place on (\d+) pages", capsys.readouterr().out)[1])
        assert len(boxes) == pages >= 2
        for box in boxes:
            assert [float(v) for v in box] == pytest.approx(size, abs=0.05)


def test_units_on_every_number(monkeypatch, ranked, tmp_path):
    for us, wrong in ((True, r"\d (m|km²|m²|m/s)\b"), (False, r"\d (ft|mi²|yd²|ft/s)\b")):
        for sheet in drawn(monkeypatch, ranked, tmp_path / f"{us}.pdf", top=4, us=us):
            for text in sheet.figure.findobj(Text):
                if "Units read" not in text.get_text():
                    assert not re.search(wrong, text.get_text()), text.get_text()


def test_the_same_ranking_gives_the_same_bytes(ranked, tmp_path):
    for name in ("a", "b"):
        write_sheets(ranked, tmp_path / f"{name}.pdf", top=2, on=date(2024, 5, 1))
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_pictures_for_a_screen(ranked, tmp_path):
    words = ["sheets", str(ranked), "--out", str(tmp_path / "a.pdf"), "--top", "1"]
    words += ["--png", str(tmp_path / "slides"), "--progress", "none"]
    assert main(words) == 0
    pictures = sorted((tmp_path / "slides").glob("*.png"))
    assert len(pictures) == 1
    for path in pictures:
        with Image.open(path) as picture:
            assert picture.size == (1920, 1080)
            assert len(picture.convert("L").getcolors() or []) > 50  # ground and letters, not blank
    assert main([*words, "--overwrite"]) == 0
    assert main(words) == 3  # neither is replaced unasked


def test_one_place_by_name(monkeypatch, ranked, tmp_path):
    import pyogrio

    repair = pyogrio.read_dataframe(ranked, layer="repairs")["repair_id"].iloc[0]
    sheets = drawn(monkeypatch, ranked, tmp_path / "a.pdf", only=[repair])
    words = [text.get_text() for text in sheets[-1].figure.findobj(Text)]
    assert any(repair in text for text in words)
    assert main(["sheets", str(ranked), "--out", str(tmp_path / "b.pdf"), "--only", "nothing"]) == 2


def test_a_ranking_without_profiles_or_roads_still_prints(ranked, tmp_path, monkeypatch):
    bare = tmp_path / "bare.gpkg"
    shutil.copy(ranked, bare)
    with closing(sqlite3.connect(bare)) as db, db:
        db.execute("DELETE FROM profiles")
        db.execute("UPDATE gpkg_ogr_contents SET feature_count = 0 WHERE table_name = 'profiles'")
        inputs = db.execute("SELECT value FROM run_info WHERE key = 'inputs'").fetchone()[0]
        gone = re.sub(r'"roads": "[^"]*"', '"roads": "/not/there.gpkg"', inputs)
        db.execute("UPDATE run_info SET value = ? WHERE key = 'inputs'", (gone,))
    sheets = drawn(monkeypatch, bare, tmp_path / "a.pdf", top=1)
    texts = " ".join(text.get_text() for sheet in sheets for text in sheet.figure.findobj(Text))
    assert "No profile is kept for this place." in texts
    assert "road map" in texts


def test_a_county_in_feet_is_drawn_in_one_place(corridor_feet_folder, tmp_path, monkeypatch):
    """The layers come in survey feet, the ground in metres: all of a sheet must lie together."""
    out = tmp_path / "ranked.gpkg"
    words = ["rank", str(corridor_feet_folder / "streams.gpkg")]
    words += [str(corridor_feet_folder / "dem.tif"), "--dem-units", "us-ft", "--units", "us"]
    words += ["--structures", str(corridor_feet_folder / "structures.gpkg")]
    assert main([*words, "--out", str(out), "--progress", "none"]) == 0
    sites = []
    real = document.gather
    monkeypatch.setattr(document, "gather", lambda *given: sites.extend(real(*given)) or sites)
    sheets = drawn(monkeypatch, out, tmp_path / "a.pdf", top=3)
    assert len(sites) == 3
    for site in sites:
        width_m = float(site.reach["top_width_m"])
        assert site.reach["geometry"].distance(site.bank["geometry"]) < width_m
        assert site.reach["geometry"].distance(site.line) < width_m
        for k in site.shown:
            assert site.sections.geometry.iloc[k].distance(site.line) < width_m
        # a length of line in metres is the length that the table has turned back from feet
        assert site.bank["geometry"].length == pytest.approx(site.bank["length_m"], rel=1e-3)
    texts = [text.get_text() for text in sheets[-1].figure.findobj(Text)]
    assert any(re.fullmatch(r"[\d,]+ ft", text) for text in texts)
