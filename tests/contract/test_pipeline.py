"""The order of stages, and batches of streams that give what one batch would."""

from __future__ import annotations

import contextlib
from functools import partial
from types import SimpleNamespace

import geopandas as gpd
import pandas as pd
import pytest
from shapely.geometry import LineString

from reachrank import pipeline
from reachrank.context import with_tables
from reachrank.errors import UsageError
from reachrank.findings import Findings
from reachrank.pipeline import STAGES, run_by_stream, run_stage
from reachrank.running.batches import batches_of_streams
from reachrank.running.beside import Beside
from reachrank.settings import Settings


def edges():
    """Six streams of 1 to 6 km in two catchments, the longer ones in the first."""
    rows = [
        {
            "stream_id": f"S{n}",
            "catchment": 0 if n > 3 else 1,
            "geometry": LineString([(0, 100 * n), (1000.0 * n, 100 * n)]),
        }
        for n in (3, 1, 6, 2, 5, 4)
    ]
    return gpd.GeoDataFrame(rows, geometry="geometry", crs=26915)


def test_every_stage_between_is_a_package_with_run():
    from importlib import import_module

    for name in STAGES[1:-1]:
        assert callable(import_module(f"reachrank.{name}").run), name


def test_batches_follow_catchments_and_stay_within_their_length():
    batches = list(batches_of_streams({"edges": edges()}, batch_km=9.0))
    # first catchment: 4 + 5 km, then 6 km alone with 1 + 2 km of the second, then 3 km
    assert batches == [{"S4", "S5"}, {"S6", "S1", "S2"}, {"S3"}]
    assert list(batches_of_streams({"edges": edges()}, batch_km=0.1)) == [
        {s} for s in ("S4", "S5", "S6", "S1", "S2", "S3")
    ]
    assert list(batches_of_streams({"edges": edges().iloc[:0]})) == [set()]


def fake_stages(calls):
    def channel(tables, ctx):
        calls.append(sorted(tables["edges"]["stream_id"]))
        points = pd.DataFrame(
            {"stream_id": sorted(tables["edges"]["stream_id"]), "bend_id": None, "station_m": 1.5}
        )
        for stream in sorted(tables["edges"]["stream_id"]):
            ctx.findings.add("info", "seen", "Seen.", source_id=stream)
        ctx.progress(1.0, "channel")
        return with_tables(tables, channel_points=points)

    def planform(tables, ctx):
        points = tables["channel_points"]
        bends = points.loc[points["stream_id"] != "S4", ["stream_id"]].assign(length_m=2.0)
        return with_tables(tables, bends=bends, channel_points=points.assign(curvature_per_m=0.0))

    return {"channel": channel, "planform": planform}


@pytest.fixture
def fakes(monkeypatch):
    calls: list[list[str]] = []
    stages = fake_stages(calls)
    monkeypatch.setattr(
        pipeline, "import_module", lambda name: SimpleNamespace(run=stages[name.split(".")[1]])
    )
    return calls


def context(**more):
    dem = contextlib.nullcontext()
    dem.forget = dem.drop_ahead = lambda: None
    dem.loads = []
    dem.load = lambda lines, half_width_m, _progress: dem.loads.append((len(lines), half_width_m))
    silent = {"progress": lambda _fraction, _message: None, "dem": dem, "settings": Settings()}
    alone = {"jobs": 1, "kept": None, "workers": None, "findings": Findings()}
    inputs = SimpleNamespace(area_raster=None)
    return SimpleNamespace(**{**silent, **alone, "inputs": inputs, **more})


@pytest.mark.parametrize("jobs", [1, 3])
@pytest.mark.parametrize("batch_km", [0.1, 9.0, 1000.0])
def test_the_result_does_not_depend_on_the_batches(fakes, monkeypatch, batch_km, jobs):
    monkeypatch.setattr(
        pipeline, "batches_of_streams", lambda tables: batches_of_streams(tables, batch_km)
    )
    said: list[float] = []
    ctx = context(progress=lambda fraction, _message: said.append(fraction), jobs=jobs)
    given = {"edges": edges(), "streams": pd.DataFrame({"source_id": ["0"]})}
    before = {name: table.copy() for name, table in given.items()}
    made = run_by_stream(("channel", "planform"), given, ctx)
    assert list(made["channel_points"]["stream_id"]) == ["S1", "S2", "S3", "S4", "S5", "S6"]
    assert list(made["channel_points"].index) == list(range(6))
    assert set(made["channel_points"]["curvature_per_m"]) == {0.0}
    assert list(made["bends"]["stream_id"]) == ["S1", "S2", "S3", "S5", "S6"]
    assert made["edges"] is given["edges"]
    assert said == sorted(said)
    assert all(table.equals(before[name]) for name, table in given.items())
    assert sum(len(call) for call in fakes) == 6
    # told in the order of the batches, whichever was done first
    in_order = [s for batch in batches_of_streams(given, batch_km) for s in sorted(batch)]
    assert [row["source_id"] for row in ctx.findings.rows] == in_order


def test_points_are_let_go_when_the_sections_are_cut(monkeypatch):
    seen: dict[str, set[str]] = {}

    def stage(name):
        def run(tables, _ctx):
            seen[name] = set(tables)
            reads, new = {
                "channel": ("edges", "channel_points"), "sections": ("channel_points", "sections")
            }.get(name, (None, None))  # fmt: skip
            made = {new: tables[reads][["stream_id"]].copy()} if reads else {}
            if name == "channel":
                made["channel"] = tables["edges"][["stream_id", "geometry"]]
            if name == "sections":  # the channels beside are there, the far ones are not
                own = {int(s[1]) for s in tables["channel_points"]["stream_id"]}
                near = {n for n in range(1, 7) if min(abs(n - k) for k in own) <= 1}
                assert {int(s[1]) for s in tables["channel"]["stream_id"]} == near
                assert {int(s[1]) for s in tables["channel_points"]["stream_id"]} == own
            return with_tables(tables, **made)

        return run

    monkeypatch.setattr(
        pipeline, "import_module", lambda name: SimpleNamespace(run=stage(name.split(".")[1]))
    )
    monkeypatch.setattr(
        pipeline, "batches_of_streams", lambda tables: batches_of_streams(tables, 9.0)
    )
    ctx = context()
    given = {"edges": edges(), "streams": edges().assign(attribute_area_km2=1.0)}
    made = pipeline.rank_opened(given, ctx)
    assert len(made["sections"]) == 6
    assert list(seen) == list(STAGES[1:-1])
    assert "channel_points" in seen["sections"]
    assert "channel_points" not in seen["reaches"]
    assert "channel_points" in pipeline.rank_opened(given, ctx, keep_points=True)
    assert ctx.dem.loads[0] == (6, 54.0)  # all streams at once, 30 m search and two looks of 12 m


def test_work_beside_the_stages_is_put_in_at_the_end(monkeypatch):
    def stage(name):
        def run(tables, ctx):
            if name == "priority" and ctx.beside:
                put = lambda now, seven: with_tables(now, firm=seven)  # noqa: E731
                ctx.beside.begin(lambda _ctx: 7, put, ctx)
            assert "firm" not in tables
            return tables if name != "sections" else with_tables(tables, channel_points=edges())

        return run

    monkeypatch.setattr(
        pipeline, "import_module", lambda name: SimpleNamespace(run=stage(name.split(".")[1]))
    )
    given = {"edges": edges(), "streams": edges().assign(attribute_area_km2=1.0)}
    given |= dict.fromkeys(("channel", "channel_points", "sections"), edges())
    ctx = context(jobs=2)
    assert pipeline.rank_opened(given, ctx)["firm"] == 7
    assert ctx.beside is None
    assert "firm" not in pipeline.rank_opened(given, context())
    monkeypatch.setattr(pipeline, "MOST_SECTIONS_BESIDE", 5)  # of six sections
    assert "firm" not in pipeline.rank_opened(given, context(jobs=2))


def test_what_goes_wrong_beside_the_stages_is_told():
    with contextlib.closing(Beside()) as beside:
        beside.begin(lambda _ctx: 1 / 0, lambda tables, _made: tables, context())
        with pytest.raises(ZeroDivisionError):
            beside.end({})


def test_findings_of_what_goes_on_beside_stand_where_it_was_begun():
    def find(word, ctx):
        ctx.findings.add("info", word, word)
        return word

    ctx, said = context(), lambda word: ctx.findings.add("info", word, word)
    with contextlib.closing(Beside()) as beside:
        said("1")
        beside.begin(partial(find, "2"), lambda tables, word: {**tables, word: word}, ctx)
        said("3")
        beside.begin(partial(find, "4"), lambda tables, word: {**tables, word: word}, ctx)
        said("5")
        assert beside.end({}) == {"2": "2", "4": "4"}
        assert beside.end({}) == {}
    assert [row["code"] for row in ctx.findings.rows] == ["1", "2", "3", "4", "5"]


def test_an_unknown_stage_is_a_usage_error():
    with pytest.raises(UsageError, match="There is no stage 'polish'"):
        run_stage("polish", {}, SimpleNamespace())
