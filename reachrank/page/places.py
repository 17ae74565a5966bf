"""Put a ranked file's layers where the page needs them: metres to thin lines, degrees to show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from reachrank.errors import InputError
from reachrank.write.run_info import value_of

if TYPE_CHECKING:
    from reachrank.context import Table

DRAWN = ("reaches", "banks", "sections", "repairs", "exposures")


def working_crs(tables: Mapping[str, Table]) -> CRS:
    """Return the CRS in metres that the run worked in.

    Raises
    ------
    InputError
        If the file does not say it.
    """
    told = value_of(tables["run_info"], "crs.working")
    try:
        return CRS.from_user_input(told)
    except CRSError as error:
        raise InputError(
            "The file does not say in which coordinates it was made.",
            hint="Rank anew with `reachrank rank`.",
        ) from error


def in_metres(tables: Mapping[str, Table], crs: CRS) -> dict[str, np.ndarray]:
    """Return the geometry of the drawn layers in the working CRS, one array to a layer."""
    return {
        name: tables[name].to_crs(crs).geometry.to_numpy()
        for name in DRAWN
        if isinstance(tables.get(name), gpd.GeoDataFrame)
    }


def thinned_degrees(geometry: np.ndarray, crs: CRS, tolerance_m: float) -> np.ndarray:
    """Return lines in degrees (EPSG:4326), nowhere off by more than a tolerance."""
    thin = shapely.simplify(geometry, tolerance_m) if tolerance_m > 0 else geometry
    return np.asarray(gpd.GeoSeries(thin, crs=crs).to_crs(4326).array, dtype=object)


def findings_by_row(
    findings: Table, reaches_m: np.ndarray, crs: CRS, *, within_m: float = 15.0, most: int = 3
) -> dict[int, list[str]]:
    """Return the sentences of findings, notes left out, that lie at a reach, by the reach's row."""
    if not isinstance(findings, gpd.GeoDataFrame) or findings.crs is None:
        return {}
    told = findings[findings["severity"].ne("info") & findings.geometry.notna()]
    if told.empty or not len(reaches_m):
        return {}
    at = told.to_crs(crs).geometry.to_numpy()
    which, row = shapely.STRtree(reaches_m).query(at, predicate="dwithin", distance=within_m)[:2]
    pairs = pd.DataFrame({"row": row, "text": told["text"].to_numpy()[which]}).drop_duplicates()
    out: dict[int, list[str]] = {}
    for place, text in pairs.sort_values(["row", "text"]).itertuples(index=False):
        texts = out.setdefault(int(place), [])
        if len(texts) < most:
            texts.append(str(text))
    return out
