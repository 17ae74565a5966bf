"""Open a ranked file, or a docket made from one, for the work on requests."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS
from pyproj.exceptions import CRSError

from reachrank.errors import InputError
from reachrank.read.crs import metric_twin
from reachrank.read.tables import read_tables
from reachrank.requests.applications import KEPT
from reachrank.write.run_info import value_of

if TYPE_CHECKING:
    from reachrank.context import Table, Tables

_NEEDED = ("reaches", "banks", "repairs")
_KEPT = ("reaches", "banks", "repairs", "exposures", "run_info", "docket", "sites")
_NOT_THE_RUN = ("written_units", "crs.output", "cautions", "stage")
_MORE = {
    "bank_id": "str", "stream_id": "str", "stream_name": "str", "bank_rank": "int",
    "bank_rank_low": "int", "bank_rank_high": "int", "priority_score": "float",
    "confidence_frac": "float", "structures_count": "int",
}  # fmt: skip


@dataclass(frozen=True)
class RankedTables:
    """Layers of a ranked file in metric columns, in the CRS of the file.

    ``metric_crs`` is the CRS to measure in; ``repairs`` has one row for each repair with what
    `repair_facts` adds.
    """

    where: str
    tables: Tables
    repairs: gpd.GeoDataFrame
    crs: CRS
    metric_crs: CRS
    info: pd.DataFrame
    run_id: str
    is_us: bool

    @property
    def is_docket(self) -> bool:
        """Whether the file holds a docket."""
        return "docket" in self.tables


def open_ranked(path: str | Path) -> RankedTables:
    """Read what requests need of a ranked file or a docket.

    Raises
    ------
    InputError
        If it lacks the reaches, the banks or the repairs.
    """
    tables = read_tables(path)
    missing = [name for name in _NEEDED if name not in tables]
    if missing:
        raise InputError(
            f"The file has no layer {', '.join(missing)}.",
            hint="Give a file that `reachrank rank` or `reachrank screen` wrote.",
            where=str(path),
        )
    tables = {name: table for name, table in tables.items() if name in _KEPT}
    if "docket" in tables:
        tables["docket"] = _with_kept(tables["docket"], str(path))
    info = tables.get("run_info", pd.DataFrame({"key": [], "value": []}, dtype=object))
    crs = tables["banks"].crs
    if crs is None:
        raise InputError("The layer banks does not say its CRS.", where=str(path))
    return RankedTables(
        where=str(path),
        tables=tables,
        repairs=repair_facts(tables),
        crs=crs,
        metric_crs=_metric_crs(info, crs, str(path)),
        info=info,
        run_id=value_of(info, "requests.run_id") or run_id(info),
        is_us=value_of(info, "written_units").startswith("us"),
    )


def _with_kept(docket: Table, path: str) -> Table:
    """Return the docket with the columns that were carried along from the applications."""
    kept = [name for name in pyogrio.read_info(path, layer="docket")["fields"]
            if str(name).startswith(KEPT)]  # fmt: skip
    if not kept:
        return docket
    values = pyogrio.read_dataframe(path, layer="docket", columns=kept, read_geometry=False)
    return docket.assign(
        **{name: values[name].where(values[name].notna(), None).to_numpy() for name in kept}
    )


def run_id(info: pd.DataFrame) -> str:
    """Return the fingerprint of the run that a ``run_info`` layer tells of.

    The units and the CRS of the written file do not change it: it is the same ranking.
    """
    rows = sorted(
        (str(key), str(value))
        for key, value in zip(info["key"], info["value"], strict=True)
        if key not in _NOT_THE_RUN
    )
    return hashlib.sha256(repr(rows).encode()).hexdigest()[:10]


def repair_facts(tables: Tables) -> gpd.GeoDataFrame:
    """Return the repairs with their best bank, its rank and score, and the structures near them.

    Parameters
    ----------
    tables
        ``repairs``, ``banks``, ``reaches``, and ``exposures`` where there are any.

    Returns
    -------
    geopandas.GeoDataFrame
        In the order of repair_id, with ``bank_id``, ``stream_id``, ``stream_name``,
        ``bank_rank`` and its range, ``priority_score``, ``confidence_frac`` and
        ``structures_count``. A repair lies on one bank of one or more reaches; its best bank is
        the one with the best rank.
    """
    repairs = tables["repairs"].sort_values("repair_id", ignore_index=True)
    if repairs["repair_id"].duplicated().any():
        raise InputError("Two repairs have the same repair_id.", where="layer repairs")
    pairs = repairs[["repair_id", "bank", "reach_ids"]].copy()
    pairs["reach_id"] = pairs.pop("reach_ids").astype(str).str.split(",")
    pairs = pairs.explode("reach_id")
    pairs["reach_id"] = pairs["reach_id"].str.strip()
    wanted = ["bank_id", "reach_id", "bank", "rank", "rank_low", "rank_high", "priority_score",
              "confidence_frac"]  # fmt: skip
    banks = pd.DataFrame(tables["banks"]).reindex(columns=wanted)
    reaches = pd.DataFrame(tables["reaches"]).reindex(
        columns=["reach_id", "stream_id", "stream_name"]
    )
    all_pairs = pairs.merge(banks, how="left", on=["reach_id", "bank"]).merge(
        reaches, how="left", on="reach_id"
    )
    best = all_pairs.sort_values(
        ["repair_id", "rank", "bank_id"], na_position="last"
    ).drop_duplicates("repair_id")
    best = best.rename(
        columns={"rank": "bank_rank", "rank_low": "bank_rank_low", "rank_high": "bank_rank_high"}
    ).set_index("repair_id")
    out = repairs.drop(columns=[n for n in _MORE if n in repairs.columns])
    for name in _MORE:
        if name != "structures_count":
            out[name] = best[name].reindex(out["repair_id"]).to_numpy()
    for name in ("bank_rank", "bank_rank_low", "bank_rank_high"):
        out[name] = out[name].astype("Int64")
    out["structures_count"] = _structures(out, all_pairs, tables)
    return out


def _structures(repairs: pd.DataFrame, pairs: pd.DataFrame, tables: Tables) -> pd.Series:
    """Count each structure once, at the repair that its shortest line to a bank starts nearest."""
    counts = pd.Series(0, index=repairs.index, dtype="Int64")
    exposures = tables.get("exposures")
    if exposures is None or exposures.empty or repairs.empty:
        return counts
    near = exposures[["structure_id", "bank_id", "bank_distance_m"]].assign(
        start=exposures.geometry.interpolate(0.0).to_numpy()
    )
    near = near.merge(pairs[["repair_id", "bank_id"]], on="bank_id")
    if near.empty:
        return counts
    lines = repairs.set_index("repair_id").geometry
    along = gpd.GeoSeries(lines.reindex(near["repair_id"]).to_numpy(), crs=lines.crs)
    near["off"] = along.distance(gpd.GeoSeries(near["start"].to_numpy(), crs=lines.crs)).to_numpy()
    first = near.sort_values(
        ["structure_id", "off", "bank_distance_m", "repair_id"]
    ).drop_duplicates("structure_id")
    found = first["repair_id"].value_counts()
    return repairs["repair_id"].map(found).fillna(0).astype("Int64")


def _metric_crs(info: pd.DataFrame, crs: CRS, where: str) -> CRS:
    stated = value_of(info, "crs.working")
    if stated:
        try:
            return CRS.from_json(stated)
        except CRSError:
            pass  # the file was edited; its own CRS serves
    if not crs.is_projected:
        raise InputError("The file is not in a projected CRS, so nothing can be measured.",
                         where=where)  # fmt: skip
    return crs if np.isclose(crs.axis_info[0].unit_conversion_factor, 1.0) else metric_twin(crs)
