"""Write a docket or sites as a GeoPackage: whole layers, checked, in the units of the reader."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from reachrank.report.plain import plain
from reachrank.requests.applications import KEPT
from reachrank.requests.ranked_tables import RankedTables
from reachrank.schema import LAYERS
from reachrank.units import to_us
from reachrank.write.conform import conform
from reachrank.write.geopackage import check_file, write_layers
from reachrank.write.place import aside
from reachrank.write.styles import add_styles
from reachrank.write.us_text import us_text

if TYPE_CHECKING:
    from reachrank.context import Table

_SENTENCES = {"reason", "placed_by", "changed", "text", "path_reasons"}
_FACTS = ("requests.run_id", "requests.made_by", "requests.rules", "requests.rules_name",
          "requests.applications", "requests.budget")  # fmt: skip
_ORDER = ("docket", "sites", "reaches", "banks", "exposures", "repairs", "run_info")


def write_requests(
    layers: Mapping[str, Table],
    facts: Mapping[str, str],
    ranked: RankedTables,
    path: str | Path,
    *,
    us: bool,
    overwrite: bool = False,
) -> Path:
    """Write the layers and return where the file is.

    Parameters
    ----------
    layers
        Metric, in the CRS of the ranked file: ``docket``, ``sites``, and those of the ranked file
        that belong to them. Columns that begin with ``kept_`` go along as they are.
    facts
        What the layer ``run_info`` says besides the run that the file was made from.
    us
        Write U.S. customary columns.
    """
    whole = {**layers, "run_info": _info(ranked, facts, us=us)}
    made = {name: _finished(whole[name], name, us=us) for name in _ORDER if name in whole}
    with aside(Path(path), overwrite=overwrite) as file:
        write_layers(file.path, made, us=us)
        add_styles(file.path, made, us=us)
        check_file(file.path, made)
    return file.landed


def belonging(ranked: RankedTables, repair_ids: set[str]) -> dict[str, Table]:
    """Return the layers of the ranked file, cut down to some repairs and what they lie on."""
    repairs = ranked.tables["repairs"]
    repairs = repairs[repairs["repair_id"].isin(repair_ids)]
    reach_ids = {word.strip() for text in repairs["reach_ids"] for word in str(text).split(",")}
    out: dict[str, Table] = {"repairs": repairs}
    for name in ("reaches", "banks", "exposures"):
        if name in ranked.tables:
            table = ranked.tables[name]
            out[name] = table[table["reach_id"].isin(reach_ids)]
    return out


def finished_docket(docket: gpd.GeoDataFrame, *, us: bool) -> gpd.GeoDataFrame:
    """Return the docket as it is written: columns in order, in the units asked for."""
    return _finished(docket, "docket", us=us)


def _finished(table: Table, name: str, *, us: bool) -> Table:
    layer = LAYERS[name]
    extra = [str(c) for c in table.columns if str(c).startswith(KEPT)]
    made = conform(_typed(table.drop(columns=extra)), layer, whole=True)
    if us:
        made = to_us(made)
        for column in _SENTENCES & set(made.columns):
            made[column] = made[column].map(us_text, na_action="ignore").astype("string")
    for column in extra:
        shown = [None if not text else plain(text) for text in table[column]]
        made[column] = pd.Series(shown, index=made.index, dtype="string")
    if isinstance(made, gpd.GeoDataFrame):
        # the geometry stays last, as everywhere
        order = [c for c in made.columns if c != made.geometry.name]
        made = made[[*order, made.geometry.name]]
    return made


def _typed(table: Table) -> Table:
    """Return numbers as numbers where a column of objects holds them."""
    out = table.copy()
    for name in out.columns:
        if out[name].dtype == object and not (
            isinstance(out, gpd.GeoDataFrame) and name == out.geometry.name
        ):
            values = out[name]
            kinds = {type(value) for value in values if value is not None and value == value}  # noqa: PLR0124
            if kinds and kinds <= {float, int, np.float64, np.int64}:
                out[name] = pd.to_numeric(values)
            elif not kinds:
                out[name] = pd.Series(None, index=out.index, dtype=object)
    return out


def _info(ranked: RankedTables, facts: Mapping[str, str], *, us: bool) -> pd.DataFrame:
    rows = dict(zip(ranked.info["key"], ranked.info["value"], strict=True))
    rows = {key: value for key, value in rows.items() if key not in _FACTS}
    rows["written_units"] = (
        "us: international feet of 0.3048 m exactly, square miles, square yards" if us else "metric"
    )
    rows["requests.run_id"] = ranked.run_id
    rows |= facts
    return pd.DataFrame(rows.items(), columns=["key", "value"])
