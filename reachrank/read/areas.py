"""Read structures, roads, soils and constraint areas: only what lies near the streams."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.crs import Box, WorkingCrs, horizontal_part, to_working, transform_box
from reachrank.read.mend import mended
from reachrank.read.near import NearMask
from reachrank.read.source import Source, parse_source
from reachrank.read.told import tell_each
from reachrank.read.vector import VectorLayer, find_column, open_layer, read_layer, words
from reachrank.settings.inputs import InputsSettings

_PAGE = 250_000
_CLASS_WORDS = (
    ("building", ("build", "footprint", "structure", "house", "home", "dwelling", "bldg")),
    ("railway", ("rail", "train")),
    ("road", ("road", "street", "highway", "centerline", "centreline", "route")),
    ("bridge", ("bridge",)),
    ("line", ("pipe", "sewer", "utilit", "power", "gas", "main")),
    ("well", ("well", "septic")),
)
_TEXTURES = ("texture", "texcl", "texture_class")
_ERODIBILITIES = ("erodibility", "kffact", "kwfact", "k_factor")
_CONSTRAINT_NAMES = ("name", "label", "type", "zone", "fld_zone", "wetland_type")


@dataclass(frozen=True)
class Near:
    """Where the streams are, and how far from them things still matter."""

    lines: gpd.GeoDataFrame
    within_m: float
    crs: WorkingCrs

    @property
    def box(self) -> Box:
        """The box around all lines, widened by the distance, in working coordinates."""
        west, south, east, north = (float(v) for v in self.lines.total_bounds)
        far = self.within_m
        return west - far, south - far, east + far, north + far


def read_structures(
    specs: Sequence[str],
    roads: str | None,
    settings: InputsSettings,
    near: Near,
    findings: Findings,
    *,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Return the `structures` table from all structure layers and the road layer.

    The class comes from the class attribute, else from the layer's name (a word for a building,
    a road, a railway in it), else it is the layer's name itself; in the road layer it is road.
    """
    tables = []
    taken: set[str] = set()
    for spec, is_roads in [*((s, False) for s in specs), *([(roads, True)] if roads else [])]:
        source = parse_source(spec)
        layer = open_layer(source, allow_remote=allow_remote)
        wanted = "" if is_roads else settings.structure_class_attribute
        column = find_column(layer, wanted, (), "inputs.structure_class_attribute")
        name = _free_name(layer, source, taken)
        table = read_near(
            layer, [column] if column else [], near, findings, allow_remote=allow_remote
        )
        by_layer = "road" if is_roads else class_of_layer(layer.name)
        classes = (
            [_word(word) or by_layer for word in words(table[column])]
            if column
            else [by_layer] * len(table)
        )
        tables.append(
            gpd.GeoDataFrame(
                {
                    "structure_id": [f"{name}:{row}" for row in table["row"]],
                    "structure_class": pd.Series(classes, index=table.index, dtype=object),
                    "source": name,
                },
                geometry=table.geometry.to_numpy(),
                crs=near.crs.working,
            )
        )
    return _joined(tables, ["structure_id", "structure_class", "source"], near)


def read_soils(
    spec: str,
    settings: InputsSettings,
    near: Near,
    findings: Findings,
    *,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Return the `soils` table: polygons with texture, erodibility or both."""
    layer = open_layer(parse_source(spec), allow_remote=allow_remote)
    texture = find_column(
        layer, settings.soil_texture_attribute, _TEXTURES, "inputs.soil_texture_attribute"
    )
    erodibility = find_column(
        layer,
        settings.soil_erodibility_attribute,
        _ERODIBILITIES,
        "inputs.soil_erodibility_attribute",
    )
    if texture is None and erodibility is None:
        raise InputError(
            "The soil layer has no column with a texture or an erodibility; it has: "
            f"{', '.join(layer.columns)}.",
            hint="Name one with inputs.soil_texture_attribute or "
            "inputs.soil_erodibility_attribute.",
            where=layer.where,
        )
    _only_polygons(layer)
    columns = sorted({column for column in (texture, erodibility) if column})
    table = read_near(layer, columns, near, findings, allow_remote=allow_remote)
    numbers = (
        pd.to_numeric(table[erodibility], errors="coerce").astype("float64")
        if erodibility
        else pd.Series(np.nan, table.index)
    )
    made = gpd.GeoDataFrame(
        {
            "texture": pd.Series(
                words(table[texture]) if texture else [None] * len(table),
                index=table.index,
                dtype=object,
            ),
            "erodibility": numbers.where(numbers >= 0),
        },
        geometry=table.geometry,
        crs=near.crs.working,
    )
    return _by_place(made)


def read_constraints(
    spec: str,
    settings: InputsSettings,
    near: Near,
    findings: Findings,
    *,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Return the `constraints` table: areas that call for a permit, each with a name."""
    layer = open_layer(parse_source(spec), allow_remote=allow_remote)
    column = find_column(
        layer,
        settings.constraint_name_attribute,
        _CONSTRAINT_NAMES,
        "inputs.constraint_name_attribute",
    )
    table = read_near(layer, [column] if column else [], near, findings, allow_remote=allow_remote)
    names = (
        [word or layer.name for word in words(table[column])]
        if column
        else [layer.name] * len(table)
    )
    made = gpd.GeoDataFrame(
        {"constraint_name": pd.Series(names, index=table.index, dtype=object)},
        geometry=table.geometry,
        crs=near.crs.working,
    )
    return _by_place(made)


def read_near(
    layer: VectorLayer,
    columns: Sequence[str],
    near: Near,
    findings: Findings,
    *,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Return the features near a stream line, mended, in the working CRS.

    None within the distance is missing; some that lie a little farther may be among them. The
    file is asked only for the box around the streams, page by page, so that a layer of a million
    features costs the memory of those that are kept. The column ``row`` holds the feature id of
    the file.
    """
    box = transform_box(near.crs.working, horizontal_part(layer.crs), near.box)
    mask = NearMask.of(near.lines.geometry.to_numpy(), near.within_m, near.box)
    kept = []
    for page in _pages(layer, columns, box, allow_remote=allow_remote):
        table = to_working(page.reset_index(names="row"), near.crs)
        table = table[mask.touches(shapely.bounds(table.geometry.to_numpy()))]
        table = _mended(table, layer, findings)
        flat = shapely.force_2d(table.geometry.to_numpy())
        kept.append(table.set_geometry(gpd.GeoSeries(flat, table.index, crs=near.crs.working)))
    if not kept:
        empty = gpd.GeoDataFrame({"row": [], **{c: [] for c in columns}}, geometry=[])
        return empty.set_crs(near.crs.working)
    whole = pd.concat(kept, ignore_index=True) if len(kept) > 1 else kept[0]
    return whole.sort_values("row", kind="stable").reset_index(drop=True)


def class_of_layer(name: str) -> str:
    """Return the structure class that a layer's name tells.

    Examples
    --------
    >>> class_of_layer("Building_Footprints_2020"), class_of_layer("cell towers")
    ('building', 'cell_towers')
    """
    lower = name.lower()
    for word, signs in _CLASS_WORDS:
        if any(sign in lower for sign in signs):
            return word
    return _word(name) or "structure"


def _pages(
    layer: VectorLayer, columns: Sequence[str], box: Box, *, allow_remote: bool
) -> Iterator[gpd.GeoDataFrame]:
    skip = 0
    while True:
        page = read_layer(
            layer, columns, box=box, skip=skip, count=_PAGE, allow_remote=allow_remote
        )
        if len(page):
            yield page
        if len(page) < _PAGE:
            return
        skip += _PAGE


def _mended(table: gpd.GeoDataFrame, layer: VectorLayer, findings: Findings) -> gpd.GeoDataFrame:
    geometry = table.geometry.to_numpy()
    nothing = shapely.is_empty(geometry)
    broken = ~nothing & ~shapely.is_valid(geometry)
    tangled = np.zeros(len(geometry), np.bool_)
    if broken.any():
        whole = geometry.copy()
        whole[broken] = [mended(shape) for shape in geometry[broken]]
        table = table.set_geometry(gpd.GeoSeries(whole, table.index, crs=table.crs))
        tangled = broken & shapely.is_missing(whole)
        nothing |= shapely.is_empty(whole)
        broken &= ~nothing & ~tangled

    def tell(code: str, text: str, rows: gpd.GeoDataFrame, *, is_out: bool) -> None:
        tell_each(
            findings,
            "left_out" if is_out else "info",
            code,
            text,
            [str(row) for row in rows["row"]],
            source_layer=layer.name,
        )

    tell("no_geometry", "This feature has no usable geometry.", table[nothing], is_out=True)
    tell(
        "too_tangled", "This shape crosses itself too often to be mended.", table[tangled],
        is_out=True,
    )  # fmt: skip
    tell("shape_mended", "This shape crossed itself and was mended.", table[broken], is_out=False)
    return table[~nothing & ~tangled]


def _only_polygons(layer: VectorLayer) -> None:
    if any(word in layer.geometry for word in ("Point", "LineString")):
        raise InputError(
            f"The layer holds {layer.geometry} features, not polygons.", where=layer.where
        )


def _free_name(layer: VectorLayer, source: Source, taken: set[str]) -> str:
    """Return the layer's name, with the file's before it where another layer has that name."""
    name = layer.name
    if name in taken:
        name = f"{source.stem}.{layer.name}"
    number = 2
    while name in taken:
        name, number = f"{source.stem}.{layer.name}.{number}", number + 1
    taken.add(name)
    return name


def _word(text: str | None) -> str:
    return re.sub(r"[\s\-/]+", "_", (text or "").strip().lower())


def _joined(tables: list[gpd.GeoDataFrame], columns: list[str], near: Near) -> gpd.GeoDataFrame:
    filled = [table for table in tables if len(table)]
    if not filled:
        empty = gpd.GeoDataFrame(
            {column: pd.Series(dtype=object) for column in columns}, geometry=[]
        )
        return empty.set_crs(near.crs.working)
    whole = gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=near.crs.working)
    return _by_place(whole)


def _by_place(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Sort by place, so that the order of the input rows does not show."""
    geometry = table.geometry.to_numpy()
    keys = pd.DataFrame(shapely.bounds(geometry), columns=["west", "south", "east", "north"])
    keys["wkb"] = shapely.to_wkb(geometry)
    for name in table.columns.drop(table.geometry.name):
        keys[name] = table[name].to_numpy()
        if keys[name].dtype == object:
            keys[name] = keys[name].fillna("")
    order = keys.sort_values(list(keys.columns), kind="stable").index
    return table.iloc[order.to_numpy()].reset_index(drop=True)
