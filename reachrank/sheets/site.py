"""The places that get a sheet: the worst bank of each reach in order of rank, with its repair."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from reachrank.context import Table
from reachrank.errors import InputError, UsageError

NEEDED = (
    "reaches", "banks", "sections", "exposures", "repairs", "tie_ins", "factors", "profiles",
    "run_info",
)  # fmt: skip
LOOK_ALONG_M = 150.0
"""How far the long profile looks beyond the site, up and down the stream: tool default."""
Record = dict[str, Any]
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Site:
    """One place: a bank of a reach, and all that the file knows around it.

    Geometries are in the working CRS, in metres; values are metric.

    Attributes
    ----------
    reach, bank
        Records of those layers.
    other
        The bank across; None where there is none.
    repair
        The longest repair of this bank here; None where nothing needs work.
    tie_ins, materials, factors, exposures
        Records that belong to it; exposures of both banks, this bank's first, nearest first.
    nearest
        Of the structure nearest to the bank or to its repair: structure_id, structure_class,
        bank_distance_m, reached_soonest_yr, reached_latest_yr; None where none is within reach.
    sections
        Those of the stream near the site, by station.
    shown
        Row numbers in ``sections`` of up to three to draw, downstream first.
    deciding
        section_id of the one that decides the bank's score, ``""`` where it is not known.
    station
        Lower and upper end of the site.
    profiles
        section_id to offsets and elevations in metres.
    """

    reach: Record
    bank: Record
    other: Record | None
    repair: Record | None
    tie_ins: list[Record]
    materials: list[Record]
    factors: list[Record]
    exposures: list[Record]
    nearest: Record | None
    sections: pd.DataFrame
    shown: list[int]
    deciding: str
    station: tuple[float, float]
    profiles: dict[str, tuple[Floats, Floats]] = field(default_factory=dict)

    @property
    def side(self) -> str:
        """``left`` or ``right``, looking downstream."""
        return str(self.bank["bank"])

    @property
    def line(self) -> shapely.LineString:
        """The length to work on: the repair, else the whole bank."""
        row = self.repair if self.repair is not None else self.bank
        return row["geometry"]

    @property
    def height_m(self) -> Any:
        """Median height of the length to work on, else of the bank."""
        return (self.repair or self.bank)["bank_height_m"]

    @property
    def middle(self) -> shapely.Point:
        """Halfway along that length."""
        return self.line.interpolate(0.5, normalized=True)


def in_working_crs(tables: Mapping[str, Table], crs: CRS) -> dict[str, Table]:
    """Return the layers with their geometry in the working CRS; the input is untouched."""
    return {
        name: table.to_crs(crs) if isinstance(table, gpd.GeoDataFrame) and table.crs else table
        for name, table in tables.items()
    }


def choose(
    tables: Mapping[str, Table], top: int, only: Sequence[str] = ()
) -> list[tuple[Record, Record]]:
    """Return pairs of reach and bank to make sheets of, in order of rank.

    The first ``top`` reaches by rank, each with its worst bank. A bank whose repair has already
    had its sheet is passed over: one repair, one sheet.

    Parameters
    ----------
    tables
        Layers of a ranked file.
    top
        How many sheets at most.
    only
        Names of reaches, banks or repairs; then these alone, whatever their rank.

    Raises
    ------
    InputError
        If nothing was ranked.
    UsageError
        If a name in ``only`` is not in the file.
    """
    reaches = tables["reaches"]
    ranked = reaches[reaches["rank"].notna()].sort_values(["rank", "reach_id"])
    if ranked.empty:
        raise InputError(
            "No reach was ranked, so there is nothing to print.",
            hint="The layer findings says why.",
        )
    banks = tables["banks"]
    bank_of = dict(
        zip(zip(banks["reach_id"], banks["bank"], strict=True), banks.index, strict=True)
    )
    wanted = _named(tables, only) if only else None
    used: set[str] = set()
    out: list[tuple[Record, Record]] = []
    for reach in ranked.to_dict("records") if wanted is None else reaches.to_dict("records"):
        sides = [reach["worst_bank"]] if wanted is None else ["left", "right"]
        for side in sides:
            row = bank_of.get((reach["reach_id"], side))
            if row is None:
                continue
            bank = banks.loc[row].to_dict()
            mine = {r["repair_id"] for r in _repairs_at(tables["repairs"], reach, side)}
            if wanted is not None:
                asked = (
                    (reach["reach_id"] in wanted and side == reach["worst_bank"])
                    or bank["bank_id"] in wanted
                    or bool(mine & wanted)
                )
                if not asked:
                    continue
            if mine and mine <= used:
                continue
            used |= mine
            out.append((reach, bank))
    if wanted is not None:
        out.sort(
            key=lambda pair: (
                pd.isna(pair[0]["rank"]),
                pair[0]["rank"] if pd.notna(pair[0]["rank"]) else 0,
                pair[0]["reach_id"],
            )
        )
        return out
    return out[:top]


def gather(tables: Mapping[str, Table], pairs: Iterable[tuple[Record, Record]]) -> list[Site]:
    """Return the sites with all that belongs to them.

    Parameters
    ----------
    tables
        Layers of a ranked file, in the working CRS.
    pairs
        As `choose` gives them.
    """
    pairs = list(pairs)
    streams = {reach["stream_id"] for reach, _ in pairs}
    reach_ids = {reach["reach_id"] for reach, _ in pairs}
    bank_ids = {bank["bank_id"] for _, bank in pairs}
    sections = tables["sections"]
    sections = sections[sections["stream_id"].isin(streams)].sort_values("station_m")
    by_stream = dict(iter(sections.groupby("stream_id", sort=False)))
    factors = _records_by(tables["factors"], "bank_id", bank_ids)
    exposures = tables["exposures"]
    banks = _records_by(tables["banks"], "reach_id", reach_ids)
    repairs = tables["repairs"]
    repair_ids = set(repairs["repair_id"])
    tie_ins = _records_by(tables["tie_ins"], "repair_id", repair_ids)
    materials = _records_by(tables.get("materials", pd.DataFrame()), "repair_id", repair_ids)
    sites = []
    for reach, bank in pairs:
        mine = _repairs_at(repairs, reach, bank["bank"])
        repair = max(mine, key=lambda r: (r["length_m"], r["repair_id"])) if mine else None
        own = str(repair["repair_id"]) if repair is not None else ""
        along = by_stream.get(reach["stream_id"], sections.iloc[:0])
        station = _stations(along, reach, repair)
        own_reaches = {reach["reach_id"], *(str(repair["reach_ids"]).split(",") if repair else ())}
        near = along["station_m"].between(station[0] - LOOK_ALONG_M, station[1] + LOOK_ALONG_M)
        along = along[near].reset_index(drop=True)
        deciding = next(
            (
                str(f["section_id"])
                for f in factors.get(bank["bank_id"], [])
                if pd.notna(f.get("section_id"))
            ),
            "",
        )
        sites.append(
            Site(
                reach=reach,
                bank=bank,
                other=next(
                    (b for b in banks.get(reach["reach_id"], []) if b["bank"] != bank["bank"]), None
                ),
                repair=repair,
                tie_ins=tie_ins.get(own, []),
                materials=materials.get(own, []),
                factors=factors.get(bank["bank_id"], []),
                exposures=_exposures(exposures, bank, own_reaches),
                nearest=_nearest(exposures, bank, own_reaches if repair else set()),
                sections=along,
                shown=_shown(along, station, deciding),
                deciding=deciding,
                station=station,
            )
        )
    wanted = {str(s.sections["section_id"].iloc[k]) for s in sites for k in s.shown}
    profiles = _profiles(tables["profiles"], wanted)
    for site in sites:
        for k in site.shown:
            section = site.sections.iloc[k]
            bed_m = float(section["bed_elevation_m"])
            if section["section_id"] in profiles and np.isfinite(bed_m):
                offsets, above = profiles[section["section_id"]]
                site.profiles[section["section_id"]] = (offsets, above + bed_m)
    return sites


def _exposures(table: Table, bank: Record, reach_ids: set[str]) -> list[Record]:
    """Return what is near these reaches, this side first, nearest first."""
    here = table[table["reach_id"].isin(reach_ids)]
    return sorted(
        ({str(k): v for k, v in row.items()} for row in here.to_dict("records")),
        key=lambda e: (e["bank"] != bank["bank"], e["bank_distance_m"], e["exposure_id"]),
    )


def _nearest(table: Table, bank: Record, repair_reaches: set[str]) -> Record | None:
    """Return the structure nearest to the bank, or to the banks that its repair lies on."""
    here = table[table["reach_id"].isin(repair_reaches) & table["bank"].eq(bank["bank"])]
    found = [{str(k): v for k, v in row.items()} for row in here.to_dict("records")]
    if pd.notna(bank["structure_distance_m"]):
        same = table.loc[table["structure_id"].eq(bank["structure_id"]), "structure_class"]
        own = {
            name: bank.get(name)
            for name in ("structure_id", "reached_soonest_yr", "reached_latest_yr")
        }
        own["bank_distance_m"] = bank["structure_distance_m"]
        own["structure_class"] = same.iloc[0] if len(same) else bank["structure_id"]
        found.append(own)
    return min(found, key=lambda row: float(row["bank_distance_m"]), default=None)


def _named(tables: Mapping[str, Table], only: Sequence[str]) -> set[str]:
    known = {
        str(value)
        for layer, column in (
            ("reaches", "reach_id"),
            ("banks", "bank_id"),
            ("repairs", "repair_id"),
        )
        for value in tables[layer][column]
    }
    unknown = [text for text in only if text not in known]
    if unknown:
        raise UsageError(
            f"The file has no reach, bank or repair {unknown[0]!r}.",
            hint="The columns reach_id, bank_id and repair_id have the names.",
        )
    return set(only)


def _repairs_at(repairs: Table, reach: Record, side: str) -> list[Record]:
    if repairs.empty:
        return []
    here = repairs["bank"].eq(side) & repairs["reach_ids"].map(
        lambda ids: reach["reach_id"] in str(ids).split(",")
    )
    return [{str(k): v for k, v in row.items()} for row in repairs[here].to_dict("records")]


def _records_by(table: Table, column: str, wanted: set[str]) -> dict[str, list[Record]]:
    if table.empty or column not in table:
        return {}
    out: dict[str, list[Record]] = {}
    for row in table[table[column].isin(wanted)].to_dict("records"):
        out.setdefault(str(row[column]), []).append({str(k): v for k, v in row.items()})
    return out


def _stations(along: pd.DataFrame, reach: Record, repair: Record | None) -> tuple[float, float]:
    """Return the lower and the upper station of the repair, else of the reach."""
    if repair is None:
        return float(reach["station_from_m"]), float(reach["station_to_m"])
    ids = str(repair["reach_ids"]).split(",")
    here = along[along["reach_id"].isin(ids)]
    if here.empty:
        return float(reach["station_from_m"]), float(reach["station_to_m"])
    end = 0 if repair["bank"] == "left" else -1  # sections run from the left top to the right top
    tops = np.array([line.coords[end][:2] for line in here.geometry])
    stations = [
        float(here["station_m"].iloc[np.hypot(*(tops - xy[:2]).T).argmin()])
        for xy in (repair["geometry"].coords[0], repair["geometry"].coords[-1])
    ]
    return min(stations), max(stations)


def _shown(along: pd.DataFrame, station: tuple[float, float], deciding: str) -> list[int]:
    """Return up to three rows: the deciding section if it is here, and others spread out."""
    inside = np.flatnonzero(along["station_m"].between(*station) & along["quality"].gt(0.0))
    if not inside.size:
        inside = np.flatnonzero(along["station_m"].between(station[0] - 10.0, station[1] + 10.0))
    if not inside.size:
        return []
    at = along["station_m"].to_numpy()
    chosen = [k for k in inside if along["section_id"].iloc[k] == deciding][:1]
    for part in (0.2, 0.8, 0.5):
        if len(chosen) == 3:
            break
        wanted = station[0] + part * (station[1] - station[0])
        apart = 0.15 * (station[1] - station[0])
        free = [k for k in inside if all(abs(at[k] - at[c]) > apart for c in chosen)]
        if free:
            chosen.append(min(free, key=lambda k: abs(at[k] - wanted)))
    return sorted(int(k) for k in chosen)


def _profiles(table: Table, wanted: set[str]) -> dict[str, tuple[Floats, Floats]]:
    """Return offsets from the middle and heights above the bed, in metres, NaN without data."""
    out: dict[str, tuple[Floats, Floats]] = {}
    for row in table[table["section_id"].isin(wanted)].to_dict("records"):
        above = np.array(
            [float(text) / 100.0 if text else np.nan for text in str(row["elevations"]).split(",")],
            np.float64,
        )
        offsets = float(row["offset_from_m"]) + float(row["step_m"]) * np.arange(len(above))
        out[str(row["section_id"])] = np.asarray(offsets, np.float64), above
    return out
