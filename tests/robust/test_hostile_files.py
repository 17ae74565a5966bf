"""Files that try to reach outside of themselves: nothing is asked of the network, nothing runs.

A web server of our own on this machine counts what is asked of it; the answer must be: nothing.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from xml.sax.saxutils import escape

import numpy as np
import pytest
from robust.judge import run
from robust.scenario import CRS, lines, make, transform, write_grid

STANDARD = ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY")


@pytest.fixture
def at(sound, tmp_path):
    return sound.copy(tmp_path / "in")


@pytest.fixture
def web(monkeypatch):
    """Start a server; ``web.asked`` lists the paths that were asked for."""
    asked = []

    class Listener(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_POST = do_GET  # noqa: N815

        def log_message(self, *_):
            pass

    for name in ("no_proxy", "NO_PROXY", "http_proxy", "HTTP_PROXY"):
        monkeypatch.delenv(name, raising=False)
    server = ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    server.asked = asked
    server.url = f"http://127.0.0.1:{server.server_port}"
    yield server
    server.shutdown()
    server.server_close()
    assert asked == []


def refused(at, match, **given):
    out = at["out.gpkg"]
    code, _, err = run(at.argv(out, **{name: str(path) for name, path in given.items()}))
    assert code == 3, err
    assert match in err
    assert not out.exists()


def geojson(**more):
    table = lines().iloc[:1].drop(columns="km2")
    return {**json.loads(table.to_json()), **more}


# Addresses inside of vector files


@pytest.mark.parametrize("kind", ["link", "URL", "Link"])
def test_geojson_whose_coordinate_system_is_a_link(at, web, kind):
    """GDAL fetches such a link when the file is opened; a 2008 draft of GeoJSON allowed it."""
    link = {"type": kind, "properties": {"href": f"{web.url}/crs", "url": f"{web.url}/crs"}}
    at["a.geojson"].write_text(json.dumps(geojson(crs=link)))
    refused(at, "is a link, which is not followed", streams=at["a.geojson"])


def test_a_link_that_our_look_at_the_file_does_not_see_finds_no_way_out(at, web):
    """Hidden behind escapes and far from both ends of the file: the readers have no network."""
    link = {"type": "link", "properties": {"href": f"{web.url}/crs"}}
    text = json.dumps(geojson(filler="x" * 200_000, crs=link, more="x" * 200_000))
    at["a.geojson"].write_text(text.replace('"link"', '"\\u006cink"'))
    run(at.argv(at["out.gpkg"], streams=str(at["a.geojson"])))


@pytest.mark.parametrize(
    "text",
    [
        '{{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read {url}"}}',
        "{{}} <OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>{url}</SrcDataSource>"
        "</OGRVRTLayer></OGRVRTDataSource>",
        "<OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>{url}</SrcDataSource>"
        "</OGRVRTLayer></OGRVRTDataSource>",
        "<OGRWFSDataSource><URL>{url}</URL></OGRWFSDataSource>",
        '<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY x SYSTEM "{url}">]><kml>&x;</kml>',
    ],
)
@pytest.mark.parametrize("name", ["a.json", "a.gpkg"])
def test_text_that_describes_another_source(at, web, text, name):
    at[name].write_text(text.format(url=web.url))
    refused(at, "describe", streams=at[name])


@pytest.mark.parametrize(
    "prefix", ["SQLITE:", "GPKG:", "OGR_VRT:", "GTIFF_DIR:1:", "vrt://", "GTI:", "file://", "CSV:",
               "/vsisubfile/0_99,", "DERIVED_SUBDATASET:LOGAMPLITUDE:", "/vsicurl/", "ESRIJSON:"]
)  # fmt: skip
def test_prefixes_choose_no_driver(at, prefix):
    refused(at, "is not opened", streams=f"{prefix}{at['streams.gpkg']}")
    refused(at, "is not opened", dem=f"{prefix}{at['dem.tif']}")


# Databases


def altered(at, *orders, schema=()):
    path = at["streams.gpkg"]
    with closing(sqlite3.connect(path)) as db, db:
        for name in STANDARD:
            db.create_function(name, 1, lambda _: 0)
        for order in orders:
            db.execute(order)
        db.execute("PRAGMA writable_schema = ON")
        for order in schema:
            db.execute(order)
    return path


REGISTER = (
    "INSERT INTO gpkg_contents(table_name, data_type, identifier, srs_id)"
    " SELECT 'v', 'features', 'v', srs_id FROM gpkg_contents LIMIT 1",
    "INSERT INTO gpkg_geometry_columns SELECT 'v', column_name, geometry_type_name, srs_id, z, m"
    " FROM gpkg_geometry_columns LIMIT 1",
)


@pytest.mark.parametrize(
    "call",
    ["load_extension('x')", "load_extension/**/('x')", '"load_extension"(\'x\')',
     "[load_extension] ('x')", "`load_extension`('x')", "load_extension--\n('x')",
     "ogr_geocode('x')", "gdal_get_pixel_value/* */('/vsicurl/a', 1, 'georef', 1, 1)",
     "readfile('/etc/passwd')"],
)  # fmt: skip
def test_views_that_call_out_are_refused_however_they_are_written(at, call):
    path = altered(at, f"CREATE VIEW v AS SELECT fid, geom, {call} AS name FROM streams")  # noqa: S608
    refused(at, "reaches outside the file", streams=f"{path}|layername=streams")


def test_a_schema_written_past_sqlite_is_read_as_well(at):
    sql = "CREATE/**/VIEW v AS SELECT fid, geom, ogr_geocode(''x'') AS name FROM streams"
    path = altered(at, schema=[f"INSERT INTO sqlite_master VALUES ('view', 'v', 'v', 0, '{sql}')"])  # noqa: S608
    refused(at, "reaches outside the file", streams=f"{path}|layername=streams")


def test_virtual_tables_that_read_other_files(at):
    sql = "CREATE VIRTUAL TABLE t/**/USING/**/VirtualOGR(''/vsicurl/a'')"
    path = altered(at, schema=[f"INSERT INTO sqlite_master VALUES ('table', 't', 't', 0, '{sql}')"])  # noqa: S608
    refused(at, "reaches outside the file", streams=f"{path}|layername=streams")


def test_generated_columns_that_call_out(at):
    path = altered(
        at, "ALTER TABLE streams ADD COLUMN z TEXT GENERATED ALWAYS AS (upper(name)) VIRTUAL",
        schema=["UPDATE sqlite_master SET sql = replace(sql, 'upper', 'ogr_geocode')"],
    )  # fmt: skip
    refused(at, "reaches outside the file", streams=path)


@pytest.mark.parametrize(
    ("sql", "why"),
    [
        ("WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c)"
         " SELECT x AS fid, NULL AS geom, 'a' AS name FROM c", "recursion"),
        ("SELECT a.fid, a.geom, a.name FROM streams a, gpkg_ogr_contents, sqlite_master b,"
         " sqlite_master c, sqlite_master d, sqlite_master e, sqlite_master f, sqlite_master g",
         "interrupted"),
        ("SELECT fid, geom, ogr_layer_Extent(name) AS name FROM streams", "no such function"),
    ],
)  # fmt: skip
def test_views_without_end_or_with_functions_unknown_are_not_run(at, sql, why):
    path = altered(at, f"CREATE VIEW v AS {sql}", *REGISTER)
    refused(at, why, streams=f"{path}|layername=v")


def test_plain_views_triggers_and_innocent_names_are_no_hindrance(at):
    path = altered(
        at,
        "CREATE VIEW v AS SELECT fid, geom, upper(name) AS name FROM streams WHERE fid < 3",
        *REGISTER,
        "CREATE TABLE imports (edit TEXT, http_code INTEGER, CHECK (length(edit) < 9))",
        "CREATE INDEX by_code ON imports (http_code)",
        "CREATE TRIGGER t AFTER INSERT ON streams BEGIN SELECT load_extension('x'); END",
    )
    out = at["out.gpkg"]
    assert run(at.argv(out, streams=f"{path}|layername=v"))[0] == 0
    assert run(at.argv(out, streams=f"{path}|layername=streams"))[0] == 0


def test_sql_in_the_name_of_a_layer_is_only_a_name(at):
    path = at["sly.geojson"]
    name = 'streams"; DROP TABLE streams; --'
    path.write_text(json.dumps(geojson(name=name)))
    out = at["by_name.gpkg"]
    assert run(at.argv(out, streams=f"{path}|layername={name}"))[0] == 0
    gpkg = f"{at['streams.gpkg']}|layername=streams; DROP TABLE streams; --"
    refused(at, "has no layer", streams=gpkg)
    assert run(at.argv(at["out.gpkg"]))[0] == 0


# Rasters


def vrt(path, source, before="", more="", name="SimpleSource"):
    path.write_text(
        f'{before}<VRTDataset rasterXSize="240" rasterYSize="150"><SRS>{CRS}</SRS><GeoTransform>'
        f"{', '.join(map(repr, transform().to_gdal()))}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><{name}><SourceFilename relativeToVRT="0">'
        f"{source}</SourceFilename>{more}<SourceBand>1</SourceBand></{name}></VRTRasterBand>"
        "</VRTDataset>"
    )
    return path


def service(web):
    return escape(
        "<GDAL_WMS><Service name='WMS'><Version>1.1.1</Version>"
        f"<ServerUrl>{web.url}/wms?</ServerUrl><Layers>x</Layers><SRS>EPSG:4326</SRS>"
        "<ImageFormat>image/png</ImageFormat></Service><DataWindow><UpperLeftX>-180</UpperLeftX>"
        "<UpperLeftY>90</UpperLeftY><LowerRightX>180</LowerRightX><LowerRightY>-90</LowerRightY>"
        "<SizeX>240</SizeX><SizeY>150</SizeY></DataWindow><BandsCount>1</BandsCount></GDAL_WMS>"
    )


def test_a_plain_mosaic_is_read(at):
    path = vrt(at["plain.vrt"], at["dem.tif"])
    out = at["out.gpkg"]
    assert run(at.argv(out, "--dem-units", "m", dem=str(path)))[0] == 0


@pytest.mark.parametrize(
    ("name", "before"),
    [("n.vrt", " " * 100), ("n.asc", "ncols 4\nnrows 3\n"), ("n.bil", "\x01"), ("n.json", "{}"),
     ("n.tif", "a" * 70), ("n.gti.gpkg", " " * 65)],
    ids=["vrt", "asc", "bil", "json", "tif", "gti"],
)  # fmt: skip
def test_a_service_in_a_virtual_raster_hidden_in_a_mosaic(at, web, name, before):
    """A driver that looks for its mark anywhere in a file's head opens it however it begins."""
    vrt(at[name], service(web), before)
    refused(at, "points to", dem=vrt(at["outer.vrt"], at[name]))


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (("<SourceBand>1", "<OpenOptions><OOI key='PRELUDE_STATEMENTS'>x</OOI></OpenOptions>"
          "<SourceBand>1"), "more than put rasters"),
        (("</SourceFilename>", "<!-- -->/../dem.tif</SourceFilename>"), "more than plain elements"),
        (("</SourceFilename>", "<![CDATA[x]]></SourceFilename>"), "more than plain elements"),
        (('band="1">', 'band="1" subClass="VRTDerivedRasterBand">'), "more than put rasters"),
    ],
)  # fmt: skip
def test_options_comments_and_functions_in_a_mosaic(at, change, match):
    path = vrt(at["sly.vrt"], at["dem.tif"])
    path.write_text(path.read_text().replace(*change, 1))
    refused(at, match, dem=path)


@pytest.mark.parametrize("ending", [".ovr", ".msk"])
def test_overviews_and_masks_beside_a_raster_are_images_or_refused(at, web, ending):
    vrt(at[f"dem.tif{ending}"], service(web))
    refused(at, "would be read as one", dem=at["dem.tif"])


def test_overviews_elsewhere(at, web):
    at["dem.tif.aux.xml"].write_text(
        '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">'
        f"/vsicurl/{web.url}/o.tif</MDI></Metadata></PAMDataset>"
    )
    refused(at, "points to overviews", dem=at["dem.tif"])


def test_cover_and_area_rasters_are_trusted_no_more_than_the_dem(at, web):
    sly = vrt(at["sly.vrt"], f"/vsicurl/{web.url}/a.tif")
    for flag in ("--cover", "--area-raster"):
        code, _, err = run(at.argv(at["out.gpkg"], flag, str(sly)))
        assert code == 3
        assert "points to" in err


def test_a_geopackage_of_cells_with_a_sly_view(at):
    path = write_grid(at["cells.gpkg"], np.full((64, 64), 7, np.uint8), driver="GPKG", units="",
                      crs="EPSG:3857")  # fmt: skip
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("CREATE VIEW v AS SELECT load_extension('x')")
    refused(at, "reaches outside the file", dem=path)


# Files of our own kind, from somebody else


def test_a_step_file_grants_itself_nothing(at, web, tmp_path):
    step = tmp_path / "step.gpkg"
    argv = at.argv(step)
    assert run(["step", "read", *argv[1:-1], "none"])[0] == 0
    sly = {"allow_remote": True, "dem": [f"/vsicurl/{web.url}/dem.tif"]}
    with closing(sqlite3.connect(step)) as db, db:
        told = json.loads(
            db.execute("SELECT value FROM run_info WHERE key = 'inputs'").fetchone()[0]
        )
        db.execute(
            "UPDATE run_info SET value = ? WHERE key = 'inputs'", (json.dumps({**told, **sly}),)
        )
    code, _, err = run(["step", "network", str(step), "--out", str(tmp_path / "next.gpkg")])
    assert code == 3
    assert "is not opened" in err


@pytest.mark.parametrize(
    ("key", "value"),
    [("inputs", "{"), ("inputs", "[]"), ("inputs", '{"dem": 5}'), ("inputs", '{"streams": {}}'),
     ("inputs", '{"streams": "a", "dem": ["a"], "dem_units": "ell"}'), ("crs.working", "nowhere"),
     ("crs.output", "{}"), ("settings", "5"), ("settings", "{"), ("stage", "write")],
)  # fmt: skip
def test_a_step_file_with_nonsense_in_its_notes(at, tmp_path, key, value):
    step = tmp_path / "step.gpkg"
    argv = at.argv(step)
    assert run(["step", "read", *argv[1:-1], "none"])[0] == 0
    with closing(sqlite3.connect(step)) as db, db:
        db.execute("UPDATE run_info SET value = ? WHERE key = ?", (value, key))
    code, _, err = run(["step", "network", str(step), "--out", str(tmp_path / "next.gpkg")])
    assert code in (3, 4), err


def test_a_folder_named_like_an_address_is_a_folder(tmp_path):
    at = make(tmp_path / "SQLITE")
    assert run(at.argv(tmp_path / "out.gpkg"))[0] == 0
