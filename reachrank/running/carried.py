"""What a run does not carry from stage to stage, because it follows from the rest.

Lines of sections and bends and the names of sections take more room than all that is measured of
them, and no stage needs them. They are made again, some rows at a time, where they are written.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import geopandas as gpd

if TYPE_CHECKING:
    from reachrank.context import Table

DROPPED = {"sections": ("section_id", "geometry"), "bends": ("geometry",)}
"""Columns, by layer, that are made again by `whole`."""


def whole(layer: str, rows: Table, tables: Mapping[str, Table], crs: object) -> Table:
    """Return rows of a layer with all of their columns.

    Parameters
    ----------
    layer
        Its name.
    rows
        Some rows or all; where they have their lines they are returned as they are.
    tables
        All layers of the run, from which the missing columns follow.
    crs
        The working CRS.
    """
    from reachrank.planform.lines import bend_lines  # noqa: PLC0415  (opens the kernels)
    from reachrank.sections.whole import whole_sections  # noqa: PLC0415

    if layer not in DROPPED or isinstance(rows, gpd.GeoDataFrame):
        return rows
    if layer == "sections":
        return whole_sections(rows, crs)
    lines = bend_lines(rows, gpd.GeoDataFrame(tables["channel"]))
    return gpd.GeoDataFrame(rows, geometry=lines, crs=crs)
