"""`reachrank map` as a user types it."""

from __future__ import annotations

import re

import pytest

from reachrank.__main__ import main


@pytest.fixture(scope="module")
def ranked(corridor_folder, tmp_path_factory):
    path = tmp_path_factory.mktemp("ranked") / "ranked.gpkg"
    streams, dem = corridor_folder / "streams.gpkg", corridor_folder / "dem.tif"
    assert main(["rank", str(streams), str(dem), "--out", str(path), "--progress", "none"]) == 0
    return path


def test_a_page_with_shaded_ground(ranked, corridor_folder, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1777627800")
    page = tmp_path / "priority.html"
    command = ["map", str(ranked), "--dem", str(corridor_folder / "dem.tif"), "--out", str(page)]
    assert main([*command, "--title", "Banks <of> Mill & Run", "--progress", "none"]) == 0
    told = capsys.readouterr().out
    assert re.search(r"\d+ reaches, \d+ of them in detail; \d\.\d MB", told)
    html = page.read_text("utf-8")
    assert "<title>Banks &lt;of&gt; Mill &amp; Run</title>" in html
    assert html.count("data:image/webp") > 1  # the whole, and tiles
    assert "1 May 2026, 09:30" in html  # 1777627800 s after 1970, UTC
    first = page.read_bytes()
    assert main([*command, "--title", "Banks <of> Mill & Run", "--progress", "none"]) == 3
    assert "The file exists" in capsys.readouterr().err
    assert main([*command, "--title", "Banks <of> Mill & Run", "--overwrite",
                 "--progress", "none"]) == 0  # fmt: skip
    assert page.read_bytes() == first


def test_a_page_without_a_dem(ranked, tmp_path):
    page = tmp_path / "priority.html"
    assert main(["map", str(ranked), "--out", str(page), "--progress", "none"]) == 0
    assert "data:image/webp" not in page.read_text("utf-8")


def test_what_cannot_work_is_told(ranked, corridor_folder, tmp_path, capsys):
    assert main(["map", str(ranked), "--out", str(tmp_path / "priority.pdf")]) == 2
    assert ".html" in capsys.readouterr().err
    streams = str(corridor_folder / "streams.gpkg")
    assert main(["map", streams, "--out", str(tmp_path / "a.html"), "--progress", "none"]) == 3
    assert "reachrank rank" in capsys.readouterr().err
    assert not list(tmp_path.glob("*.html"))
