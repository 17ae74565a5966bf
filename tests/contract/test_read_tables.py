"""A written GeoPackage is read back as the tables that it was written from."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from read_files import a_line, write_layer

from reachrank.errors import InputError
from reachrank.read import read_tables
from reachrank.schema import LAYERS
from reachrank.write import write_ranked, write_step
from reachrank.write.conform import conform


def plain(values):
    """Values with one sign for nothing, exact."""
    return [None if pd.isna(v) else v for v in values]


def same(read, written, layer):
    assert list(read.columns.drop("geometry", errors="ignore")) == [
        c.name for c in layer if c.name in written
    ]
    assert len(read) == len(written)
    for column in layer:
        if column.name in written:
            assert plain(read[column.name]) == plain(written[column.name]), column.name
    if isinstance(written, gpd.GeoDataFrame):
        for a, b in zip(read.geometry, written.geometry, strict=True):
            assert (a is None and (b is None or b.is_empty)) or a.equals_exact(b, 0.0)
        assert read.crs == written.crs


def test_a_step_is_read_back_exactly(made_run, tmp_path):
    path = write_step(made_run.tables, made_run.ctx, tmp_path / "step.gpkg", stage="repairs")
    read = read_tables(path)
    assert set(made_run.tables) <= set(read)
    for name, table in made_run.tables.items():
        same(read[name], conform(table, LAYERS[name], whole=False), LAYERS[name])


def test_types_are_the_schemas(made_run, tmp_path):
    path = write_ranked(made_run.tables, made_run.ctx, tmp_path / "a.gpkg")
    kinds = {"int": ("Int64",), "float": ("float64",), "bool": ("bool", "boolean"),
             "str": ("object",), "bytes": ("object",)}  # fmt: skip
    for name, table in read_tables(path).items():
        for column in LAYERS[name]:
            if column.name in table:
                assert str(table[column.name].dtype) in kinds[column.kind], (name, column.name)
                if column.kind == "str":
                    texts = table[column.name]
                    assert all(t is None or isinstance(t, str) for t in texts)


def test_us_file_is_read_as_metric(made_run, tmp_path):
    metric = read_tables(write_ranked(made_run.tables, made_run.ctx, tmp_path / "m.gpkg"))
    us = read_tables(write_ranked(made_run.tables, made_run.ctx, tmp_path / "us.gpkg", units="us"))
    assert set(us) == set(metric)
    for name in ("reaches", "banks", "sections", "factors"):
        assert list(us[name]) == list(metric[name])
        for column in LAYERS[name]:
            if column.kind == "float":
                # a multiplication and a division, each rounded once
                a, b = us[name][column.name], metric[name][column.name]
                assert np.allclose(a, b, rtol=1e-14, atol=0, equal_nan=True), column.name


def test_findings_with_any_geometry_or_none(made_run, tmp_path):
    made_run.ctx.findings.add("info", "one", "On a line.", geometry=a_line())
    made_run.ctx.findings.add("info", "two", "At a point.", geometry=a_line().centroid)
    made_run.ctx.findings.add("warning", "three", "Nowhere.")
    path = write_step(made_run.tables, made_run.ctx, tmp_path / "s.gpkg", stage="read")
    read = read_tables(path, layers=("findings",))["findings"].tail(3)
    assert read["code"].tolist() == ["one", "two", "three"]
    assert [g and g.geom_type for g in read.geometry] == ["LineString", "Point", None]


def test_files_that_are_none_of_ours(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_tables(tmp_path / "none.gpkg")
    (tmp_path / "text.gpkg").write_text("text")
    with pytest.raises(InputError, match="not a GeoPackage"):
        read_tables(tmp_path / "text.gpkg")
    path = write_layer(tmp_path / "a.gpkg", [a_line()], layer="creeks")
    with pytest.raises(InputError, match="no layer of reachrank; it has: creeks"):
        read_tables(path)
