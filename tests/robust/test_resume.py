"""A run that was stopped goes on with --resume, to the same file, or says why it cannot."""

from __future__ import annotations

import json
import mmap
import sys
import zipfile

import numpy as np
import pandas as pd
import pyogrio
import pytest
from robust.judge import differences, run
from robust.stopping import held_at, stop

from reachrank.context import Inputs
from reachrank.findings import Findings
from reachrank.pipeline import open_inputs, rank_opened
from reachrank.running import kept_work
from reachrank.schema import PUBLIC_LAYERS
from reachrank.settings import Settings


@pytest.fixture
def eager(monkeypatch):
    from reachrank.running import batches

    monkeypatch.setattr(kept_work, "KEEP_FROM_KM", 0.0)
    monkeypatch.setattr(batches.batches_of_streams, "__defaults__", (0.1,))


def stop_at(sound, out, message):
    """Stop a run by Ctrl-C when it says a message; return what it said last."""
    return stop(held_at(message, sound.argv(out), keep=True))


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("message", ["sections", "priority"])
def test_a_stopped_run_goes_on_to_the_same_file(sound, tmp_path, eager, message):
    whole, out = tmp_path / "whole.gpkg", tmp_path / "out.gpkg"
    assert run(sound.argv(whole))[0] == 0
    said = stop_at(sound, out, message)
    assert "pieces of the work are kept; --resume goes on from there" in said
    kept = tmp_path / "out.gpkg.unfinished"
    assert (kept / "network.zip").is_file()
    assert not out.exists()
    code, _, err = run(sound.argv(out, "--resume"))
    assert code == 0, err
    assert not kept.exists()
    assert differences(out, whole) == []
    for name in PUBLIC_LAYERS:
        a, b = (pyogrio.read_dataframe(path, layer=name) for path in (out, whole))
        assert a.equals(b), name


def kept_run(sound, out):
    """Rank up to the end of the stages and leave the kept work where it is."""
    inputs = Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),))
    tables, ctx = open_inputs(inputs, Settings())
    ctx.kept = kept_work.open_kept(out, tables["streams"], ctx, resume=False)
    rank_opened(tables, ctx)
    return ctx


def test_what_is_kept_is_not_made_again(sound, tmp_path, eager, monkeypatch):
    out = tmp_path / "out.gpkg"
    ctx = kept_run(sound, out)
    ours = kept_work.folder_of(out)
    assert {p.name.partition("-")[0] for p in ours.glob("*-*.zip")} == {"channel", "sections"}
    from reachrank.channel import stage

    def again(*_args):
        raise AssertionError("made again")

    monkeypatch.setattr(stage, "find_channel", again)
    inputs = ctx.inputs
    tables, ctx = open_inputs(inputs, Settings())
    ctx.kept = kept_work.open_kept(out, tables["streams"], ctx, resume=True)
    assert len(rank_opened(tables, ctx)["reaches"])


def test_a_damaged_piece_is_made_again(sound, tmp_path, eager):
    whole, out = tmp_path / "whole.gpkg", tmp_path / "out.gpkg"
    assert run(sound.argv(whole))[0] == 0
    stop_at(sound, out, "priority")
    kept = sorted((tmp_path / "out.gpkg.unfinished").glob("*-*.zip"))
    kept[0].write_bytes(kept[0].read_bytes()[:-200])
    kept[1].write_bytes(b"PK, but nothing of ours")
    assert run(sound.argv(out, "--resume"))[0] == 0
    assert differences(out, whole) == []


@pytest.mark.parametrize("seed", range(12))
def test_a_changed_piece_is_taken_whole_or_not_at_all(sound, tmp_path, seed):
    """Bytes changed anywhere in a file, its directory and its check sums too, raise nothing."""
    inputs = Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),))
    tables, ctx = open_inputs(inputs, Settings())
    kept = kept_work.KeptWork.begin(tmp_path / "a.gpkg", ctx)
    kept.keep("one", {"streams": tables["streams"]}, Findings())
    path = kept_work.folder_of(tmp_path / "a.gpkg") / "one.zip"
    rng = np.random.default_rng(seed)
    data = np.frombuffer(path.read_bytes(), np.uint8).copy()
    data[rng.integers(0, data.size, 5)] ^= rng.integers(1, 256, 5).astype(np.uint8)
    path.write_bytes(data.tobytes())
    taken = kept.take("one")
    assert taken is None or len(taken[0]["streams"]) == len(tables["streams"])


def test_long_columns_of_what_was_kept_lie_in_files(sound, tmp_path):
    inputs = Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),))
    _, ctx = open_inputs(inputs, Settings())
    kept = kept_work.KeptWork.begin(tmp_path / "a.gpkg", ctx)
    given = {"long": pd.DataFrame({"a": np.arange(100_000.0), "b": ["S1", None] * 50_000}),
             "short": pd.DataFrame({"a": np.arange(10.0)})}  # fmt: skip
    kept.keep("one", given, Findings())
    taken, _ = kept.take("one", in_files=True)
    for layer, table in given.items():
        pd.testing.assert_frame_equal(taken[layer], table, check_dtype=False)
        assert taken[layer]["a"].to_numpy().flags.aligned
        assert not isinstance(_root_of(kept.layer("one", layer)["a"].to_numpy()), mmap.mmap)
    assert isinstance(_root_of(taken["long"]["a"].to_numpy()), mmap.mmap)
    assert not isinstance(_root_of(taken["short"]["a"].to_numpy()), mmap.mmap)


def _root_of(array):
    """Return what holds the numbers of an array in the end."""
    while isinstance(array, np.ndarray | memoryview):
        array = array.base if isinstance(array, np.ndarray) else array.obj
    return array


@pytest.mark.parametrize(("kind", "part"), [("lines", "0.starts"), ("points", "0")])
def test_shapes_that_are_none_are_damage(sound, tmp_path, kind, part):
    inputs = Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),))
    tables, ctx = open_inputs(inputs, Settings())
    kept = kept_work.KeptWork.begin(tmp_path / "a.gpkg", ctx)
    shapes = tables["streams"][["geometry"]]
    shapes = shapes if kind == "lines" else shapes.set_geometry(shapes.centroid)
    kept.keep("one", {"streams": shapes}, Findings())
    path = kept_work.folder_of(tmp_path / "a.gpkg") / "one.zip"
    with zipfile.ZipFile(path) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    first = json.loads(parts["about.json"])["tables"]["streams"]["arrays"][part][2]
    with zipfile.ZipFile(path, "w") as file:  # whole as a file, its check sums right
        for name, data in parts.items():
            spoilt = data[:first] + b"\x07" * 20 + data[first + 20 :]
            file.writestr(name, spoilt if name == "streams.arrays" else data)
    assert kept.take("one") is None


def test_other_inputs_settings_or_versions_are_refused(sound, tmp_path, eager, monkeypatch):
    out = tmp_path / "out.gpkg"
    kept_run(sound, out)
    inputs = Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),))
    before = {p.name: p.read_bytes() for p in kept_work.folder_of(out).iterdir()}

    def going_on(ctx):
        with pytest.raises(kept_work.UsageError) as told:
            kept_work.KeptWork.go_on(out, ctx)
        return str(told.value)

    _, ctx = open_inputs(inputs, Settings())
    kept_work.KeptWork.go_on(out, ctx)  # the same: no error
    ctx.facts["input.dem"] += " "
    assert "other dem" in going_on(ctx)
    _, ctx = open_inputs(inputs, Settings())
    ctx.settings = kept_work_settings()
    assert "other settings" in going_on(ctx)
    _, ctx = open_inputs(inputs, Settings())
    monkeypatch.setattr(kept_work, "versions", lambda: {"numpy": "0"})
    assert "other versions" in going_on(ctx)
    assert {p.name: p.read_bytes() for p in kept_work.folder_of(out).iterdir()} == before


def kept_work_settings():
    from dataclasses import replace

    usual = Settings()
    return replace(usual, sections=replace(usual.sections, spacing_m=7.0))


def test_nothing_to_go_on_with(sound, tmp_path):
    code, _, err = run(sound.argv(tmp_path / "out.gpkg", "--resume"))
    assert code == 2
    assert "There is no stopped run" in err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_somebody_else_is_left_alone(sound, tmp_path, eager):
    out = tmp_path / "out.gpkg"
    other = tmp_path / "out.gpkg.unfinished"
    other.mkdir()
    (other / "letter.txt").write_text("mine")
    assert run(sound.argv(out))[0] == 0
    assert (other / "letter.txt").read_text() == "mine"
    assert [path.name for path in other.iterdir()] == ["letter.txt"]


def test_a_full_disk_only_ends_the_keeping(sound, tmp_path, eager, monkeypatch):
    def full(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(kept_work, "_write_whole", full)
    out = tmp_path / "out.gpkg"
    assert run(sound.argv(out))[0] == 0
    assert out.is_file()
    assert not kept_work.folder_of(out).exists()


def test_every_type_of_column_comes_back(sound, tmp_path):
    inputs = Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),))
    tables, ctx = open_inputs(inputs, Settings())
    kept = kept_work.KeptWork.begin(tmp_path / "a.gpkg", ctx)
    table = pd.DataFrame(
        {
            "text": pd.Series(["é, 'x'", None, ""], dtype=object),
            "number": [0.1, np.nan, -np.inf],
            "count": pd.array([1, None, 2**60], dtype="Int64"),
            "whole": np.array([1, 2, 3]),
            "sure": [True, False, True],
            "perhaps": pd.array([True, None, False], dtype="boolean"),
        }
    )
    findings = Findings()
    findings.add("info", "a", "b", station_m=0.1, geometry=tables["streams"].geometry.iloc[0])
    findings.add("warning", "c", "d", source_id="7")
    kept.keep("one", {"t": table, "streams": tables["streams"][["geometry"]]}, findings)
    back, told = kept.take("one")
    pd.testing.assert_frame_equal(back["t"], table)
    assert back["streams"].geometry.geom_equals_exact(tables["streams"].geometry, 0).all()
    assert told.rows == findings.rows
    assert kept.take("another") is None
