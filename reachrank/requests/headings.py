"""Recognise what the columns of a list of applications mean by their headings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

MEANINGS: dict[str, tuple[str, ...]] = {
    "application_id": (
        "applicationid", "app", "appl", "applicationno", "applicationnumber", "applicationnum",
        "application",
        "appid", "appno", "appnumber", "requestid", "requestno", "requestnumber", "caseid",
        "caseno", "casenumber", "fileno", "filenumber", "id", "no", "nr", "number", "ref",
        "reference", "referenceno",
    ),
    "longitude": ("longitude", "lon", "long", "lng", "longdd", "londd", "longitudedd", "xlon",
                  "longitudewgs84", "sitelongitude", "gpslongitude", "decimallongitude"),
    "latitude": ("latitude", "lat", "latdd", "latitudedd", "ylat", "latitudewgs84", "sitelatitude",
                 "gpslatitude", "decimallatitude"),
    "x": ("x", "easting", "east", "xcoord", "xcoordinate", "coordx", "pointx", "utme", "utmx",
          "utmeasting", "stateplanex", "eastingm", "eastingft", "xm", "xft"),
    "y": ("y", "northing", "north", "ycoord", "ycoordinate", "coordy", "pointy", "utmn", "utmy",
          "utmnorthing", "stateplaney", "northingm", "northingft", "ym", "yft"),
    "coordinates": ("coordinates", "coordinate", "coords", "latlon", "latlong", "latlng",
                    "latitudelongitude", "lonlat", "longlat", "gps", "gpscoordinates",
                    "gpslocation", "pinlocation", "mappin"),
    "address": ("siteaddress", "propertyaddress", "projectaddress", "worksiteaddress",
                "situsaddress", "situs", "address", "streetaddress", "addressofsite",
                "locationaddress", "addresslocation", "sitelocation"),
    "parcel": ("parcelid", "parcelno", "parcelnumber", "parcelnum", "parcel", "parcelpin", "pin",
               "apn", "pid", "taxid", "taxparcel", "taxparcelid", "taxmapno", "taxmapid",
               "parcelidentificationnumber"),
}  # fmt: skip
"""Meaning to headings, in small letters without blanks and marks; the first that is there wins."""

_ENOUGH = 2
_SEARCHED_ROWS = 25


def bare(heading: str) -> str:
    """Return a heading without case, blanks, marks and a unit in brackets.

    >>> bare("Application # "), bare("Easting (m)"), bare("SITE_ADDRESS")
    ('application', 'easting', 'siteaddress')
    """
    return re.sub(r"[^a-z0-9]", "", re.sub(r"\([^)]*\)|\[[^\]]*\]", "", heading.casefold()))


def recognise(headings: Sequence[str]) -> dict[str, int]:
    """Return meaning to the place of the column that has it.

    >>> recognise(["No.", "Name", "Lat", "Long", "Parcel ID"])
    {'application_id': 0, 'longitude': 3, 'latitude': 2, 'parcel': 4}
    """
    place_of: dict[str, int] = {}
    for place, heading in reversed(list(enumerate(headings))):
        place_of[bare(heading)] = place
    return {
        meaning: next(place_of[bare(w)] for w in words if bare(w) in place_of)
        for meaning, words in MEANINGS.items()
        if any(bare(w) in place_of for w in words)
    }


def header_row(rows: Sequence[Sequence[str]], wanted: Mapping[str, str]) -> int | None:
    """Return the place of the row that holds the headings; None where no row looks like one.

    Parameters
    ----------
    rows
        Cells as text. Lines with a title may stand above the headings.
    wanted
        Headings that the rules name; a row with one of them is the one.
    """
    named = {bare(heading) for heading in wanted.values() if heading}
    best: tuple[int, int] | None = None
    for place, row in enumerate(rows[:_SEARCHED_ROWS]):
        cells = {bare(cell) for cell in row if cell.strip()}
        known = len(recognise(row)) + 3 * len(named & cells)
        if known and (best is None or known > best[0]):
            best = known, place
    if best is None:
        return None
    filled = sum(bool(cell.strip()) for cell in rows[best[1]])
    return best[1] if best[0] >= min(_ENOUGH, filled) else None
