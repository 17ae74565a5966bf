"""Name and line of each section, which follow from its other columns.

A county has a million sections; their names and lines take more room than all the rest of them, and
as many small things made here and there they keep memory from being given back. So a run carries
the other columns alone, and names and lines are made where they are written or shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

if TYPE_CHECKING:
    from reachrank.context import Table

Float = NDArray[np.float64]
END_COLUMNS = (
    "x_m", "y_m", "bearing_deg", "toe_width_m", "left_toe_offset_m", "left_top_offset_m",
    "right_toe_offset_m", "right_top_offset_m",
)  # fmt: skip
"""What the ends of a section follow from."""


def section_ends(sections: Mapping[str, Any] | Table) -> Float:
    """Return left and right end of each section in working coordinates, shape (n, 2, 2).

    An end is the top of the bank; where none was found the toe, else half a toe width out.

    Examples
    --------
    >>> nothing = np.array([np.nan])
    >>> one = {"x_m": [5.0], "y_m": [0.0], "bearing_deg": [0.0], "toe_width_m": [3.0],
    ...        "left_toe_offset_m": [1.5], "left_top_offset_m": [4.0],
    ...        "right_toe_offset_m": nothing, "right_top_offset_m": nothing}
    >>> section_ends(one)[0].tolist()  # flowing north: left is west
    [[1.0, 0.0], [6.5, 0.0]]
    """
    values = {name: np.asarray(sections[name], np.float64) for name in END_COLUMNS}
    bearing = np.radians(values["bearing_deg"])
    to_left = np.column_stack([-np.cos(bearing), np.sin(bearing)])
    middle = np.column_stack([values["x_m"], values["y_m"]])
    ends = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        toe, top = values[f"{side}_toe_offset_m"], values[f"{side}_top_offset_m"]
        out = np.where(np.isfinite(toe), toe, 0.5 * values["toe_width_m"])
        out = np.where(np.isfinite(top), top, out)
        ends.append(middle + (sign * out)[:, None] * to_left)
    return np.stack(ends, axis=1)


NAMED_BY = ("section_id", "stream_id", "station_m")
"""Columns that `section_names` looks at."""


def section_names(sections: Mapping[str, Any] | Table) -> NDArray[np.object_]:
    """Return the names of sections: as they have them, else stream and station.

    Examples
    --------
    >>> import pandas as pd
    >>> section_names(pd.DataFrame({"stream_id": ["mill"], "station_m": [12.5]}))[0]
    'mill-000012.50'
    """
    if "section_id" in sections:
        return np.asarray(sections["section_id"], dtype=object)
    # lists of plain values: columns give one after the other ten times as slowly
    streams = np.asarray(sections["stream_id"], dtype=object).tolist()
    stations = np.asarray(sections["station_m"], dtype=np.float64).tolist()
    names = np.empty(len(stations), dtype=object)
    names[:] = [f"{a}-{b:09.2f}" for a, b in zip(streams, stations, strict=True)]
    return names


def whole_sections(sections: Table, crs: object) -> gpd.GeoDataFrame:
    """Return sections with their names and lines."""
    named = sections.assign(section_id=section_names(sections))
    return gpd.GeoDataFrame(named, geometry=shapely.linestrings(section_ends(named)), crs=crs)
