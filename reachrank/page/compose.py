"""Make the page from the tables of a ranked file, within a limit of bytes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from reachrank.errors import InputError, OutputError
from reachrank.page.about import (
    CANNOT_TELL,
    cautions_of,
    class_looks,
    findings_of,
    made_from,
    years_cap,
)
from reachrank.page.detail import details_of, reaches_in_detail
from reachrank.page.document import render
from reachrank.page.encode import as_json, encode_lines
from reachrank.page.places import findings_by_row, in_metres, thinned_degrees, working_crs
from reachrank.page.relief import Ground, overview, shaded_tiles, tiles_wanted
from reachrank.page.rows import in_order, rows_of, streams_of
from reachrank.page.sentences import Clauses
from reachrank.page.work import kinds_by_reach, kinds_of_work, materials_of, repairs_of
from reachrank.progress import Progress, part, silent
from reachrank.report.plain import plain
from reachrank.write.run_info import value_of

if TYPE_CHECKING:
    from reachrank.context import Table

MOST_BYTES = 15_000_000
"""Of the whole page: what a phone opens and an office's mail lets through."""
DETAIL = 300
NEEDED = (
    "reaches", "banks", "sections", "exposures", "repairs", "factors", "profiles", "findings",
    "run_info",
)  # fmt: skip
_LEVELS = (
    (1.0, 1.0, 0.35),
    (2.0, 0.5, 0.3),
    (4.0, 0.3, 0.2),
    (8.0, 0.2, 0.1),
    (20.0, 0.1, 0.0),
    (20.0, 0.0, 0.0),
)
"""Tried in turn until the page fits: thinning of lines in metres, share of the details, share of
the page that is spared for pictures of the ground where there is a DEM."""
_RESERVED = 300_000  # Leaflet, styles, scripts, and what the estimate does not see


@dataclass(frozen=True)
class Page:
    """A page and what is in it."""

    html: str
    reaches: int
    in_detail: int
    tiles: int
    tiles_wanted: int
    """More than ``tiles`` only where the limit of bytes was met."""

    @property
    def size_bytes(self) -> int:
        """Bytes of the written file."""
        return len(self.html.encode("utf-8"))


def make_page(
    tables: Mapping[str, Table],
    *,
    source_name: str,
    made: str,
    title: str | None = None,
    ground: Ground | None = None,
    detail: int = DETAIL,
    most_bytes: int = MOST_BYTES,
    progress: Progress = silent,
) -> Page:
    """Return the page of a ranked file.

    Parameters
    ----------
    tables
        The layers named in `NEEDED`, as `reachrank.read.tables.read_tables` gives them;
        ``materials`` is shown where there.
    source_name
        Name of the ranked file.
    made
        When the page is made, as it shall read.
    title
        Of the page; else made from the streams' names.
    ground
        The DEM, for the hillshade; None for a plain background.
    detail
        Number of worst banks with cross-sections, sharp ground and a list of what is near.
    most_bytes
        Limit of the page's size. Lines are thinned more, then details and pictures left out, and
        the page says so.
    progress
        Called with 0..1.

    Raises
    ------
    InputError
        If a layer is missing, or no reach was ranked.
    OutputError
        If the list alone is more than the limit.
    """
    missing = [name for name in NEEDED if name not in tables]
    if missing or tables["reaches"].empty:
        raise InputError(
            f"The file has no layer {', '.join(missing)}." if missing else "There are no reaches.",
            hint="Give the file that `reachrank rank` wrote.",
            where=source_name,
        )
    here = {**tables, "reaches": in_order(tables["reaches"])}
    here = {name: table.reset_index(drop=True) for name, table in here.items()}
    crs = working_crs(here)
    metres = in_metres(here, crs)
    progress(0.05, "page: places")
    room = most_bytes - _RESERVED
    for tolerance_m, share, spared in _LEVELS:
        wanted = reaches_in_detail(here["banks"], int(detail * share))
        content = _content(here, metres, crs, tolerance_m, wanted)
        used = len(as_json(content).encode("utf-8"))
        if used <= room * (1.0 - (spared if ground is not None else 0.0)):
            break
    if used > room:
        raise OutputError(
            f"A page of {len(here['reaches']):,} reaches is larger than {most_bytes / 1e6:g} MB.",
            hint="Rank fewer streams at a time and make a page of each.",
        )
    streams = content["streams"]
    content["about"] = {
        "title": title or _title(streams),
        "made": made,
        "source": plain(source_name, 200),
        "from": made_from(here["run_info"], source_name),
        "cautions": cautions_of(here["run_info"]),
        "cannot": list(CANNOT_TELL),
        "banks_in_detail": int(detail * share),
        "tolerance_m": tolerance_m,
        "years_cap": years_cap(here["run_info"]),
    }
    progress(0.3, "page: lines and sections")
    relief, counts = _relief(
        here, metres, crs, ground, content, room - used, part(progress, 0.3, 0.95)
    )
    html = render(content, relief, title=content["about"]["title"])
    progress(1.0, "page")
    return Page(html, len(here["reaches"]), len(content["details"]), *counts)


def _content(
    tables: Mapping[str, Table],
    metres: Mapping[str, np.ndarray],
    crs: Any,
    tolerance_m: float,
    wanted: set[str],
) -> dict[str, Any]:
    is_us = value_of(tables["run_info"], "written_units").startswith("us")
    clauses = Clauses(is_us=is_us)
    reaches, repairs = tables["reaches"], tables["repairs"]
    row_of_reach = {str(name): row for row, name in enumerate(reaches["reach_id"])}
    kinds = kinds_of_work(repairs)
    lines = thinned_degrees(metres["reaches"], crs, tolerance_m)
    degrees = {
        name: thinned_degrees(metres[name], crs, 0.5 if name == "banks" else 0.0)
        for name in ("banks", "sections", "exposures")
    }
    repair_lines = thinned_degrees(metres["repairs"], crs, tolerance_m)
    told = findings_by_row(tables["findings"], metres["reaches"], crs)
    return {
        "us": is_us,
        "classes": class_looks(tables["run_info"]),
        "streams": streams_of(reaches),
        "rows": rows_of(reaches, kinds_by_reach(repairs, kinds), clauses),
        "lines": encode_lines(lines),
        "kinds": kinds,
        "repairs": repairs_of(repairs, repair_lines, row_of_reach, kinds, clauses),
        "materials": materials_of(
            tables.get("materials"), repairs["repair_id"].astype(str).tolist(), clauses
        ),
        "details": details_of(tables, degrees, row_of_reach, wanted, clauses),
        "told": {str(row): [clauses.numbers(t) for t in texts] for row, texts in told.items()},
        "findings": findings_of(tables["findings"], clauses),
        "clauses": clauses.table,  # last: all others have put theirs in
    }


def _relief(
    tables: Mapping[str, Table],
    metres: Mapping[str, np.ndarray],
    crs: Any,
    ground: Ground | None,
    content: Mapping[str, Any],
    room: int,
    progress: Progress,
) -> tuple[dict[str, Any], tuple[int, int]]:
    """Return the pictures that fit into so many bytes, and how many of how many tiles those are."""
    if ground is None:
        return {}, (0, 0)
    box = np.array([g.bounds for g in thinned_degrees(metres["reaches"], crs, 20.0)])
    whole = overview(ground, [*box[:, :2].min(axis=0), *box[:, 2:].max(axis=0)])
    if whole is None or len(whole["picture"]) > room:
        return {}, (0, 0)
    room -= len(whole["picture"])
    progress(0.2, "hillshade")
    detailed = {str(row) for row in content["details"]}
    reach_ids = tables["reaches"]["reach_id"].astype(str).tolist()
    in_detail = [reach_ids[int(row)] for row in sorted(detailed, key=int)]
    lines = thinned_degrees(metres["reaches"], crs, 1.0)
    row = {name: k for k, name in enumerate(reach_ids)}
    ordered = [lines[row[name]] for name in in_detail]
    tiles: dict[str, str] = {}
    is_full = False
    wanted = tiles_wanted(ground, ordered)
    for tile, uri in shaded_tiles(
        ground, wanted, part(progress, 0.2, 1.0), times_taller=whole["taller"]
    ):
        cost = len(uri) + len(tile.key) + 8
        if cost > room:
            is_full = True
            break  # what follows lies at banks that come later
        room -= cost
        tiles[tile.key] = uri
    zoom = wanted[0].zoom if wanted else None
    relief: dict[str, Any] = {"overview": whole, "zoom": zoom, "tiles": tiles}
    return relief, (len(tiles), len(wanted) if is_full else len(tiles))


def _title(streams: list[list[str]]) -> str:
    names = sorted({name for _, name in streams if name})
    if len(names) == 1:
        return f"Failing banks of {names[0]}"
    return "Failing stream banks, in order of priority"
