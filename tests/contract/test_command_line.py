"""Every command: help, exit codes, which stream says what, and nothing from data that acts."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from reachrank import pipeline
from reachrank.__main__ import main
from reachrank.commands import COMMANDS
from reachrank.errors import InputError
from reachrank.report.plain import plain
from reachrank.schema import LAYERS, PUBLIC_LAYERS


def run(*words, **env):
    return subprocess.run(
        [sys.executable, "-m", "reachrank", *words],
        capture_output=True, text=True, check=False, env={**os.environ, **env},
    )  # fmt: skip


@pytest.fixture
def in_empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command, capsys):
    assert main([command, "--help"]) == 0
    said = capsys.readouterr()
    assert said.out.startswith(f"Usage: reachrank {command}")
    assert said.err == ""


def test_help_is_there_at_once():
    """Half a second is a limit of ours: no geometry library may be loaded for a page of help."""
    code = (
        "import sys; sys.argv = ['reachrank', '--help']; from reachrank.__main__ import main; "
        "main(); heavy = ('numba', 'geopandas', 'pandas', 'rasterio'); "
        "print([name for name in heavy if name in sys.modules])"
    )
    began = time.perf_counter()
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    took_s = time.perf_counter() - began
    assert said.stdout.splitlines()[-1] == "[]"
    assert took_s < 0.5
    for command, text in COMMANDS.items():
        assert command in said.stdout
        assert text.split()[0] in said.stdout


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["nonsense"], 2, "No such command"),
        (["rank"], 2, "Missing argument"),
        (["rank", "a.gpkg", "b.tif", "--out", "c.gpkg", "--units", "cubits"], 2, "cubits"),
        (["rank", "a.gpkg", "b.tif", "--out", "c.shp"], 2, "end in .gpkg"),
        (["rank", "a.gpkg", "b.tif", "--out", "c.gpkg", "--profiles", "-3"], 2, "--profiles"),
        (["rank", "a.gpkg", "b.tif", "--out", "no/such/c.gpkg"], 3, "no folder"),
        (["rank", "a.gpkg", "b.tif", "--out", "c.gpkg", "--set", "inputs.nothing=1"], 4, "nothing"),
        (["settings", "--settings", "no-such.toml"], 4, "no-such.toml"),
        (["columns", "no_such_column"], 2, "no_such_column"),
    ],
)
@pytest.mark.usefixtures("in_empty_folder")
def test_exit_codes_and_one_clear_line(words, code, says, capsys):
    assert main(words) == code
    said = capsys.readouterr()
    assert says in said.err
    assert said.out == ""
    assert "Traceback" not in said.err


def failing(error):
    def fail(*_args, **_kwargs):
        raise error

    return fail


RANK = ["rank", "a.gpkg", "b.tif", "--out", "c.gpkg", "--progress", "none"]


def test_an_error_of_ours_is_one_line_on_stderr(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    error = InputError("It has \x1b[31mno\nlines.", hint="Draw some.", where="a.gpkg")
    monkeypatch.setattr(pipeline, "open_inputs", failing(error))
    assert main(RANK) == 3
    said = capsys.readouterr()
    assert said.err == "reachrank: error: a.gpkg: It has [31mno lines. Draw some.\n"


def test_an_unexpected_error_keeps_its_trace_in_a_file(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(pipeline, "open_inputs", failing(ZeroDivisionError("by zero")))
    assert main(RANK) == 70
    said = capsys.readouterr().err
    assert "ZeroDivisionError" in said
    assert "Traceback" not in said
    (kept,) = tmp_path.glob("reachrank-error-*.txt")
    assert str(kept) in said
    assert "Traceback" in kept.read_text()
    assert main([*RANK, "--debug"]) == 70
    assert "Traceback" in capsys.readouterr().err


def test_stopping_is_130(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(pipeline, "open_inputs", failing(KeyboardInterrupt()))
    assert main(RANK) == 130
    assert capsys.readouterr().err.strip() == "Stopped. Nothing was written."


def test_a_closed_pipe_is_no_error():
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "w") as closed:
        said = subprocess.run(
            [sys.executable, "-m", "reachrank", "columns", "reaches"],
            stdout=closed, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert said.returncode == 0
    assert said.stderr == ""


def test_a_terminal_without_the_letter_still_gets_the_line():
    said = run("columns", "reaches", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert said.returncode == 0
    assert "drainage_area_km2" in said.stdout


def test_columns_tells_every_public_column(capsys):
    for name in PUBLIC_LAYERS:
        assert main(["columns", name]) == 0
        told = capsys.readouterr().out
        assert all(f"  {column.name}  (" in told for column in LAYERS[name])
    assert main(["columns", "length_ft"]) == 0
    assert "Unit: ft." in capsys.readouterr().out


def test_settings_printed_are_settings_read(capsys, tmp_path):
    assert main(["settings", "--set", "inputs.least_line_m=0.5"]) == 0
    printed = capsys.readouterr().out
    file = tmp_path / "a.toml"
    file.write_text(printed, encoding="utf-8")
    assert main(["settings", "--settings", str(file)]) == 0
    assert capsys.readouterr().out == printed
    assert "least_line_m = 0.5" in printed


@pytest.mark.parametrize("bad", ["\x1b]0;title\x07", "a\u202egnp.exe", "line\nbreak", "\x9b31m"])
def test_text_from_data_cannot_act_on_a_terminal(bad):
    shown = plain(bad)
    assert shown.isprintable()
    assert "\u202e" not in shown


def test_no_command_prints_from_the_library_layer():
    """Only commands and the entry point write to the terminal."""
    package = Path(pipeline.__file__).parent
    for file in package.rglob("*.py"):
        if "commands" in file.parts or file.name == "__main__.py":
            continue
        lines = file.read_text(encoding="utf-8").splitlines()
        code = [line.strip() for line in lines if not line.strip().startswith((">>>", "..."))]
        assert not [line for line in code if line.startswith(("print(", "click.echo("))], file
