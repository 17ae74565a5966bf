"""What a run does not carry is made again as the stages made it, and left rows come back."""

from __future__ import annotations

import weakref

import numpy as np
import pandas as pd
import pyogrio
import pytest
from robust.judge import run

from reachrank import rank
from reachrank.context import Inputs
from reachrank.errors import OutputError
from reachrank.pipeline import BATCHED, open_inputs, rank_opened, run_by_stream, run_stage
from reachrank.running import kept_work, table_arrays
from reachrank.running.carried import DROPPED, whole
from reachrank.running.kept_rows import leave, with_kept_rows
from reachrank.schema import PUBLIC_LAYERS
from reachrank.settings import Settings
from reachrank.write import write_ranked


@pytest.fixture
def eager(monkeypatch):
    from reachrank.running import batches

    monkeypatch.setattr(kept_work, "KEEP_FROM_KM", 0.0)
    monkeypatch.setattr(batches.batches_of_streams, "__defaults__", (0.1,))


def opened(sound):
    return open_inputs(
        Inputs(streams=str(sound["streams.gpkg"]), dem=(str(sound["dem.tif"]),)), Settings()
    )


def test_dropped_columns_follow_from_the_rest(sound):
    tables, ctx = opened(sound)
    with ctx.dem:
        tables = run_stage("network", tables, ctx)
        for names in BATCHED:
            tables = run_by_stream(names, tables, ctx)
    for layer, columns in DROPPED.items():
        made = tables[layer]
        assert len(made) > 3
        bare = pd.DataFrame(made).drop(columns=list(columns))
        again = whole(layer, bare.iloc[1:], tables, ctx.crs)
        assert again.crs == ctx.crs
        for name in columns:
            assert again[name].tolist() == made[name].iloc[1:].tolist(), (layer, name)
        assert whole(layer, made, tables, ctx.crs) is made


def test_rows_left_on_disk_come_back(sound, tmp_path, eager):
    """The command keeps its work and leaves rows there; the library has all in memory."""
    out, other = tmp_path / "command.gpkg", tmp_path / "library.gpkg"
    assert run([*sound.argv(out), "--profiles", "all"])[0] == 0
    ranking = rank(sound["streams.gpkg"], sound["dem.tif"], structures=sound["houses.gpkg"])
    ranking.write(other, profiles="all")
    for layer in sorted(set(PUBLIC_LAYERS) - {"run_info"}):
        a, b = (pyogrio.read_dataframe(path, layer=layer) for path in (out, other))
        assert a.equals(b), layer
    assert len(pyogrio.read_dataframe(out, layer="profiles")) > 10


@pytest.mark.parametrize("dtype", ["object", "str", "string"])
@pytest.mark.parametrize("texts", [
    ["S1"] * 9 + ["S2"] * 9, ["S1", "S1", None, None, None, "", "", "\u00e9\u00e9", "\u00e9"],
    [f"S{k}" for k in range(7)], [None] * 8, ["a"], [],
])  # fmt: skip
def test_kept_texts_come_back(sound, tmp_path, texts, dtype):
    """Ids stand in runs, and of a run one is kept."""
    tables, ctx = opened(sound)
    ctx.kept = kept_work.open_kept(tmp_path / "a.gpkg", tables["streams"], ctx, resume=False)
    column = pd.Series(texts, dtype=object).astype(dtype)
    kept = kept_work.KeptWork.begin(tmp_path / "b.gpkg", ctx)
    kept.keep("one", {"bends": pd.DataFrame({"bend_id": column})}, ctx.findings)
    pd.testing.assert_series_equal(kept.layer("one", "bends")["bend_id"], column, check_names=False)


@pytest.mark.parametrize("runs", [[9, 10], [-1, 19], [1 << 62, 2], [18]])
def test_runs_that_do_not_fit_the_table_are_damage(runs):
    texts = np.array(["S1", "S2"], object)
    with pytest.raises(ValueError, match="as long as the table"):
        table_arrays._in_runs(texts, np.array(runs, np.int64), 18)


def test_rows_left_on_disk_are_not_in_memory_too(sound, tmp_path, eager):
    tables, ctx = opened(sound)
    ctx.kept = kept_work.open_kept(tmp_path / "a.gpkg", tables["streams"], ctx, resume=False)
    step = np.arange(5.0)
    told = weakref.ref(step)
    made = {"profiles": pd.DataFrame({"step_m": step}, copy=False)}
    ctx.kept.keep("one", made, ctx.findings)
    del step
    assert told() is not None
    leave("one", made, ("profiles",), {"a"}, ctx)
    assert len(made["profiles"]) == 0
    assert told() is None  # an empty view would have held on to it
    back = with_kept_rows(made["profiles"], "profiles", {"a"}, ctx, lambda rows: rows.iloc[3:])
    assert back["step_m"].tolist() == [3.0, 4.0]


def test_a_run_holds_neither_profiles_nor_what_follows_from_the_rest(sound, tmp_path, eager):
    tables, ctx = opened(sound)
    ctx.kept = kept_work.open_kept(tmp_path / "a.gpkg", tables["streams"], ctx, resume=False)
    made = rank_opened(tables, ctx)
    assert len(made["profiles"]) == 0
    for layer, columns in DROPPED.items():
        assert len(made[layer])
        assert not set(columns) & set(made[layer])


def test_kept_work_that_is_changed_under_a_run_is_told(sound, tmp_path, eager):
    tables, ctx = opened(sound)
    out = tmp_path / "a.gpkg"
    ctx.kept = kept_work.open_kept(out, tables["streams"], ctx, resume=False)
    made = rank_opened(tables, ctx)
    for piece in kept_work.folder_of(out).glob("sections-*.zip"):
        piece.write_bytes(b"nothing of ours")
    with pytest.raises(OutputError, match="changed while it ran"):
        write_ranked(made, ctx, out, profiles="all")
    assert not out.exists()
