"""Nothing is overwritten unless told, nothing is half written, and no result is thrown away."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time

import pytest

from reachrank.errors import OutputError, UsageError
from reachrank.write.place import aside, check_target


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def put(target, text="new", **options):
    with aside(target, **options) as file:
        file.path.write_text(text)
    return file.landed


def test_the_file_lands_under_its_name_and_nothing_else_is_left(tmp_path):
    target = tmp_path / "a.gpkg"
    assert put(target) == target
    assert target.read_text() == "new"
    assert names(tmp_path) == ["a.gpkg"]


def test_an_existing_file_is_kept_without_overwrite_and_replaced_with_it(tmp_path):
    target = tmp_path / "a.gpkg"
    target.write_text("old")
    with pytest.raises(OutputError, match="The file exists"):
        put(target)
    assert target.read_text() == "old"
    put(target, overwrite=True)
    assert target.read_text() == "new"


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt])
def test_a_run_that_fails_leaves_what_was_there(tmp_path, error):
    target = tmp_path / "a.gpkg"
    target.write_text("old")

    def run():
        with aside(target, overwrite=True) as file:
            file.path.write_text("half")
            raise error

    with pytest.raises(error):
        run()
    assert target.read_text() == "old"
    assert names(tmp_path) == ["a.gpkg"]


def test_a_target_that_appears_meanwhile_is_not_overwritten(tmp_path):
    target = tmp_path / "a.gpkg"

    def run():
        with aside(target) as file:
            file.path.write_text("new")
            target.write_text("somebody else's")

    with pytest.raises(OutputError, match=r"a\.new\.gpkg"):
        run()
    assert target.read_text() == "somebody else's"
    assert (tmp_path / "a.new.gpkg").read_text() == "new"


def test_a_target_held_open_by_another_program_keeps_the_result_beside_it(tmp_path):
    # A desktop GIS holds a GeoPackage in write-ahead mode; replacing it under the log would mix
    # the two. Judge: SQLite itself, in another process that reads on undisturbed.
    target = tmp_path / "a.gpkg"
    holder = subprocess.Popen(
        [
            sys.executable, "-c",
            "import sqlite3, sys; db = sqlite3.connect(sys.argv[1]);"
            "db.execute('PRAGMA journal_mode=WAL'); db.execute('CREATE TABLE t (x)');"
            "db.execute('INSERT INTO t VALUES (42)'); db.commit(); print('open', flush=True);"
            "sys.stdin.readline(); print(db.execute('SELECT x FROM t').fetchone()[0])",
            str(target),
        ],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert holder.stdout.readline() == "open\n"
    with pytest.raises(OutputError, match=r"is open in another program.*a\.new\.gpkg") as caught:
        put(target, overwrite=True)
    assert caught.value.exit_code == 3
    assert (tmp_path / "a.new.gpkg").read_text() == "new"
    said, _ = holder.communicate("go on\n")
    assert said == "42\n"
    put(target, overwrite=True)  # and now that it is closed
    assert target.read_text() == "new"
    assert names(tmp_path) == ["a.gpkg", "a.new.gpkg"]


def test_a_permission_error_as_windows_gives_it_keeps_the_result_beside(tmp_path, monkeypatch):
    target = tmp_path / "a.gpkg"
    target.write_text("old")
    really = os.replace

    def refuse(source, to):
        if os.fspath(to) == os.fspath(target):
            raise PermissionError(13, "The process cannot access the file")
        really(source, to)

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OutputError, match=r"a\.new\.gpkg"):
        put(target, overwrite=True)
    assert target.read_text() == "old"
    assert (tmp_path / "a.new.gpkg").read_text() == "new"


def test_leavings_of_dead_runs_are_cleared_and_those_of_living_ones_kept(tmp_path):
    target = tmp_path / "a[1].gpkg"
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    with aside(target) as mine:
        mine.path.write_text("living")
        left = mine.path.with_name(mine.path.name.replace(f"-{os.getpid()}-", f"-{dead.pid}-"))
        left.write_text("dead")
        other_host = tmp_path / ".a[1].elsewhere-1-abcdef.part.gpkg"
        other_host.write_text("old")
        two_days_ago = time.time() - 2 * 86_400
        os.utime(other_host, (two_days_ago, two_days_ago))
        fresh = tmp_path / ".a[1].elsewhere-2-abcdef.part.gpkg"
        fresh.write_text("fresh")
        put(tmp_path / "a[1].gpkg")
        assert mine.path.exists()
        assert not left.exists()
        assert not other_host.exists()
        assert fresh.exists()
        target.unlink()


@pytest.mark.parametrize(
    ("name", "error", "says"),
    [
        ("a.shp", UsageError, "end in .gpkg"),
        ("none/a.gpkg", OutputError, "no folder"),
    ],
)
def test_a_target_that_cannot_be_is_refused_before_the_work(tmp_path, name, error, says):
    with pytest.raises(error, match=says):
        check_target(tmp_path / name, overwrite=True)


def test_an_input_is_never_written_over(tmp_path):
    target = tmp_path / "a.gpkg"
    target.write_text("input")
    with pytest.raises(UsageError, match="is an input"):
        check_target(target, overwrite=True, inputs=[tmp_path / "." / "a.gpkg"])


def test_a_readable_old_database_without_side_files_is_replaced(tmp_path):
    target = tmp_path / "a.gpkg"
    db = sqlite3.connect(target)
    db.execute("CREATE TABLE t (x)")
    db.close()
    put(target, overwrite=True)
    assert target.read_text() == "new"
