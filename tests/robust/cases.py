"""One spoiled input after another, each made from its number alone."""

from __future__ import annotations

import sqlite3
import warnings
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
from robust import spoil_beside, spoil_bytes, spoil_ground, spoil_lines, spoil_settings
from robust.scenario import Scenario, lines

Rng = np.random.Generator
VECTORS = (
    "streams.gpkg", "streams.gpkg", "streams.shp", "streams.shp", "streams.geojson", "streams.fgb",
    "streams.mif", "streams.kml", "streams.gdb",
)  # fmt: skip
RASTERS = (
    "dem.tif", "dem.tif", "strips.tif", "lzw.tif", "dem.asc", "dem.img", "dem.bil", "dem.vrt",
)  # fmt: skip
COMPANIONS = {
    "streams.shp": (".shp", ".shx", ".dbf", ".prj", ".cpg"),
    "streams.mif": (".mif", ".mid"),
    "dem.asc": (".asc", ".prj"),
    "dem.bil": (".bil", ".hdr", ".prj"),
}


STANDARD_FUNCTIONS = ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY")
"""What the triggers of a GeoPackage call; GDAL brings them, SQLite alone does not."""


def alter(path: Path, order: str) -> None:
    """Give an order to the database of a GeoPackage."""
    with closing(sqlite3.connect(path)) as db, db:
        for name in STANDARD_FUNCTIONS:
            db.create_function(name, 1, lambda _: 0)
        db.execute(order)


@dataclass
class Case:
    """A command to run on spoiled input.

    ``same`` means: the answer must be the sound one; ``is_ranking``: it is a ranked file.
    """

    kind: str
    argv: list[str]
    out: Path
    same: bool = False
    is_ranking: bool = True


def write_streams(table: gpd.GeoDataFrame, path: Path) -> Path:
    """Write a stream layer in the format of the name's ending, whatever is in it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table.to_file(path, engine="pyogrio")
    return path


def bytes_of_lines(at: Scenario, rng: Rng, out: Path) -> Case:
    """Damage a stream file, or one of a shapefile's parts."""
    name = str(rng.choice(VECTORS))
    ending = str(rng.choice(COMPANIONS.get(name, (Path(name).suffix,))))
    damaged = at[name].with_suffix(ending)
    if damaged.is_dir():  # a file geodatabase: one of its files
        inside = sorted(path for path in damaged.iterdir() if path.stat().st_size)
        damaged = inside[int(rng.integers(0, len(inside)))]
    how = _damage(damaged, rng)
    return Case(f"bytes {name}{ending} {how}", at.argv(out, streams=str(at[name])), out)


def bytes_of_ground(at: Scenario, rng: Rng, out: Path) -> Case:
    """Damage a DEM."""
    name = str(rng.choice(RASTERS))
    ending = str(rng.choice(COMPANIONS.get(name, (Path(name).suffix,))))
    how = _damage(at[name].with_suffix(ending), rng)
    return Case(f"bytes {name} {how}", at.argv(out, dem=str(at[name])), out)


def bytes_beside(at: Scenario, rng: Rng, out: Path) -> Case:
    """Damage one of the other inputs."""
    name, flag = (
        ("houses.gpkg", "--structures"), ("soils.gpkg", "--soils"), ("cover.tif", "--cover"),
        ("wetland.gpkg", "--constraints"), ("area.tif", "--area-raster"),
        ("settings.toml", "--settings"),
    )[int(rng.integers(0, 6))]  # fmt: skip
    how = _damage(at[name], rng)
    return Case(f"bytes {name} {how}", at.argv(out, flag, str(at[name])), out)


def odd_lines(at: Scenario, rng: Rng, out: Path) -> Case:
    """Write odd stream lines, in one format or another."""
    how = spoil_lines.SPOILERS[int(rng.integers(0, len(spoil_lines.SPOILERS)))]
    table = how(lines(), rng)
    path = _written(table, at, rng)
    return Case(f"lines {how.__name__}", at.argv(out, streams=str(path)), out)


def two_odd_lines(at: Scenario, rng: Rng, out: Path) -> Case:
    """Spoil the stream lines in two ways."""
    table, names = lines(), []
    for _ in range(2):
        how = spoil_lines.SPOILERS[int(rng.integers(0, len(spoil_lines.SPOILERS)))]
        names.append(how.__name__)
        try:
            table = how(table, rng)
        except Exception:  # the second does not go with the first
            names[-1] += "(no)"
    path = _written(table, at, rng)
    more = ["--area-attribute", "km2"] if "km2" in table and rng.random() < 0.5 else []
    return Case(f"lines {'+'.join(names)}", at.argv(out, *more, streams=str(path)), out)


def odd_ground(at: Scenario, rng: Rng, out: Path) -> Case:
    """Write an odd DEM."""
    how = spoil_ground.SPOILERS[int(rng.integers(0, len(spoil_ground.SPOILERS)))]
    path = at["odd_dem.tif"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            how(path, rng)
        except Exception:  # the library that writes would not: then the sound one
            return Case(f"ground {how.__name__} (not writable)", at.argv(out), out)
    more = ["--dem-units", "m"] if rng.random() < 0.7 else []
    return Case(f"ground {how.__name__}", at.argv(out, *more, dem=str(path)), out)


def odd_both(at: Scenario, rng: Rng, out: Path) -> Case:
    """Put odd lines on odd ground, with odd things beside."""
    first, second = odd_lines(at, rng, out), odd_ground(at, rng, out)
    argv = [*second.argv]
    argv[1] = first.argv[1]
    if rng.random() < 0.5:
        argv += spoil_settings.settings(rng)
    return Case(f"{first.kind}, {second.kind}", argv, out)


def odd_beside(at: Scenario, rng: Rng, out: Path) -> Case:
    """Write odd structures, soils, constraint areas, cover or area."""
    how = spoil_beside.SPOILERS[int(rng.integers(0, len(spoil_beside.SPOILERS)))]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        more = how(at, rng)
    return Case(f"beside {how.__name__}", at.argv(out, *more), out)


def odd_settings(at: Scenario, rng: Rng, out: Path) -> Case:
    """Set settings to their limits and beyond."""
    more = spoil_settings.settings(rng)
    beside = ["--soils", str(at["soils.gpkg"]), "--cover", str(at["cover.tif"])]
    kind = "settings " + " ".join(word for word in more if word != "--set")
    return Case(kind, at.argv(out, *(beside if rng.random() < 0.5 else []), *more), out)


def odd_rows(at: Scenario, rng: Rng, out: Path) -> Case:
    """Damage what a sound GeoPackage holds: its own tables, types, shapes, text encodings."""
    path = at["streams.gpkg"]
    orders = [
        "UPDATE gpkg_geometry_columns SET srs_id = 999999",
        "UPDATE gpkg_geometry_columns SET geometry_type_name = 'POLYGON'",
        "UPDATE gpkg_spatial_ref_sys SET definition = 'nonsense'",
        "DELETE FROM gpkg_contents",
        "UPDATE gpkg_contents SET table_name = 'nowhere'",
        "UPDATE gpkg_contents SET min_x = 'a', max_x = 1e400",
        "DROP TABLE gpkg_geometry_columns",
        "UPDATE streams SET geom = substr(geom, 1, length(geom) - 5)",
        "UPDATE streams SET geom = x'00'",
        "UPDATE streams SET geom = 'text'",
        "UPDATE streams SET geom = 7",
        "UPDATE streams SET geom = NULL WHERE fid = 2",
        "UPDATE streams SET name = CAST(x'ff41fe80' AS TEXT)",
        "UPDATE streams SET name = x'00ff'",
        "UPDATE streams SET name = CAST(x'410042' AS TEXT)",
        "UPDATE streams SET name = 3.5",
        "UPDATE streams SET km2 = 'many'",
        'ALTER TABLE streams RENAME COLUMN name TO "na""me; --"',
        "ALTER TABLE streams RENAME COLUMN fid TO id",
        "DELETE FROM streams",
        "CREATE TABLE layer_styles (a)",
        "PRAGMA user_version = 0",
        "PRAGMA application_id = 0",
        "UPDATE streams SET fid = fid * 1000000000000",
        "UPDATE streams SET fid = -fid",
    ]
    order = orders[int(rng.integers(0, len(orders)))]
    alter(path, order)
    return Case(f"rows {order}", at.argv(out, "--area-attribute", "km2"), out)


def bytes_of_ours(at: Scenario, rng: Rng, out: Path) -> Case:
    """Damage a ranked file or one between two steps, and hand it to a command that reads it."""
    ranked, step = at["ranked.gpkg"], at["step.gpkg"]
    commands = (
        ["step", "network", str(step), "--out", str(out)],
        ["explain", str(ranked), "S0001-R0001"],
        ["near", str(ranked), "--xy", "150100,499925"],
        ["table", str(ranked), "--out", str(out.with_suffix(".csv"))],
        ["compare", str(ranked), str(at["other.gpkg"])],
        ["budget", str(ranked), "--amount", "20000", "--out", str(out)],
        ["choose", str(ranked), "--ids", "S0001-L001", "--out", str(out)],
        ["sheets", str(ranked), "--top", "1", "--out", str(out.with_suffix(".pdf"))],
        ["map", str(ranked), "--out", str(out.with_suffix(".html"))],
        ["table", str(ranked), "--out", str(out.with_suffix(".xlsx"))],
    )
    argv = commands[int(rng.integers(0, len(commands)))]
    path = step if argv[0] == "step" else ranked
    how = _rows(path, rng) if rng.random() < 0.4 else _damage(path, rng)
    return Case(f"ours {argv[0]} {how}", argv, out, is_ranking=False)


def _rows(path: Path, rng: Rng) -> str:
    """Take away or change what stands in one of our own layers."""
    with closing(sqlite3.connect(path)) as db:
        layers = [r[0] for r in db.execute("SELECT table_name FROM gpkg_contents ORDER BY 1")]
        layer = layers[int(rng.integers(0, len(layers)))]
        columns = [row[1] for row in db.execute(f'PRAGMA table_info("{layer}")')][1:]
        column = columns[int(rng.integers(0, len(columns)))]
    orders = (
        f'DELETE FROM "{layer}"',  # noqa: S608
        f'UPDATE "{layer}" SET "{column}" = NULL',  # noqa: S608
        f'UPDATE "{layer}" SET "{column}" = \'x\'',  # noqa: S608
        f'UPDATE "{layer}" SET "{column}" = -1e300',  # noqa: S608
        f'UPDATE "{layer}" SET "{column}" = 9e999',  # noqa: S608
        f'ALTER TABLE "{layer}" RENAME COLUMN "{column}" TO "other"',
        f"DELETE FROM gpkg_contents WHERE table_name = '{layer}'",  # noqa: S608
        f'DELETE FROM "{layer}" WHERE rowid > 1',  # noqa: S608
    )
    order = orders[int(rng.integers(0, len(orders)))]
    alter(path, order)
    return order


def harmless(at: Scenario, rng: Rng, out: Path) -> Case:
    """Change what must not matter: order of rows, ids, heights, columns, format, threads."""
    table = spoil_lines.shuffled(lines(), rng)
    path = _written(table, at, rng, endings=("gpkg", "shp", "fgb"))
    jobs = ["--jobs", str(int(rng.integers(1, 4)))]
    dem = str(at[str(rng.choice(["dem.tif", "strips.tif"]))])
    return Case("harmless", at.argv(out, *jobs, streams=str(path), dem=dem), out, same=True)


def _damage(path: Path, rng: Rng) -> str:
    data, how = spoil_bytes.spoil(path.read_bytes(), rng)
    path.write_bytes(data)
    return how


def _written(
    table: gpd.GeoDataFrame,
    at: Scenario,
    rng: Rng,
    endings: tuple[str, ...] = ("gpkg", "gpkg", "shp", "geojson", "fgb"),
) -> Path:
    """Write in a format of chance, else as a GeoPackage; where neither holds it, the sound."""
    if not np.isfinite(table.total_bounds).all():  # the writer of .fgb crashes on these
        endings = tuple(ending for ending in endings if ending != "fgb")
    for ending in (str(rng.choice(endings)), "gpkg"):
        path = at[f"odd.{ending}"]
        path.unlink(missing_ok=True)
        try:
            return write_streams(table, path)
        except Exception:  # noqa: S112  (this format cannot hold it)
            continue
    return at["streams.gpkg"]


KINDS: tuple[tuple[float, Callable[[Scenario, Rng, Path], Case]], ...] = (
    (0.16, bytes_of_lines), (0.14, bytes_of_ground), (0.06, bytes_beside), (0.16, odd_lines),
    (0.06, two_odd_lines), (0.16, odd_ground), (0.06, odd_both), (0.06, odd_beside),
    (0.08, odd_settings),
    (0.06, bytes_of_ours), (0.03, odd_rows), (0.03, harmless),
)  # fmt: skip


def deal(number: int, sound: Scenario, folder: Path) -> Case:
    """Make case ``number`` in a folder of its own."""
    rng = np.random.default_rng(number)
    shares = np.array([share for share, _ in KINDS])
    make = KINDS[int(rng.choice(len(KINDS), p=shares / shares.sum()))][1]
    with np.errstate(all="ignore"):
        return make(sound.copy(folder), rng, folder / "out.gpkg")
