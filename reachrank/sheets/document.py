"""Make the document: read the ranking, draw page after page, put the file where it belongs."""

from __future__ import annotations

import gc
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
from matplotlib.backends.backend_pdf import PdfPages
from pyproj import Transformer

from reachrank.context import Table
from reachrank.errors import InputError, OutputError, UsageError
from reachrank.page.about import cautions_of, made_from, years_cap
from reachrank.page.places import working_crs
from reachrank.progress import Progress, part, silent
from reachrank.read.dem import Dem
from reachrank.read.tables import read_tables
from reachrank.report.plain import plain
from reachrank.resume import inputs_of, open_dem
from reachrank.sheets.measures import Measures
from reachrank.sheets.overview import class_counts, front_pages
from reachrank.sheets.paper import PAPERS, Sheet, plain_looks
from reachrank.sheets.roads import read_roads
from reachrank.sheets.site import NEEDED, Site, choose, gather, in_working_crs
from reachrank.sheets.site_page import Shared, site_pages
from reachrank.sheets.slide import PIXELS_PER_INCH, site_slide
from reachrank.write.place import aside
from reachrank.write.run_info import value_of

TITLE = "Stream banks to look at first"


@dataclass(frozen=True)
class Made:
    """What was written."""

    path: Path
    sites: int
    pages: int
    pictures: int


def write_sheets(
    ranked: str | Path,
    out: str | Path,
    *,
    dem: Sequence[str] = (),
    dem_units: str | None = None,
    roads: str | None = None,
    top: int = 20,
    only: Sequence[str] = (),
    paper: str = "letter",
    us: bool | None = None,
    title: str = TITLE,
    on: date | None = None,
    pictures: str | Path | None = None,
    overwrite: bool = False,
    allow_remote: bool = False,
    progress: Progress = silent,
) -> Made:
    """Write a PDF: an overview, a list, and a page for each of the first places.

    Parameters
    ----------
    ranked
        A file that `reachrank.write.write_ranked` wrote, metric or U.S. customary.
    out
        The PDF.
    dem
        Raster files or folders of tiles; else where the ranked file says it was. Only the ground
        under the maps is read.
    dem_units
        Unit of its elevations where it does not declare it.
    roads
        A road layer; else the one that the ranked file names, if it is still there.
    top, only
        How many places; or these reaches, banks or repairs alone.
    paper
        ``letter`` or ``a4``.
    us
        U.S. customary units; None: as in the file.
    title, on
        Heading, and the day that is printed; today if None.
    pictures
        A folder for PNG pictures, one for each place, in the shape of a screen.
    overwrite
        Whether files that are there may be replaced.
    allow_remote
        Whether addresses may be opened.
    progress
        Called with 0..1.

    Raises
    ------
    InputError
        If the ranked file or the DEM cannot be used.
    OutputError
        If the result cannot be put there.
    UsageError
        If a name in ``only`` is not in the file, or the paper is not known.
    """
    if paper not in PAPERS:
        raise UsageError(f"There is no paper {paper!r}.", hint=f"Choose {' or '.join(PAPERS)}.")
    folder = _picture_folder(pictures, overwrite=overwrite)
    tables = read_tables(ranked, layers=())
    missing = [name for name in NEEDED if name not in tables]
    if missing:
        raise InputError(
            f"The file has no layer {', '.join(missing)}.",
            hint="Give the file that `reachrank rank` wrote.",
            where=str(ranked),
        )
    progress(0.02, "reading the ranking")
    info = tables["run_info"]
    file_us = value_of(info, "written_units").startswith("us")
    crs = working_crs(tables)
    here = in_working_crs(tables, crs)
    sites = gather(here, choose(here, top, only))
    with ExitStack() as stack:
        stack.enter_context(plain_looks())
        stack.enter_context(_quiet())
        ground = _ground(info, dem, dem_units, crs, allow_remote=allow_remote)
        stack.enter_context(ground)
        ground.plan([site.line for site in sites])
        shared = Shared(
            paper=PAPERS[paper],
            measures=Measures(file_us if us is None else us),
            ground=ground,
            reaches=here["reaches"],
            repairs=here["repairs"],
            roads=_roads(info, roads, here["reaches"], allow_remote=allow_remote),
            to_degrees=Transformer.from_crs(crs, 4326, always_xy=True),
            ranked=int(here["reaches"]["rank"].notna().sum()),
            years_cap=years_cap(info),
            cautions=cautions_of(info),
            running=f"{plain(title, 120)}  ·  {plain(Path(ranked).name, 80)}  ·  "
            f"printed {(on or date.today()).isoformat()}",
        )
        pages = _write_pdf(
            Path(out), shared, sites, info, title=title, source=Path(ranked).name,
            overwrite=overwrite, progress=part(progress, 0.05, 0.7 if folder else 1.0),
        )  # fmt: skip
        made = 0
        if folder is not None:
            made = _write_pictures(folder, shared, sites, part(progress, 0.7, 1.0))
    progress(1.0, "done")
    return Made(Path(out), len(sites), pages, made)


def _write_pdf(
    out: Path, shared: Shared, sites: Sequence[Site], info: Table, *, title: str, source: str,
    overwrite: bool, progress: Progress,
) -> int:  # fmt: skip
    went_in = _went_in(info, source)
    facts = {"Title": plain(title, 200), "Creator": "reachrank", "CreationDate": None}
    streams = len(set(shared.reaches["stream_id"]))
    subtitle = (
        f"{_count(len(sites), 'place')} of {_count(shared.ranked, 'ranked reach', 'es')} on "
        f"{_count(streams, 'stream')}; "
        f"{shared.running.rsplit('  ·  ', 1)[1]}. A screening product, not a design."
    )

    with aside(out, overwrite=overwrite, kind="a PDF", ending=".pdf") as file:
        with PdfPages(file.path, metadata=facts) as pdf:
            progress(0.0, "overview")
            front = front_pages(
                shared, sites, title=plain(title, 200), subtitle=subtitle, went_in=went_in,
                counts=class_counts(shared.reaches),
            )  # fmt: skip
            for sheet in front:
                _save(pdf, sheet)
            count = len(front)
            for k, site in enumerate(sites):
                progress((k + 0.5) / (len(sites) + 1), f"page {k + 1} of {len(sites)}")
                for sheet in site_pages(shared, site, k + 1):
                    _save(pdf, sheet)
                    count += 1
                if k % 16 == 15:
                    gc.collect()
        progress(1.0, "PDF written")
    return count


def _count(number: int, what: str, ending: str = "s") -> str:
    return f"{number:,} {what}{ending if number != 1 else ''}"


_BYTES = re.compile(r", \d+ bytes")


def _went_in(info: Table, source: str) -> list[tuple[str, str]]:
    """Return what the ranking was made from, without sizes, layers of one kind together."""
    out: dict[str, list[str]] = {}
    for what, text in made_from(info, source):
        key = what.partition(".")[0]
        out.setdefault(key, []).append(_BYTES.sub("", text))
    return [(what, "; ".join(texts)) for what, texts in out.items() if what not in _LEFT_OUT]


_LEFT_OUT = ("Ties", "Rule from hazard and exposure to priority", "Classes by priority score")


def _write_pictures(folder: Path, shared: Shared, sites: Sequence[Site], progress: Progress) -> int:
    for k, site in enumerate(sites):
        progress(k / len(sites), f"picture {k + 1} of {len(sites)}")
        sheet = site_slide(shared, site)
        target = folder / _picture_name(k, site)
        with aside(target, overwrite=True, kind="a picture", ending=".png") as file:
            sheet.figure.savefig(
                file.path, format="png", dpi=PIXELS_PER_INCH, metadata={"Software": None}
            )
    return len(sites)


def _picture_name(k: int, site: Site) -> str:
    bank = "".join(c if c.isalnum() or c in "-_" else "_" for c in str(site.bank["bank_id"]))
    return f"{k + 1:03d}_{bank[:60]}.png"


def _picture_folder(pictures: str | Path | None, *, overwrite: bool) -> Path | None:
    if pictures is None:
        return None
    folder = Path(pictures)
    if folder.exists() and not folder.is_dir():
        raise OutputError("This is a file, not a folder.", where=str(folder))
    if folder.is_dir() and any(folder.glob("*.png")) and not overwrite:
        raise OutputError(
            "The folder already has pictures.", hint="Give another folder, or --overwrite.",
            where=str(folder),
        )  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _save(pdf: PdfPages, sheet: Sheet) -> None:
    pdf.savefig(sheet.figure)  # type: ignore[no-untyped-call]
    sheet.figure.clear()


def _ground(
    info: Table, dem: Sequence[str], dem_units: str | None, crs: Any, *, allow_remote: bool
) -> Dem:
    inputs = inputs_of(value_of(info, "inputs"))
    if dem:
        inputs = replace(inputs, dem=tuple(dem))
    if dem_units:
        inputs = replace(inputs, dem_units=dem_units)  # type: ignore[arg-type]
    return open_dem(replace(inputs, allow_remote=allow_remote), crs, 1)


def _roads(
    info: Table, roads: str | None, reaches: gpd.GeoDataFrame, *, allow_remote: bool
) -> gpd.GeoDataFrame | None:
    box = tuple(float(v) for v in reaches.total_bounds)
    if roads is not None:
        return read_roads(roads, reaches.crs, box, allow_remote=allow_remote)
    told = inputs_of(value_of(info, "inputs")).roads
    if not told:
        return None
    try:
        return read_roads(told, reaches.crs, box)
    except InputError:
        return None  # it is not where it was; roads within reach are in the layer exposures


@contextmanager
def _quiet() -> Iterator[None]:
    """Print a letter that the font lacks as an empty box, without a warning for each."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from font")
        yield
