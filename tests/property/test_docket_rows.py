"""Every application comes out once, in its place, whatever is in it."""

from __future__ import annotations

import dataclasses

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import request_tables as made
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import GeometryCollection, LineString, MultiPoint, Point, Polygon, box

from reachrank.requests.addresses import AddressBook, AddressPoint
from reachrank.requests.applications import from_frame
from reachrank.requests.docket import screen
from reachrank.requests.judging import STATES
from reachrank.requests.opening import open_screening
from reachrank.requests.parcels import make_parcels
from reachrank.requests.ranked_tables import open_ranked
from reachrank.requests.request_files import finished_docket
from reachrank.requests.rules import Rules


@pytest.fixture(scope="module")
def screening(tmp_path_factory):
    path = made.write_ranked_file(tmp_path_factory.mktemp("rows") / "ranked.gpkg")
    plain = open_screening(open_ranked(path), Rules(), is_demo=True)
    table = gpd.GeoDataFrame(
        {"pin": ["1", "2", "2"]},
        geometry=[box(made.X0 + k * 50, made.Y0, made.X0 + k * 50 + 50, made.Y0 + 800)
                  for k in range(3)],
        crs=made.UTM,
    )  # fmt: skip
    around = dataclasses.replace(
        plain.around,
        parcels=make_parcels(table, "pin"),
        book=AddressBook([AddressPoint("1 Mill Road", made.X0, made.Y0)]),
    )
    return dataclasses.replace(plain, around=around)


anything = st.one_of(
    st.none(), st.text(max_size=12), st.integers(-(10**9), 10**9), st.floats(),
    st.floats(made.X0 - 100, made.X0 + 100).map(lambda v: f"{v:.1f}"),
    st.floats(made.Y0, made.Y0 + 800).map(lambda v: f"{v:.1f}"),
    st.sampled_from(["1", "2", "1 Mill Road", "0", "-87,0", "43° 21' N", "=1+1", "nan", "1e5"]),
)  # fmt: skip
columns = ("id", "x", "y", "lon", "lat", "gps", "address", "parcel", "name")
tables = st.lists(st.tuples(*[anything] * len(columns)), max_size=12)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(tables)
def test_as_many_rows_come_out_as_went_in(screening, rows):
    stack = from_frame(pd.DataFrame(rows, columns=list(columns), dtype=object), keep=["name"])
    docket = screen(stack, screening)
    assert len(docket) == len(rows)
    assert docket["source_row"].tolist() == list(range(1, len(rows) + 1))
    assert set(docket["state"]) <= set(STATES)
    assert docket["reason"].str.len().gt(10).all()
    # and it is a docket that can be written
    docket["kept_name"] = stack.kept["kept_name"].to_numpy()
    assert len(finished_docket(docket, us=True)) == len(rows)


shapes = st.one_of(
    st.none(),
    st.tuples(st.floats(-1e7, 1e7), st.floats(-1e7, 1e7)).map(Point),
    st.sampled_from([
        made.place(0, "left"), Point(), Polygon(), MultiPoint([(0, 0), (1, 1)]),
        LineString([(0, 0), (1, 1)]), GeometryCollection(), Point(np.nan, np.nan),
        box(made.X0, made.Y0, made.X0 + 10, made.Y0 + 10),
        Polygon([(0, 0), (1, 1), (0, 1), (1, 0)]),  # crosses itself
    ]),
)  # fmt: skip


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(shapes, max_size=6))
def test_whatever_the_shapes_of_a_layer_are(screening, found):
    raw = pd.DataFrame({"id": [str(k) for k in range(len(found))]})
    stack = from_frame(raw, geometry=gpd.GeoSeries(found, crs=made.UTM))
    docket = screen(stack, screening)
    assert docket["application_id"].tolist() == raw["id"].tolist()


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.integers(0, 7), st.sampled_from(["left", "right"]),
                          st.floats(0.5, 80.0)), min_size=1, max_size=10),
       st.randoms(use_true_random=False))  # fmt: skip
def test_money_never_goes_over_the_cap_of_a_site(screening, places, random):
    points = [made.place(reach, side, away) for reach, side, away in places]
    random.shuffle(points)
    xy = {"x": [str(p.x) for p in points], "y": [str(p.y) for p in points]}
    frame = pd.DataFrame({"id": [str(k) for k in range(len(points))], **xy})
    docket = screen(from_frame(frame), screening)
    by_site = docket.groupby("repair_id")["share_usd"].sum()
    assert (by_site <= screening.rules.money.cap_per_site_usd + 1e-9).all()
    assert docket.loc[docket["state"] != "eligible", "share_usd"].isna().all()
