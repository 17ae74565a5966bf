"""Read the stream layer: its name, area and width columns, and its lines."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reachrank.errors import InputError
from reachrank.findings import Findings
from reachrank.read.crs import WorkingCrs, to_working
from reachrank.read.dem import Dem
from reachrank.read.lines import clean_lines
from reachrank.read.told import tell_each
from reachrank.read.vector import VectorLayer, find_column, read_layer, words
from reachrank.settings.inputs import InputsSettings
from reachrank.units import AREA_TO_KM2, LENGTH_TO_M

_NAMES = ("name", "gnis_name", "stream_name")


def check_stream_layer(layer: VectorLayer) -> None:
    """Raise `InputError` for a layer that cannot hold stream lines, before it is read."""
    if layer.count == 0:
        raise InputError("The stream layer is empty.", where=layer.where)
    kind = layer.geometry
    if any(word in kind for word in ("Point", "Polygon")):
        raise InputError(
            f"The stream layer holds {kind} features, not lines.",
            hint="Give the layer of stream centrelines.",
            where=layer.where,
        )


def read_streams(
    layer: VectorLayer,
    settings: InputsSettings,
    crs: WorkingCrs,
    dem: Dem,
    findings: Findings,
    *,
    allow_remote: bool = False,
) -> gpd.GeoDataFrame:
    """Return the `streams` table: cleaned lines in the working CRS, on the DEM.

    Raises
    ------
    InputError
        Where a column that a setting names is missing, or no line can be used.
    """
    name = find_column(
        layer, settings.stream_name_attribute, _NAMES, "inputs.stream_name_attribute"
    )
    area = find_column(layer, settings.area_attribute, (), "inputs.area_attribute")
    width = find_column(layer, settings.width_attribute, (), "inputs.width_attribute")
    columns = sorted({column for column in (name, area, width) if column})
    raw = read_layer(layer, columns, allow_remote=allow_remote)
    if raw.empty:
        raise InputError("The stream layer is empty.", where=layer.where)
    raw = raw.reset_index(drop=True)
    table = gpd.GeoDataFrame(
        {
            "row": np.arange(len(raw)),
            "stream_name": pd.Series(
                words(raw[name]) if name else [None] * len(raw), index=raw.index, dtype=object
            ),
            "attribute_area_km2": _numbers(raw, area, layer, findings)
            * AREA_TO_KM2[settings.area_attribute_unit],
            "attribute_width_m": _numbers(raw, width, layer, findings)
            * LENGTH_TO_M[settings.width_attribute_unit],  # type: ignore[index]
        },
        geometry=_flat(raw.geometry.to_numpy(), layer, findings),
        crs=raw.crs,
    )
    return clean_lines(
        to_working(table, crs),
        layer=layer.name,
        crs=crs.working,
        footprint=dem.footprint,
        least_line_m=settings.least_line_m,
        findings=findings,
    )


def _flat(geometry: NDArray[Any], layer: VectorLayer, findings: Findings) -> NDArray[Any]:
    """Drop heights and measures, and say so."""
    deep = int(shapely.has_z(geometry).sum())
    if deep or "Measured" in layer.geometry:
        what = "heights" if deep else "measures"
        findings.add(
            "info",
            "z_dropped",
            f"{deep or len(geometry)} lines carry {what} of their own; those are not used.",
            source_layer=layer.name,
        )
    return shapely.force_2d(geometry)  # type: ignore[no-any-return]


def _numbers(
    raw: gpd.GeoDataFrame, column: str | None, layer: VectorLayer, findings: Findings
) -> pd.Series[Any]:
    """Return a column as positive numbers; anything else is null and told."""
    if column is None:
        return pd.Series(np.nan, raw.index, dtype="float64")
    values = pd.to_numeric(raw[column], errors="coerce").astype("float64")
    good = np.isfinite(values) & (values > 0)
    bad = raw[column].notna() & ~good
    # zero and -9999 are how many tables say that they do not know
    tell_each(
        findings,
        "info",
        "attribute_not_used",
        f"The value of {column} is not a number above 0; it counts as missing.",
        [str(row) for row in raw.index[bad]],
        source_layer=layer.name,
    )
    return values.where(good)
