"""What the page shows of the worst places: both banks, what drives the score, what is near."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from reachrank.columns import need_columns
from reachrank.page.cross_sections import sections_of
from reachrank.page.encode import DEGREE_STEPS, steps, whole
from reachrank.page.sentences import Clauses
from reachrank.report.plain import plain
from reachrank.units import us_unit
from reachrank.write.us_text import us_quantity

if TYPE_CHECKING:
    from reachrank.context import Table

FACTOR_WORDS = {
    "bank_height": "height against bankfull depth",
    "bank_height_absolute": "bank height",
    "bank_angle": "steepness",
    "bend": "bend, width over radius",
    "cover": "little cover, share covered",
    "soil": "erodible soil",
    "unit_stream_power": "stream power",
    "cutting_down": "high banks on both sides, ratio",
}
_STATES = {"measured": 0, "lower_bound": 1, "missing": 2}


def reaches_in_detail(banks: pd.DataFrame, most: int) -> set[str]:
    """Return the reaches that hold one of the ``most`` worst banks; those of a tie all count."""
    ranks = banks["rank"].to_numpy("float64", na_value=np.nan)
    ranked = np.sort(ranks[np.isfinite(ranks)])
    if most <= 0 or not ranked.size:
        return set()
    limit = ranked[min(most, ranked.size) - 1]
    return set(banks.loc[ranks <= limit, "reach_id"].astype(str))


def details_of(
    tables: Mapping[str, Table],
    degrees: Mapping[str, np.ndarray],
    row_of_reach: Mapping[str, int],
    wanted: set[str],
    clauses: Clauses,
) -> dict[str, Any]:
    """Return the details by row of the list.

    Parameters
    ----------
    tables
        ``banks``, ``sections``, ``factors``, ``exposures``, ``profiles``; metric.
    degrees
        Geometry of ``banks``, ``sections`` and ``exposures`` in degrees, as the tables' rows.
    row_of_reach
        reach_id to row.
    wanted
        The reaches.
    clauses
        Where sentences go.
    """
    out: dict[int, dict[str, Any]] = {
        row_of_reach[reach]: {"banks": {}, "near": [], "sections": []}
        for reach in sorted(wanted)
        if reach in row_of_reach
    }
    banks = tables["banks"]
    in_detail = banks.loc[banks["reach_id"].isin(wanted), "bank_id"]
    factors = _factors(tables["factors"][tables["factors"]["bank_id"].isin(in_detail)], clauses)
    for k, bank in _rows_of(banks, wanted):
        reach = str(bank["reach_id"])
        if reach in row_of_reach:
            out[row_of_reach[reach]]["banks"][str(bank["bank"])] = {
                **_bank(bank, clauses),
                "line": _line(degrees["banks"][k]),
                "factors": factors.get(str(bank["bank_id"]), []),
            }
    for k, row in _rows_of(tables["exposures"], wanted):
        if str(row["reach_id"]) in row_of_reach:
            out[row_of_reach[str(row["reach_id"])]]["near"].append(
                _near(row, degrees["exposures"][k])
            )
    for place in out.values():
        place["near"].sort(key=lambda item: (item["away"], item["what"]))
    _add_sections(out, tables, degrees["sections"], row_of_reach, wanted)
    return {str(row): place for row, place in out.items()}


def _bank(bank: Mapping[Any, Any], clauses: Clauses) -> dict[str, Any]:
    def number(name: str, per_unit: float = 1.0) -> int | None:
        value = bank.get(name)
        return whole([np.nan if value is None or pd.isna(value) else value], per_unit)[0]

    return {
        "rank": number("rank"),
        "height": number("bank_height_m", 100),
        "height_90": number("bank_height_p90_m", 100),
        "height_se": number("bank_height_se_m", 100),
        "angle": number("bank_angle_deg"),
        "angle_or_more": bool(bank.get("is_angle_lower_bound") is True),
        "outside": number("outside_frac", 100),
        "cover": number("cover_frac", 100),
        "near": number("structure_distance_m", 10),
        "hazard": number("hazard_score", 10),
        "exposure": number("exposure_score", 10),
        "repair": number("repair_length_m", 10),
        "why": clauses.numbers(bank.get("reason")),
    }


def _factors(factors: pd.DataFrame, clauses: Clauses) -> dict[str, list[list[Any]]]:
    """Return each bank's factors: words, points, state, value in metric and in U.S. units."""
    out: dict[str, list[list[Any]]] = {}
    for row in factors.itertuples(index=False):
        if pd.isna(row.contribution):
            continue
        words = FACTOR_WORDS.get(str(row.factor), plain(str(row.factor).replace("_", " "), 60))
        out.setdefault(str(row.bank_id), []).append(
            [
                clauses.numbers(words),
                whole([row.contribution], 10)[0],
                whole([row.weight], 1000)[0],
                _STATES.get(str(row.state), 0),
                *_values(row.value, str(row.unit)),
            ]
        )
    for rows in out.values():
        rows.sort(key=lambda item: -item[1])
    return out


def _values(value: Any, unit: str) -> tuple[str, str]:
    if value is None or pd.isna(value):
        return "", ""
    shown = {"ratio": "", "0-1": "", "degrees": "°"}.get(unit, f" {unit}")
    other, _ = us_quantity(float(value), unit)
    other_shown = shown if shown in ("", "°") else f" {us_unit(unit)}"
    return f"{float(value):.3g}{plain(shown, 12)}", f"{other:.3g}{plain(other_shown, 12)}"


def _near(row: Mapping[Any, Any], line: shapely.Geometry | None) -> dict[str, Any]:
    years = [row.get(f"reached_{when}_yr") for when in ("soonest", "middle", "latest")]
    return {
        "what": plain(row["structure_class"], 60),
        "id": plain(row["structure_id"], 80),
        "side": {"left": 1, "right": 2}.get(str(row["bank"]), 0),
        "away": whole([row["bank_distance_m"]], 10)[0],
        "years": whole([np.nan if year is None or pd.isna(year) else year for year in years]),
        "line": _line(line),
    }


def _add_sections(
    out: Mapping[int, dict[str, Any]],
    tables: Mapping[str, Table],
    lines_deg: np.ndarray,
    row_of_reach: Mapping[str, int],
    wanted: set[str],
) -> None:
    profiles = tables["profiles"]
    known = pd.Series(
        list(
            zip(profiles["offset_from_m"], profiles["step_m"], profiles["elevations"], strict=True)
        ),
        index=profiles["section_id"].to_numpy(),
        dtype=object,
    )
    known = known[~known.index.duplicated()]
    deciding = _deciding(tables)
    sections = tables["sections"].reset_index(drop=True)
    inside = sections[sections["reach_id"].isin(wanted)]
    for reach, group in inside.groupby("reach_id", sort=True):
        own = group.sort_values(["station_m", "section_id"])
        if str(reach) in row_of_reach:
            out[row_of_reach[str(reach)]]["sections"] = sections_of(
                own, lines_deg[own.index.to_numpy()], known, deciding
            )


def _deciding(tables: Mapping[str, Table]) -> dict[str, int]:
    """Return section_id to the banks whose score it decides: 1 left, 2 right, 3 both."""
    side = dict(zip(tables["banks"]["bank_id"], tables["banks"]["bank"], strict=True))
    need_columns(tables["factors"], "factors", ("bank_id", "section_id"))
    pairs = tables["factors"][["bank_id", "section_id"]].dropna().drop_duplicates()
    out: dict[str, int] = {}
    for bank, section in pairs.itertuples(index=False):
        bit = {"left": 1, "right": 2}.get(str(side.get(bank)), 0)
        out[str(section)] = out.get(str(section), 0) | bit
    return out


def _rows_of(table: pd.DataFrame, wanted: set[str]) -> list[tuple[int, dict[Any, Any]]]:
    plain_table = pd.DataFrame(table.drop(columns="geometry", errors="ignore"))
    positions = np.flatnonzero(plain_table["reach_id"].isin(wanted).to_numpy())
    records = plain_table.iloc[positions].to_dict("records")
    return list(zip(positions.tolist(), records, strict=True))


def _line(line: shapely.Geometry | None) -> list[int]:
    """Return a line as x, y, x, y: millionths of a degree, each a step from the one before."""
    if line is None or shapely.is_empty(line):
        return []
    at = np.rint(shapely.get_coordinates(line) * DEGREE_STEPS).astype(int)
    x, y = steps(at[:, 0].tolist()), steps(at[:, 1].tolist())
    return [int(value) for pair in zip(x, y, strict=True) for value in pair if value is not None]
