"""Drainage area where it can be worked out by hand, and what is done with areas that do not fit."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import rasterio
from affine import Affine
from network_inputs import UTM, codes, context, dem_of, streams_of

from reachrank.network import build_edges, stream_paths
from reachrank.network.area import choose_area
from reachrank.network.area_routing import accumulate_area, label_upwards
from reachrank.network.flow import directed, main_way_out


def valley(x, y):
    """Return a floor along y = 500 that falls east by 1 %, and planes that fall to it by 5 %."""
    return 100.0 - 0.01 * x + 0.05 * np.abs(y - 500.0)


def test_a_straight_valley_drains_its_whole_length():
    # 1 km x 1 km, all of it falls to the floor: 1 km² at the mouth. Water runs down the planes
    # within one cell's diagonal drift, and the last columns leave east of the line's end.
    edges = build_edges(streams_of([[(5, 500), (995, 500)]]), context(dem_of(valley)))
    assert edges["drainage_area_km2"].item() == pytest.approx(1.0, rel=0.05)
    assert edges["drainage_area_source"].item() == "routing"


def test_two_planes_meeting_at_a_junction_share_their_ground():
    # two floors 500 m long join a third: a quarter, a quarter and the whole of 1 km²
    def ground(x, y):
        arms = np.abs(np.abs(y - 500.0) - 250.0)
        return np.where(
            x < 500.0, 100.0 - 0.01 * x + 0.05 * arms, 95.0 - 0.01 * x + 0.05 * np.abs(y - 500.0)
        )

    lines = [[(5, 250), (500, 250), (505, 500)], [(5, 750), (500, 750), (505, 500)]]
    lines.append([(505, 500), (995, 500)])
    edges = build_edges(streams_of(lines), context(dem_of(ground)))
    area = sorted(edges["drainage_area_km2"])
    assert area[0] == pytest.approx(0.25, rel=0.1)
    assert area[1] == pytest.approx(0.25, rel=0.1)
    assert area[2] == pytest.approx(1.0, rel=0.05)


def test_a_road_fill_does_not_stop_the_water():
    def ground(x, y):
        return valley(x, y) + np.where(np.abs(x - 700.0) < 10.0, 4.0, 0.0)

    edges = build_edges(streams_of([[(5, 500), (995, 500)]]), context(dem_of(ground)))
    assert edges["drainage_area_km2"].item() == pytest.approx(1.0, rel=0.05)


def test_a_catchment_wholly_inside_is_not_cut_and_one_at_the_border_is():
    def bowl(x, y):
        return 50.0 + 0.05 * np.abs(y - 500.0) - 0.01 * x

    def run(ground):
        return build_edges(streams_of([[(300, 500), (900, 500)]]), context(dem_of(ground)))

    # an arena with a rim, open only where the stream leaves through it
    def arena(x, y):
        outside = np.hypot(x - 500, y - 500) > 400
        return np.where(outside, 90.0 - 0.02 * np.hypot(x - 500, y - 500), bowl(x, y))

    assert not run(arena)["is_area_cut"].item()
    assert run(valley)["is_area_cut"].item()


def test_outside_the_dem_there_is_no_area_and_that_is_told():
    ctx = context(dem_of(valley))
    edges = build_edges(streams_of([[(5000, 5000), (6000, 5000)]]), ctx)
    assert np.isnan(edges["drainage_area_km2"].item())
    assert edges["drainage_area_source"].item() == "none"
    assert codes(ctx).count("no_drainage_area") == 1


def test_the_attribute_goes_first_and_holds_at_its_lines_lower_end_only():
    # one line of 10 km² at its mouth, cut by a tributary: its upper half is not given 10 km²
    lines = [[(5, 500), (500, 500), (995, 500)], [(500, 700), (500, 500)]]
    edges = build_edges(
        streams_of(lines, areas_km2=[10.0, np.nan]), context(dem_of(valley))
    ).set_index("edge_id")
    assert edges.loc["S0001-00", ["drainage_area_km2", "drainage_area_source"]].tolist() == [
        10.0, "attribute",
    ]  # fmt: skip
    assert edges.loc["S0001-01", "drainage_area_source"] == "routing"
    assert edges.loc["S0001-01", "drainage_area_km2"] < 1.0


def test_an_area_that_falls_downstream_is_mended_and_told():
    lines = [[(5, 500), (500, 500)], [(500, 700), (500, 500)], [(500, 500), (995, 500)]]
    ctx = context(dem_of(valley))
    edges = build_edges(streams_of(lines, areas_km2=[8.0, 1.0, 5.0]), ctx)
    path = stream_paths(edges)[0]
    assert edges.set_index("edge_id")["drainage_area_km2"][list(path.edge_ids)].tolist() == [8, 8]
    assert codes(ctx).count("area_mended") == 1


def test_a_routed_area_above_a_smaller_attribute_is_lowered():
    flow = directed(3, np.array([0, 1]), np.array([1, 2]))
    main_out = np.array([0, 1, -1])
    none = np.full(2, np.nan)
    area = choose_area(flow, main_out, np.array([np.nan, 5.0]), none, np.array([7.0, 9.0]))
    assert area.area_km2.tolist() == [5.0, 5.0]
    assert area.source.tolist() == ["routing", "attribute"]
    assert area.is_mended.tolist() == [True, False]


def test_an_island_counts_its_water_once():
    # 0 -> 1 splits to 2 by edges 1 and 2, joins, goes on to 3; own areas 10, 1, 2, 4
    flow = directed(4, np.array([0, 1, 1, 2]), np.array([1, 2, 2, 3]))
    main_out = main_way_out(flow, np.array([9.0, 5.0, 4.0, 9.0]), [None] * 4, np.full(4, np.nan))
    area = accumulate_area(flow, main_out, np.array([10.0, 1.0, 2.0, 4.0]))
    # the side channel carries all that is above it, but hands on its own 2 alone
    assert area.tolist() == [10.0, 11.0, 12.0, 17.0]


@pytest.mark.parametrize(
    ("unit", "value", "expected_km2"),
    [
        ("km2", 7.5, 7.5),
        ("mi2", 2.0, 2.0 * 1.609344**2),  # the international mile is 1.609344 km exactly
        ("cells", 5000.0, 5000.0 * 30.0 * 30.0 / 1e6),
    ],
)
def test_an_area_raster_is_read_near_the_lower_part(tmp_path, unit, value, expected_km2):
    # the main stem's large value lies at the junction and must not be taken for the tributary
    cells = np.full((40, 40), 0.0, "float32")
    cells[20, :] = 100.0 * value  # y from 570 to 600
    cells[5:20, 15] = value  # a column from 450 to 480
    path = tmp_path / "area.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=40, height=40, count=1, dtype="float32",
        crs="EPSG:26917", transform=Affine(30, 0, 0, 0, -30, 1200), nodata=-1,
    ) as raster:  # fmt: skip
        raster.write(cells, 1)
    lines = [[(465, 1000), (465, 585)], [(10, 585), (465, 585)], [(465, 585), (1100, 585)]]
    ctx = context(area_raster=str(path), area_raster_unit=unit)
    edges = build_edges(streams_of(lines), ctx)
    tributary = edges[edges.geometry.apply(lambda line: line.bounds[3] > 900)]
    assert tributary["drainage_area_km2"].item() == pytest.approx(expected_km2, rel=1e-6)
    assert tributary["drainage_area_source"].item() == "raster"
    assert UTM.to_epsg() == 26917


@pytest.mark.parametrize("give", [label_upwards, label_upwards.py_func])
def test_each_cell_takes_the_label_of_the_first_one_below_it(give) -> None:
    """Judge: networkx, way by way."""
    rng = np.random.default_rng(5)
    below = np.array([rng.integers(0, max(1, k)) for k in range(300)])  # a tree with its root at 0
    below[0], below[40] = 0, -1  # water leaves at 0; there is nothing below 40
    label = np.full(300, -1, np.int64)
    label[rng.choice(np.arange(41, 300), 30, replace=False)] = np.arange(30)
    below[298], below[299], label[298:] = 299, 298, -1  # a ring ends as well
    graph = nx.DiGraph((k, int(down)) for k, down in enumerate(below) if 0 <= down != k)
    wanted = label.copy()
    for k in range(298):
        way = [k, *nx.descendants(graph, k)] if k in graph else [k]
        way.sort(key=lambda c: nx.shortest_path_length(graph, k, c) if c != k else 0)
        wanted[k] = next((label[c] for c in way if label[c] >= 0), -1)
    give(label, below)
    assert label.tolist() == wanted.tolist()
    assert {-1} < set(label.tolist())
