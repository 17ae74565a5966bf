"""The commands as a user types them, on a short made stream."""

from __future__ import annotations

import shutil

import geopandas as gpd
import numpy as np
import pyogrio
import pytest

import reachrank
from reachrank.__main__ import main
from reachrank.schema import LAYERS, PUBLIC_LAYERS
from reachrank.units import to_metric

STEPS = (
    "network", "channel", "planform", "sections", "reaches", "exposure", "hazard", "priority",
    "repairs",
)  # fmt: skip


def inputs(folder):
    return [
        str(folder / "streams.gpkg"),
        str(folder / "dem.tif"),
        "--structures",
        str(folder / "structures.gpkg"),
    ]


@pytest.fixture(scope="session")
def ranked(corridor_folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("ranked") / "ranked.gpkg"
    assert main(["rank", *inputs(corridor_folder), "--out", str(out), "--progress", "none"]) == 0
    return out


def layer(path, name):
    return pyogrio.read_dataframe(path, layer=name)


def assert_same_layer(a, b, skip=()):
    assert list(a.columns) == list(b.columns)
    assert len(a) == len(b)
    for name in a.columns:
        if name in skip:
            continue
        if name == "geometry":
            assert (a.geometry.to_wkb().fillna(b"") == b.geometry.to_wkb().fillna(b"")).all()
        else:
            assert a[name].equals(b[name]), name


def test_every_public_layer_is_there_and_the_ranks_are_a_ranking(ranked):
    assert {name for name, _ in pyogrio.list_layers(ranked)} == {*PUBLIC_LAYERS, "layer_styles"}
    reaches = layer(ranked, "reaches")
    assert len(reaches) > 5
    # 1 is first, ties share a rank and the next is skipped: standard competition ranking
    order = (-reaches["priority_score"]).rank(method="min").astype(int)
    assert (reaches["rank"] == order).all()
    assert reaches["reason"].notna().all()


def test_the_chain_of_steps_gives_what_rank_gives(ranked, corridor_folder, tmp_path):
    before = tmp_path / "00.gpkg"
    quiet = ["--progress", "none"]
    assert main(["step", "read", *inputs(corridor_folder), "--out", str(before), *quiet]) == 0
    for step in STEPS:
        after = tmp_path / f"{step}.gpkg"
        assert main(["step", step, str(before), "--out", str(after), *quiet]) == 0
        before = after
    out = tmp_path / "ranked.gpkg"
    assert main(["step", "write", str(before), "--out", str(out)]) == 0
    for name in PUBLIC_LAYERS:
        assert_same_layer(layer(ranked, name), layer(out, name))


def test_a_step_can_be_redone_with_another_setting(corridor_folder, tmp_path):
    quiet = ["--progress", "none"]
    first, second, third = (str(tmp_path / f"{n}.gpkg") for n in (1, 2, 3))
    assert main(["step", "read", *inputs(corridor_folder), "--out", first, *quiet]) == 0
    assert main(["step", "network", first, "--out", second, *quiet]) == 0
    changed = ["--set", "inputs.least_line_m=0.25"]
    assert main(["step", "channel", second, "--out", third, *changed, *quiet]) == 0
    info = layer(third, "run_info").set_index("key")["value"]
    assert '"least_line_m":0.25' in info["settings"]
    assert info["stage"] == "channel"


def test_a_ranked_file_is_not_taken_for_a_step(ranked, tmp_path, capsys):
    out = str(tmp_path / "a.gpkg")
    assert main(["step", "hazard", str(ranked), "--out", out]) == 3
    assert "finished ranking" in capsys.readouterr().err


def test_the_same_run_again_gives_the_same_rows(ranked, corridor_folder, tmp_path):
    out = tmp_path / "again.gpkg"
    assert main(["rank", *inputs(corridor_folder), "--out", str(out), "--jobs", "2"]) == 0
    for name in PUBLIC_LAYERS:
        assert_same_layer(layer(ranked, name), layer(out, name))


def test_us_units_are_the_same_ranking_in_feet(ranked, corridor_folder, tmp_path):
    out = tmp_path / "us.gpkg"
    arguments = ["rank", *inputs(corridor_folder), "--out", str(out), "--units", "us"]
    assert main([*arguments, "--progress", "none"]) == 0
    for name in ("reaches", "banks", "sections", "repairs", "factors"):
        metric = layer(ranked, name)
        back = to_metric(layer(out, name), LAYERS[name].names)
        assert list(back.columns) == list(metric.columns)
        for column in metric.select_dtypes("number"):
            np.testing.assert_allclose(back[column], metric[column], rtol=1e-14, err_msg=column)
    text = " ".join(layer(out, "reaches")["reason"])
    assert " ft high" in text
    assert " m high" not in text


def test_a_dem_in_survey_feet_gives_the_same_ranking(
    ranked, corridor_folder, corridor_feet_folder, tmp_path
):
    """Feet and metres agree: the same ground, stored in U.S. survey feet both ways."""
    out = tmp_path / "feet.gpkg"
    arguments = [*inputs(corridor_feet_folder), "--out", str(out), "--progress", "none"]
    assert main(["rank", *arguments]) == 0
    metric, feet = layer(ranked, "reaches"), layer(out, "reaches")
    assert feet.crs.axis_info[0].unit_name == "US survey foot"
    # written coordinates are in the DEM's own feet: 3937/1200 per metre
    a, b = metric.geometry.iloc[0].coords[0], feet.geometry.iloc[0].coords[0]
    # float32 elevations in feet round otherwise than in metres, to about 2e-5 m at 200 m; the
    # found channel may move by as much as that changes a fit, well within a tenth of a cell
    np.testing.assert_allclose(np.array(b) * 1200 / 3937, a, atol=0.1)
    # which moves scores by a few tenths of a point, and with them the order of near ties only
    score = metric["priority_score"].to_numpy()
    assert np.median(np.abs(feet["priority_score"].to_numpy() - score)) < 0.5
    first, second = np.triu_indices(len(score), 1)
    apart = np.abs(score[first] - score[second]) > 3.0
    order = np.sign(score[first] - score[second])
    theirs = feet["priority_score"].to_numpy()
    assert apart.sum() > 20
    assert (np.sign(theirs[first] - theirs[second]) == order)[apart].all()


def test_the_python_call_gives_what_the_command_wrote(ranked, corridor_folder):
    ranking = reachrank.rank(
        corridor_folder / "streams.gpkg",
        corridor_folder / "dem.tif",
        structures=corridor_folder / "structures.gpkg",
    )
    written = layer(ranked, "reaches")
    assert list(ranking.reaches["priority_score"]) == list(written["priority_score"])
    assert ranking.top(3)["rank"].iloc[0] == 1
    for name in PUBLIC_LAYERS:
        assert len(getattr(ranking, name)) >= len(layer(ranked, name))


def test_an_existing_result_is_not_overwritten_and_no_work_is_done(ranked, corridor_folder, capsys):
    before = ranked.read_bytes()
    assert main(["rank", *inputs(corridor_folder), "--out", str(ranked)]) == 3
    assert "--overwrite" in capsys.readouterr().err
    assert ranked.read_bytes() == before


def test_an_input_is_not_written_over(corridor_folder, tmp_path, capsys):
    streams = tmp_path / "streams.gpkg"
    shutil.copy(corridor_folder / "streams.gpkg", streams)
    dem = str(corridor_folder / "dem.tif")
    arguments = ["rank", f"{streams}|layername=streams", dem, "--out", str(streams)]
    assert main([*arguments, "--overwrite"]) == 2
    assert "input" in capsys.readouterr().err
    assert len(gpd.read_file(streams)) > 0


def test_without_structures_it_still_ranks(corridor_folder, tmp_path):
    out = tmp_path / "a.gpkg"
    arguments = inputs(corridor_folder)[:2]
    assert main(["rank", *arguments, "--out", str(out), "--progress", "none"]) == 0
    assert layer(out, "reaches")["rank"].notna().any()


def test_check_says_what_is_there_without_writing(corridor_folder, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["check", *inputs(corridor_folder), "--progress", "none"]) == 0
    said = capsys.readouterr().out
    assert "metres" in said.splitlines()[0]
    assert "building 3" in said
    assert list(tmp_path.iterdir()) == []


def test_traced_lines_can_be_ranked(corridor_folder, tmp_path, capsys):
    lines = tmp_path / "traced.gpkg"
    dem = str(corridor_folder / "dem.tif")
    traced = ["trace", dem, "--out", str(lines), "--min-area-km2", "0.05", "--progress", "none"]
    assert main(traced) == 0
    assert "Rank them:" in capsys.readouterr().out
    assert len(gpd.read_file(lines, layer="streams")) >= 1
    out = tmp_path / "a.gpkg"
    assert main(["rank", str(lines), dem, "--out", str(out), "--progress", "none"]) == 0
    assert layer(out, "reaches")["rank"].notna().any()


def test_draws_and_the_crew_s_capacity_are_options(corridor_folder, tmp_path):
    out = tmp_path / "few.gpkg"
    arguments = ["rank", *inputs(corridor_folder), "--out", str(out), "--progress", "none"]
    assert main([*arguments, "--draws", "200", "--top-n", "3"]) == 0
    reaches = layer(out, "reaches")
    # every draw fills three places: ties aside the shares sum to three
    assert reaches["top_share"].sum() == pytest.approx(3.0, abs=0.1)
    # shares are whole numbers of two hundredths
    np.testing.assert_allclose(reaches["top_share"] * 200, (reaches["top_share"] * 200).round())
