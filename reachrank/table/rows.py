"""Layers as rows for people: in order of rank, with a place in degrees, in the chosen units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from reachrank.context import Table
from reachrank.description import description
from reachrank.errors import InputError
from reachrank.page.sentences import metric_text
from reachrank.schema import LAYERS, Column
from reachrank.units import to_us, us_unit
from reachrank.write.us_text import us_text

SHEETS = ("reaches", "banks", "repairs")
"""The layers that a table is made of."""
MORE = ("materials",)
"""Layers that come along in a workbook where they have rows."""
_PLACE = (
    Column("longitude_deg", "float", "Longitude of the middle of the line, WGS 84.", "degrees"),
    Column("latitude_deg", "float", "Latitude of the middle of the line, WGS 84.", "degrees"),
)
_SENTENCES = {"reason", "path_reasons", "permit_questions", "velocity_source"}
"""Columns whose text may hold lengths; a file in U.S. units has them in feet."""
_FIRST = (
    "bank_id", "repair_id", "reach_id", "stream_name", "worst_bank", "bank", "rank", "rank_low",
    "rank_high", "priority_class", "priority_score", "path", "reason",
)  # fmt: skip
"""What a reader looks for; the other columns follow in the schema's order."""
_ID = {"reaches": "reach_id", "banks": "bank_id", "repairs": "repair_id"}


def rows_of(tables: Mapping[str, Table], layer: str, *, us: bool) -> pd.DataFrame:
    """Return the rows of a layer, first rank first, without geometry.

    Parameters
    ----------
    tables
        As `reachrank.read.tables.read_tables` gives them: metric.
    layer
        Its name.
    us
        U.S. customary columns, and feet in sentences; else metres in both.

    Returns
    -------
    pandas.DataFrame
        What a reader looks for first, the schema's other columns, then longitude_deg and
        latitude_deg of the middle of the line. A column in which nothing is known is left out,
        except that ids, ranks and scores always stay.

    Raises
    ------
    InputError
        If the file has no such layer.
    """
    if layer not in tables:
        raise InputError(
            f"The file has no layer {layer}.", hint="Give the file that `reachrank rank` wrote."
        )
    table = tables[layer]
    order = [name for name in ("rank", _ID.get(layer, "repair_id")) if name in table]
    table = table.sort_values(order, na_position="last", kind="stable").reset_index(drop=True)
    plain = pd.DataFrame(table.drop(columns="geometry", errors="ignore"))
    if isinstance(table, gpd.GeoDataFrame) and table.crs is not None:
        middle = table.geometry.interpolate(0.5, normalized=True).to_crs(4326)
        plain["longitude_deg"] = np.round(middle.x.to_numpy(), 6)
        plain["latitude_deg"] = np.round(middle.y.to_numpy(), 6)
    turned = us_text if us else metric_text
    for name in _SENTENCES & set(plain.columns):
        plain[name] = plain[name].map(turned, na_action="ignore")
    if us:
        plain = to_us(plain)
    keep = [c for c in plain.columns if plain[c].notna().any() or _always(str(c)) or plain.empty]
    first = [name for name in _FIRST if name in keep]
    return plain[[*first, *(name for name in keep if name not in first)]]


def columns_of(layer: str, names: Sequence[str], *, us: bool) -> list[tuple[Column, str, str, str]]:
    """Return for each written column its metric description, its heading, meaning and unit.

    Parameters
    ----------
    layer
        Name of the layer.
    names
        Columns as `rows_of` gives them.
    us
        Whether those are U.S. customary.
    """
    known = {description(c, us=us).column: c for c in (*LAYERS[layer], *_PLACE)}
    out = []
    for name in names:
        column = known[name]
        told = description(column, us=us)
        unit = us_unit(column.unit) if us else column.unit
        heading = told.title.removesuffix(" (ratio)")
        if unit not in ("", "ratio") and not heading.endswith(")"):
            heading = f"{heading} ({unit})"
        out.append((column, heading, told.text, unit))
    return out


def _always(name: str) -> bool:
    return name.endswith(("_id", "_score")) or name == "rank"
