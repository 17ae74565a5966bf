"""What `reachrank rank` says at its end: units first, five places with reasons, cautions."""

from __future__ import annotations

import json

import pytest

from reachrank import pipeline
from reachrank.__main__ import main
from reachrank.ranking import Ranking


@pytest.fixture
def ranked(made_run, monkeypatch, tmp_path):
    made_run.ctx.facts["units"] = "Elevations in metres."
    reaches = made_run.tables["reaches"]
    reaches["rank"] = [2, 1, None]
    reaches["rank"] = reaches["rank"].astype("Int64")
    reaches["stream_name"] = ["Mill Run", "\x1b[2JEvil [bold]Brook", None]
    reaches["reason"] = ["Low.", "Bank 2.4 m high.\x07", None]
    reaches["station_from_m"] = [0.0, 304.8, 0.0]
    reaches["station_to_m"] = [100.0, 609.6, 0.0]

    def opened(_inputs, _settings, *, progress, jobs):
        assert jobs == 2
        progress(0.5, "read")
        return {"streams": made_run.tables["reaches"].iloc[:0]}, made_run.ctx

    monkeypatch.setattr(pipeline, "open_inputs", opened)
    monkeypatch.setattr(pipeline, "rank_opened", lambda _tables, ctx, **_: made_run.tables)
    monkeypatch.chdir(tmp_path)
    return made_run


def rank(*more):
    return main(["rank", "a.gpkg", "b.tif", "--out", "c.gpkg", "--jobs", "2", *more])


def test_first_the_units_then_the_places_then_cautions_then_what_to_open(ranked, capsys, tmp_path):
    assert rank("--progress", "none") == 0
    said = capsys.readouterr()
    lines = said.out.splitlines()
    assert lines[0] == "Elevations in metres."
    text = said.out
    places = [text.index(word) for word in ("   1  ", "   2  ", "Cautions:", "c.gpkg")]
    assert places == sorted(places)
    assert "The first 2 of 3 reaches" in text
    assert "811" in text
    assert "not a design" in text
    assert said.err == ""
    assert (tmp_path / "c.gpkg").exists()


def test_names_from_data_are_shown_as_they_are_and_do_nothing(ranked, capsys):
    assert rank("--progress", "none") == 0
    text = capsys.readouterr().out
    assert "[2JEvil [bold]Brook" in text
    assert not [letter for letter in text if letter != "\n" and not letter.isprintable()]


def test_us_units_are_spoken_too(ranked, capsys):
    assert rank("--progress", "none", "--units", "us") == 0
    text = capsys.readouterr().out
    # 304.8 m are 1,000 ft and 609.6 m are 2,000 ft (0.3048 m to the foot, NBS 1959)
    assert "station 1,000 to 2,000 ft" in text
    assert "Bank 7.9 ft high." in text


def test_progress_as_json_lines_on_stderr(ranked, capsys):
    assert rank("--progress", "jsonl") == 0
    said = capsys.readouterr()
    told = [json.loads(line) for line in said.err.splitlines()]
    fractions = [row["fraction"] for row in told]
    assert {row["event"] for row in told} == {"progress"}
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0
    assert "progress" not in said.out


def test_the_ranking_object_shows_the_same(ranked):
    ranking = Ranking(ranked.tables, ranked.ctx)
    assert list(ranking.top(1)["rank"]) == [1]
    assert "3 reaches" in repr(ranking)
    page = ranking._repr_html_()
    assert "<td>Mill Run</td>" in page
    assert "\x1b" not in page
    assert "<td>" in page
    assert str(ranking).startswith("The first 2 of 3 reaches")


def test_the_html_of_a_ranking_escapes_names(ranked):
    ranked.tables["reaches"]["stream_name"] = "<script>alert(1)</script>"
    assert "<script>" not in Ranking(ranked.tables, ranked.ctx)._repr_html_()
