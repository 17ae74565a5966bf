"""`reachrank near`: one caller's place, answered at once."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from reachrank.errors import InputError, UsageError
from reachrank.report.plain import plain

if TYPE_CHECKING:
    from reachrank.requests.addresses import Match
    from reachrank.requests.lookup import Lookup
    from reachrank.requests.near import Ground, Place


@click.command()
@click.argument("ranked", metavar="RANKED.gpkg")
@click.option("--at", metavar="LON,LAT", help="The place in degrees; minutes are read too.")
@click.option("--xy", metavar="X,Y", help="The place in the CRS of the ranked file, or --crs.")
@click.option("--crs", metavar="EPSG", help="CRS of --xy, as EPSG:26916 or 26916.")
@click.option("--address", metavar="TEXT", help="The place as an address.")
@click.option("--addresses", metavar="POINTS", help="The county's address points.")
@click.option("--address-column", default="", help="Column of the whole address in POINTS.")
@click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    help="Units of the answer.  [default: those of the file]",
)
@click.option("--json", "as_json", is_flag=True, help="Print data for a program.")
def near(
    *,
    ranked: str,
    at: str | None,
    xy: str | None,
    crs: str | None,
    address: str | None,
    addresses: str | None,
    address_column: str,
    units: str | None,
    as_json: bool,
) -> None:
    """Say which ranked bank is nearest to a place, what is known of it, and what to ask.

    Give the place as --at, as --xy or as --address with the county's own --addresses. Nothing is
    looked up on a network.
    """
    if sum(value is not None for value in (at, xy, address)) != 1:
        raise UsageError("Give the place once.", hint="Use one of --at, --xy and --address.")
    if (address is None) != (addresses is None):
        raise UsageError("--address and --addresses go together.")
    if crs and xy is None:
        raise UsageError("--crs says what --xy is in, and there is no --xy.")
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.requests.lookup import Lookup  # noqa: PLC0415
    from reachrank.requests.near import Ground, nearest_answer  # noqa: PLC0415
    from reachrank.requests.near_text import answer_data, answer_lines  # noqa: PLC0415

    with Lookup(ranked) as file:
        file.require("banks")
        us = units == "us" or (
            units is None and file.facts().get("written_units", "").startswith("us")
        )
        ground = Ground(file.crs("banks"))
        if at is not None:
            place = _from_degrees(at, file, ground)
        elif xy is not None:
            place = _from_xy(xy, crs, ground)
        else:
            place = _from_address(
                str(address), str(addresses), address_column, ground, as_json=as_json
            )
        answer = nearest_answer(file, ground, place, us=us)
    if as_json:
        click.echo(json.dumps(answer_data(answer, us=us)))  # letters beyond ASCII are escaped
        return
    for line in answer_lines(answer, us=us):
        click.echo(line)


def _from_degrees(text: str, file: Lookup, ground: Ground) -> Place:
    from reachrank.requests.coordinates import degrees, pair  # noqa: PLC0415
    from reachrank.requests.near import Place  # noqa: PLC0415

    parts = pair(text)
    if parts is None:
        raise UsageError(
            f"--at is {plain(text, 80)!r}, not two angles.", hint="Write it as -87.0375,43.5122."
        )
    first, second = degrees(parts[0])[0], degrees(parts[1])[0]
    is_swapped = first.axis == "lat" or second.axis == "lon"
    lon, lat = (second.value, first.value) if is_swapped else (first.value, second.value)
    how = f"longitude {lon:.6f}, latitude {lat:.6f}"
    box = file.box("banks")
    if not is_swapped and box is not None:
        # typed latitude first, as on most telephones: told by where the county lies
        west, south, east, north = box
        middle = ground.degrees((west + east) / 2.0, (south + north) / 2.0)
        here = abs(lon - middle[0]) + abs(lat - middle[1])
        there = abs(lat - middle[0]) + abs(lon - middle[1])
        if there + 1.0 < here:
            lon, lat = lat, lon
            how = f"longitude {lon:.6f}, latitude {lat:.6f}, given the other way round"
    if not (-180.0 <= lon <= 360.0 and -90.0 <= lat <= 90.0):
        raise UsageError(f"There is no place at longitude {lon:g}, latitude {lat:g}.")
    x, y = ground.from_degrees(lon, lat)
    return _checked(Place(x, y, lon, lat, how))


def _from_xy(text: str, crs: str | None, ground: Ground) -> Place:
    from reachrank.requests.coordinates import readings  # noqa: PLC0415
    from reachrank.requests.crs_text import crs_of  # noqa: PLC0415
    from reachrank.requests.near import Place  # noqa: PLC0415

    parts = [part for part in text.replace(";", ",").split(",") if part.strip()]
    values = [readings(part) for part in parts]
    if len(values) != 2 or not all(values):
        raise UsageError(
            f"--xy is {plain(text, 80)!r}, not two numbers.", hint="Write it as 497038.6,4817702.5."
        )
    x, y = values[0][0].value, values[1][0].value
    how = f"x {x:.1f}, y {y:.1f}"
    if crs:
        given = crs_of(crs, "--crs")
        x, y = ground.place(x, y, given)
        how += f" in {given.name}"
    return _checked(Place(x, y, *ground.degrees(x, y), how))


def _from_address(text: str, spec: str, column: str, ground: Ground, *, as_json: bool) -> Place:
    from reachrank.requests.address_file import read_addresses  # noqa: PLC0415
    from reachrank.requests.addresses import AddressBook  # noqa: PLC0415
    from reachrank.requests.near import Place  # noqa: PLC0415

    points, crs = read_addresses(spec, column)
    match = AddressBook(points).find(text)
    if match.kind != "found":
        if as_json:
            click.echo(json.dumps({"candidates": [point.text for point in match.points]}))
        raise InputError(_not_found(text, match), hint=_hint(match), where=spec)
    point = match.points[0]
    x, y = ground.place(point.x, point.y, crs)
    return _checked(
        Place(x, y, *ground.degrees(x, y), f"the county's address point {point.text!r}")
    )


def _not_found(text: str, match: Match) -> str:
    shown = plain(text, 80)
    if not match.points:
        return f"The address {shown!r} is not in the list, and nothing like it."
    return f"The address {shown!r} is not settled by the list."


def _hint(match: Match) -> str:
    if not match.points:
        return "Ask for coordinates, or for the parcel."
    return f"Did the caller mean: {'; '.join(point.text for point in match.points)}?"


def _checked(place: Place) -> Place:
    if not all(abs(value) < float("inf") for value in (place.x, place.y)):
        raise UsageError("The place lies outside of what the CRS of the ranked file can hold.")
    return place
