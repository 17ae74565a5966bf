"""The same inputs give the same file, bit for bit: any threads, any order of rows, any format."""

from __future__ import annotations

import numpy as np
import pyogrio
import pytest
from robust.cases import write_streams
from robust.judge import differences, run
from robust.scenario import houses, lines, soils

from reachrank.schema import PUBLIC_LAYERS


def everything(at, out, *more, streams="", houses_at="", soils_at=""):
    return at.argv(
        out, "--soils", str(soils_at or at["soils.gpkg"]), "--cover", str(at["cover.tif"]),
        "--constraints", str(at["wetland.gpkg"]), "--roads", str(houses_at or at["houses.gpkg"]),
        *more, streams=str(streams or at["streams.gpkg"]),
    )  # fmt: skip


@pytest.fixture(scope="module")
def whole(sound, tmp_path_factory):
    out = tmp_path_factory.mktemp("whole") / "ranked.gpkg"
    code, _, err = run(everything(sound, out))
    assert code == 0, err
    return out


@pytest.mark.parametrize("jobs", [1, 3])
def test_threads_and_another_run(sound, whole, tmp_path, jobs):
    out = tmp_path / "out.gpkg"
    assert run(everything(sound, out, "--jobs", str(jobs)))[0] == 0
    assert differences(out, whole) == []
    for name in PUBLIC_LAYERS:  # findings and run_info too: the inputs have the same names
        a, b = (pyogrio.read_dataframe(path, layer=name) for path in (out, whole))
        assert a.equals(b), name


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_rows_in_every_layer(sound, whole, tmp_path, seed):
    rng = np.random.default_rng(seed)

    def dealt(table):
        return table.iloc[rng.permutation(len(table))].reset_index(drop=True)

    streams = write_streams(dealt(lines()), tmp_path / "streams.gpkg")
    dealt(soils()).to_file(tmp_path / "soils.gpkg")
    out = tmp_path / "out.gpkg"
    argv = everything(sound, out, streams=streams, soils_at=tmp_path / "soils.gpkg")
    assert run(argv)[0] == 0
    assert differences(out, whole) == []


def test_the_order_of_structures_changes_only_their_own_numbers(sound, tmp_path):
    """A structure is called by its row, so that a person finds it in the layer; nothing else is."""
    frames = []
    for k, table in enumerate((houses(), houses().iloc[::-1].reset_index(drop=True))):
        path = tmp_path / f"{k}" / "houses.gpkg"
        path.parent.mkdir()
        table.to_file(path, layer="buildings")
        out = path.parent / "out.gpkg"
        argv = [w if w != str(sound["houses.gpkg"]) else str(path) for w in sound.argv(out)]
        assert run(argv)[0] == 0
        frames.append(pyogrio.read_dataframe(out, layer="banks"))
    a, b = (frame.drop(columns="structure_id") for frame in frames)
    assert a.equals(b)


def test_the_parts_of_a_dem_in_any_order(sound, whole, tmp_path):
    """The DEM in four pieces, named in two orders, gives what the one file gives."""
    import rasterio
    from rasterio.windows import Window

    pieces = []
    with rasterio.open(sound["dem.tif"]) as dem:
        for k, (r, c) in enumerate(((0, 0), (0, 128), (64, 0), (64, 128))):
            window = Window(c, r, (128, 112)[c > 0], (64, 86)[r > 0])
            profile = {**dem.profile, "height": window.height, "width": window.width,
                       "transform": dem.window_transform(window)}  # fmt: skip
            path = tmp_path / f"{k}.tif"
            with rasterio.open(path, "w", **profile) as piece:
                piece.write(dem.read(1, window=window), 1)
                piece.units = dem.units
            pieces.append(str(path))
    for order in (pieces, pieces[::-1]):
        out = tmp_path / "out.gpkg"
        argv = everything(sound, out)
        at = argv.index(str(sound["dem.tif"]))
        assert run([*argv[:at], *order, *argv[at + 1 :]])[0] == 0
        assert differences(out, whole) == []
