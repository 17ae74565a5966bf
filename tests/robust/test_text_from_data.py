"""Text from data is shown as text: it steers no terminal, no log reader, no table, no drawing."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from types import SimpleNamespace

import pyogrio
import pytest
from robust.cases import write_streams
from robust.judge import run
from robust.scenario import houses, lines
from robust.words import WORDS

STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""Control signs of ISO 6429 (C0 and C1, without tab and newline), and Unicode's signs that turn the
direction of text (UAX 9); together all that can move a cursor, set a colour or reorder a line."""


def threes():
    return [tuple(WORDS[i] for i in range(k, k + 3)) for k in range(0, len(WORDS) - 2, 3)]


@pytest.mark.parametrize("words", threes()[::6])
def test_names_reach_terminal_and_file_as_they_are_or_harmless(sound, tmp_path, words):
    path = write_streams(lines().assign(name=words), tmp_path / "streams.gpkg")
    built = houses().assign(kind=[*words, "barn"])
    built.to_file(tmp_path / "built.gpkg", layer="built")
    out = tmp_path / "out.gpkg"
    more = ["--structures", str(tmp_path / "built.gpkg"), "--structure-class-attribute", "kind"]
    for argv in (
        sound.argv(out, *more, streams=str(path)),
        ["check", str(path), str(sound["dem.tif"]), *more, "--progress", "none"],
        ["explain", str(out), "S0001-R0001"],
    ):
        code, said, err = run(argv)
        assert code == 0, err
        assert not STEERING.search(said + err)
    written = set(pyogrio.read_dataframe(out, layer="reaches")["stream_name"].dropna())
    assert written <= {word.strip() for word in words}


@pytest.mark.parametrize(
    "name", ["\x1b[31mred", "[bold]x[", "'; --", "{0}%s", "a\nb", "$x_{", "é小"]
)
def test_names_of_files_and_layers_in_errors(sound, tmp_path, name):
    for argv in (
        sound.argv(tmp_path / "out.gpkg", streams=str(tmp_path / f"{name}.gpkg")),
        sound.argv(tmp_path / "out.gpkg", streams=f"{sound['streams.gpkg']}|layername={name}"),
        sound.argv(tmp_path / "out.gpkg", "--set", f"inputs.{name}=1"),
        sound.argv(tmp_path / "out.gpkg", "--curve", name),
        ["columns", name],
    ):
        code, said, err = run(argv)
        assert code in (2, 3, 4)
        assert not STEERING.search(said + err)
        assert len(err.strip().splitlines()) <= 6


def test_progress_for_other_programs_is_one_json_object_a_line(sound, tmp_path):
    sly = write_streams(lines().assign(name=["a\nb", '"}\n{"event": "done"', "\x1b[2J"]),
                        tmp_path / "s.gpkg")  # fmt: skip
    argv = [word if word != "none" else "jsonl" for word in
            sound.argv(tmp_path / "out.gpkg", streams=str(sly))]  # fmt: skip
    code, _, err = run(argv)
    assert code == 0
    rows = [json.loads(line) for line in err.splitlines()]
    assert {row["event"] for row in rows} == {"progress"}
    shares = [row["fraction"] for row in rows]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_the_bar_on_a_terminal_reads_no_markup(sound, tmp_path):
    """Square brackets would be colours to the library that draws the bar, and [/] an error."""
    import os
    import pty

    sly = write_streams(lines().assign(name=["[bold]x", "[/]", "[link=x]"]), tmp_path / "s.gpkg")
    argv = [word if word != "none" else "bar" for word in
            sound.argv(tmp_path / "out.gpkg", streams=str(sly))]  # fmt: skip
    ours, theirs = pty.openpty()
    done = subprocess.Popen(
        [sys.executable, "-m", "reachrank", *argv], stdout=subprocess.PIPE, stderr=theirs
    )
    os.close(theirs)
    said = done.communicate(timeout=120)[0].decode()
    os.close(ours)
    assert done.returncode == 0
    assert "[bold]x" in said
    assert "[/]" in said


@pytest.mark.parametrize(
    "bank_id",
    ["../../out", "/etc/out", r"..\..\out", "C:out", "a\x00b", "\n", "", "x" * 400, "é|?*"],
)
def test_a_bank_in_a_changed_file_names_no_picture_elsewhere(tmp_path, bank_id):
    from reachrank.sheets.document import _picture_name

    name = _picture_name(0, SimpleNamespace(bank={"bank_id": bank_id}))
    assert re.fullmatch(r"001_[\w-]{0,60}\.png", name)
    assert (tmp_path / name).resolve().parent == tmp_path.resolve()
