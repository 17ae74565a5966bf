"""Sites: repairs that someone chose, with frozen geometry and a name that stays.

The name is made from the geometry, so the same choice made twice gives the same name, also on
another machine. When the streams are ranked anew, a repair that overlaps a known site by more than
half of the longer of the two, on the same side, is that site.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reachrank.errors import UsageError
from reachrank.read.tables import read_tables
from reachrank.requests.ranked_tables import RankedTables
from reachrank.schema import SITES

# Crockford's base 32: no I, L, O, U, which are misread or misheard over the telephone.
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_SAME_LINE_M = 5.0
"""Bank tops that were found twice lie within this of each other."""


def site_name(line: shapely.Geometry, bank: str, taken: Iterable[str] = ()) -> str:
    """Return a name of seven letters and digits for a line, in two parts: ``4KT-9M2Q``.

    Parameters
    ----------
    line
        The repair, in the CRS of the file; its coordinates count to a hundredth of a unit.
    bank
        left or right.
    taken
        Names that other sites have; on the rare clash the next name is taken.
    """
    used = set(taken)
    places = np.round(shapely.get_coordinates(line), 2) + 0.0
    for attempt in range(1000):
        digest = hashlib.sha256(f"{bank} {places.tolist()} {attempt}".encode()).digest()
        number = int.from_bytes(digest[:8], "big")
        letters = "".join(_LETTERS[number >> 5 * k & 31] for k in range(7))
        name = f"{letters[:3]}-{letters[3:]}"
        if name not in used:
            return name
    raise UsageError("No free name was found for a site.", hint="The list of sites is broken.")


@dataclass(frozen=True)
class SiteBook:
    """Sites that are known already, in the CRS of the ranked file; ``unit_m`` is its unit."""

    sites: gpd.GeoDataFrame
    unit_m: float

    def of_repairs(self, repairs: gpd.GeoDataFrame) -> dict[str, str]:
        """Return repair_id to site_id for the repairs that are known sites."""
        found: dict[str, str] = {}
        if self.sites.empty or repairs.empty:
            return found
        lines = repairs.geometry.to_numpy()
        names = repairs["repair_id"].tolist()
        sides = repairs["bank"].tolist()
        known = self.sites.sort_values("site_id", ignore_index=True)
        # flat ends: beyond its ends a line has nothing in common with another
        near = shapely.buffer(
            known.geometry.to_numpy(), _SAME_LINE_M / self.unit_m, cap_style="flat"
        )
        areas, others = shapely.STRtree(lines).query(near, "intersects")
        for site, repair in zip(areas.tolist(), others.tolist(), strict=True):
            if known["bank"].iloc[site] != sides[repair]:
                continue
            shared = shapely.length(shapely.intersection(lines[repair], near[site]))
            longer = max(shapely.length(lines[repair]), known.geometry.iloc[site].length)
            if shared > 0.5 * longer:
                found.setdefault(names[repair], str(known["site_id"].iloc[site]))
        return found


def no_sites(ranked: RankedTables) -> gpd.GeoDataFrame:
    """Return the layer of sites without a row."""
    frame = pd.DataFrame({name: pd.Series(dtype=object) for name in SITES.names})
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries([], crs=ranked.crs))


def book_of(sites: gpd.GeoDataFrame, ranked: RankedTables) -> SiteBook:
    """Return a book of known sites in the CRS of the ranked file."""
    return SiteBook(sites.to_crs(ranked.crs), float(ranked.crs.axis_info[0].unit_conversion_factor))


def repairs_named(ranked: RankedTables, ids: Sequence[str]) -> list[str]:
    """Return the repair_id behind each name: of a repair, a site, or an application in a docket.

    Raises
    ------
    UsageError
        For names that are none of these, or an application that is matched to no repair; all are
        listed.
    """
    of_name = _names(ranked)
    unknown = [name for name in ids if name.casefold() not in of_name]
    if unknown:
        raise UsageError(
            f"There is no repair, site or application {', '.join(map(repr, unknown))}.",
            hint="Give names from the columns repair_id, site_id or application_id.",
            where=ranked.where,
        )
    without = [name for name in ids if not of_name[name.casefold()]]
    if without:
        raise UsageError(
            f"No repair belongs to {', '.join(map(repr, without))}.",
            hint="The docket says why in its column reason.",
            where=ranked.where,
        )
    found = [repair for name in ids for repair in of_name[name.casefold()]]
    return list(dict.fromkeys(found))


def _names(ranked: RankedTables) -> dict[str, list[str]]:
    of_name: dict[str, list[str]] = {}
    known = set(ranked.repairs["repair_id"])
    docket = ranked.tables.get("docket")
    if docket is not None:
        for column in ("application_id", "site_id"):
            pairs = zip(docket[column], docket["repair_id"], docket["state"], strict=True)
            for name, repair, state in pairs:
                if name is None or state == "duplicate":
                    continue
                has = of_name.setdefault(str(name).casefold(), [])
                if repair in known and repair not in has:
                    has.append(str(repair))
    sites = ranked.tables.get("sites")
    if sites is not None and len(sites):
        for repair, site in book_of(sites, ranked).of_repairs(ranked.repairs).items():
            of_name[site.casefold()] = [repair]
    of_name.update({str(name).casefold(): [str(name)] for name in sorted(known)})
    return of_name


def freeze(
    ranked: RankedTables,
    repair_ids: Sequence[str],
    known: gpd.GeoDataFrame,
    *,
    worth: dict[str, float] | None = None,
    charge_usd: dict[str, float] | None = None,
) -> tuple[gpd.GeoDataFrame, dict[str, str]]:
    """Return the layer of sites with the chosen repairs added, and repair_id to site_id.

    Parameters
    ----------
    ranked
        The ranked file or docket that they are chosen from.
    repair_ids
        The repairs chosen.
    known
        Sites that exist already; they stay as they are, a repair that is one of them is not added.
    worth, charge_usd
        Worth and charge in a choice within a budget, by repair_id.

    Returns
    -------
    sites, names
        In the CRS of the ranked file, in the order of site_id.
    """
    known = known.to_crs(ranked.crs)
    names = book_of(known, ranked).of_repairs(ranked.repairs)
    names = {repair: names[repair] for repair in repair_ids if repair in names}
    new = ranked.repairs[
        ranked.repairs["repair_id"].isin([r for r in repair_ids if r not in names])
    ].copy()
    taken = set(known["site_id"])
    made = []
    for line, bank in zip(new.geometry, new["bank"], strict=True):
        made.append(site_name(line, str(bank), taken))
        taken.add(made[-1])
    new["site_id"] = made
    names |= dict(zip(new["repair_id"], made, strict=True))
    new["run_id"] = ranked.run_id
    new["worth"] = new["repair_id"].map(worth or {}).astype("float64")
    new["charge_usd"] = new["repair_id"].map(charge_usd or {}).astype("float64")
    asked = _asked(ranked)
    new["application_ids"] = [asked.get(r, (None, None))[0] for r in new["repair_id"]]
    new["share_usd"] = [asked.get(r, (None, None))[1] for r in new["repair_id"]]
    new["share_usd"] = new["share_usd"].astype("float64")
    parts = [_plain_rows(table) for table in (known, new) if len(table)]
    rows = pd.DataFrame([row for part in parts for row in part], columns=[*SITES.names, "geometry"])
    sites = gpd.GeoDataFrame(rows, geometry=gpd.GeoSeries(rows["geometry"], crs=ranked.crs))
    return sites.sort_values("site_id", ignore_index=True), names


def _plain_rows(table: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return rows of the layer sites as plain values, so that tables of other types can join."""
    frame = pd.DataFrame(table.drop(columns=table.geometry.name)).reindex(columns=SITES.names)
    values = frame.astype(object).where(frame.notna(), None)
    values["geometry"] = table.geometry.to_numpy()
    rows: list[dict[str, Any]] = values.to_dict("records")
    return rows


def _asked(ranked: RankedTables) -> dict[str, tuple[str | None, float | None]]:
    """Return repair_id to the eligible applications for it and the program's money together."""
    docket = ranked.tables.get("docket")
    if docket is None:
        return {}
    eligible = docket[(docket["state"] == "eligible") & docket["repair_id"].notna()]
    return {
        str(repair): (
            ",".join(group["application_id"].astype(str)),
            float(group["share_usd"].sum()) if group["share_usd"].notna().all() else None,
        )
        for repair, group in eligible.groupby("repair_id")
    }


def known_sites(ranked: RankedTables, path: str | Path | None) -> gpd.GeoDataFrame:
    """Return the sites that a file and the ranked file or docket itself hold, each once."""
    tables = []
    if path is not None:
        tables.append(read_tables(path, layers=("sites",))["sites"].to_crs(ranked.crs))
    if "sites" in ranked.tables:
        tables.append(ranked.tables["sites"])
    tables = [table for table in tables if len(table)]
    if not tables:
        return no_sites(ranked)
    if len(tables) == 1:
        return tables[0]
    rows = pd.DataFrame([row for table in tables for row in _plain_rows(table)])
    joined = gpd.GeoDataFrame(rows, geometry=gpd.GeoSeries(rows["geometry"], crs=ranked.crs))
    return joined.drop_duplicates("site_id", ignore_index=True)
