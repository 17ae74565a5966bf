"""Findings: every thing mended, left out or doubted, as a row instead of a stop."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

Severity = Literal["info", "warning", "left_out"]


@dataclass
class Findings:
    """A list of findings that grows while a run goes on.

    ``code`` is a short stable word (``zero_length``, ``turned``, ``coarse``), ``text`` the
    sentence for a person. ``source_layer`` and ``source_id`` say which input feature it is
    about, ``station_m`` where along a stream, ``geometry`` (in the working CRS) where on the map.
    """

    rows: list[dict[str, object]] = field(default_factory=list)

    def add(
        self,
        severity: Severity,
        code: str,
        text: str,
        *,
        source_layer: str = "",
        source_id: str = "",
        station_m: float | None = None,
        geometry: BaseGeometry | None = None,
    ) -> None:
        """Add one finding."""
        self.rows.append(
            {
                "severity": severity,
                "code": code,
                "text": text,
                "source_layer": source_layer,
                "source_id": source_id,
                "station_m": station_m,
                "geometry": geometry,
            }
        )

    @classmethod
    def from_frame(cls, table: pd.DataFrame | None) -> Findings:
        """Return the findings of a table that `to_frame` made; none where there is no table."""
        if table is None:
            return cls()
        return cls(
            [
                {str(name): None if _is_null(value) else value for name, value in row.items()}
                for row in table.to_dict("records")
            ]
        )

    def to_frame(self, crs: CRS | None) -> gpd.GeoDataFrame:
        """Return the findings as a table, in the order they were added."""
        columns = ["severity", "code", "text", "source_layer", "source_id", "station_m", "geometry"]
        table = pd.DataFrame(self.rows, columns=columns)
        table["station_m"] = table["station_m"].astype("float64")
        return gpd.GeoDataFrame(table, geometry="geometry", crs=crs)


def _is_null(value: Any) -> bool:
    return value is None or (not hasattr(value, "geom_type") and bool(pd.isna(value)))
