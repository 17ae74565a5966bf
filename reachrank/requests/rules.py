"""The rules of a program: what it takes, where, and what it pays. Read from TOML, checked once.

The defaults are demo rules of no program at all, and every result that they judge says so.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass, field
from pathlib import Path

from reachrank.settings._field import setting

_OF_A_PROGRAM = "demo value; the program's own document decides"


@dataclass(frozen=True, kw_only=True)
class ProgramRules:
    """Which program this is."""

    name: str = setting("", "Name of the program, for the first line and the spreadsheet.")


@dataclass(frozen=True, kw_only=True)
class ColumnRules:
    """Which columns of the applications mean what; empty: recognised by their names."""

    application_id: str = setting("", "Number or name of the application.")
    longitude: str = setting("", "Longitude in degrees.")
    latitude: str = setting("", "Latitude in degrees.")
    x: str = setting("", "Easting, in the CRS of [placing] crs.")
    y: str = setting("", "Northing, in the CRS of [placing] crs.")
    coordinates: str = setting("", "Latitude and longitude in one column.")
    address: str = setting("", "Address of the site, not of the applicant.")
    parcel: str = setting("", "Number of the parcel.")
    parcel_layer: str = setting("", "Number of the parcel, in the layer of parcels.")
    address_layer: str = setting("", "Whole address, in the layer of address points.")


@dataclass(frozen=True, kw_only=True)
class PlacingRules:
    """How a place is found from what was written down."""

    crs: str = setting(
        "",
        "CRS of the columns x and y, as EPSG:26916. Empty: that of the ranked file.",
    )
    coordinate_error_m: float = setting(
        25.0,
        "Coordinates that are rounded more coarsely than this, to either side, are not used. Four "
        "decimals of a degree are good to 6 m, three to 56 m.",
        unit="m",
        least=0.0,
        greatest=5000.0,
    )
    area_margin_m: float = setting(
        2000.0,
        "Coordinates that lie farther than this from the box around the ranked banks are tried "
        "swapped, in feet, and with the sign of the longitude mended.",
        unit="m",
        least=0.0,
        greatest=200000.0,
    )


@dataclass(frozen=True, kw_only=True)
class MatchingRules:
    """Which bank an application is about."""

    nearest_bank_within_m: float = setting(
        60.0,
        "Without a bank on its own parcel, an application is about the nearest bank within this.",
        unit="m",
        source=_OF_A_PROGRAM,
        least=0.0,
        greatest=5000.0,
    )
    parcel_line_error_m: float = setting(
        10.0,
        "How far parcel lines may lie off the ground. A bank belongs to a parcel when the land so "
        "far behind its top is in the parcel; a stream that is the boundary gives each parcel the "
        "bank that faces it.",
        unit="m",
        least=0.0,
        greatest=100.0,
    )
    least_on_parcel_m: float = setting(
        3.0,
        "A repair is on a parcel when at least this length of it, or a tenth, belongs to it.",
        unit="m",
        least=0.0,
        greatest=1000.0,
    )


@dataclass(frozen=True, kw_only=True)
class EligibilityRules:
    """What the program takes."""

    paths: tuple[str, ...] = setting(
        ("hand_built", "design_first"),
        "Kinds of work that it pays for.",
        source=_OF_A_PROGRAM,
        choices=("hand_built", "design_first", "leave_alone", "visit_first"),
    )
    least_score: float = setting(
        35.0,
        "Least priority score of the bank. The limit becomes a rank, that of the last bank with "
        "this score; where the rank range of a bank lies on both sides of it, visit first.",
        unit="0-100",
        source=_OF_A_PROGRAM,
        least=0.0,
        greatest=100.0,
    )
    greatest_rank: int = setting(
        0,
        "Only banks up to this rank; 0 means no such limit. Ranges are treated as for the score.",
        source=_OF_A_PROGRAM,
        least=0,
    )
    least_confidence_frac: float = setting(
        0.4,
        "Below this confidence the data do not decide: visit first.",
        source=_OF_A_PROGRAM,
        least=0.0,
        greatest=1.0,
    )
    least_length_m: float = setting(
        6.0, "Least length of a repair.", unit="m", source=_OF_A_PROGRAM, least=0.0,
        greatest=100000.0,
    )  # fmt: skip
    greatest_length_m: float = setting(
        150.0, "Greatest length of a repair.", unit="m", source=_OF_A_PROGRAM, least=0.0,
        greatest=100000.0,
    )  # fmt: skip
    one_per_parcel: bool = setting(
        True,
        "One application for each parcel: the one with the best rank.",
        source=_OF_A_PROGRAM,
    )
    excluded_areas: str = setting(
        "",
        "Layer of areas that the program leaves out: a repair more than half inside is out, one "
        "that is partly inside is visited first. A path in the rules file starts from its folder.",
        source=_OF_A_PROGRAM,
    )


@dataclass(frozen=True, kw_only=True)
class MoneyRules:
    """What the program pays."""

    share_frac: float = setting(
        0.75, "Share of the cost that it pays.", source=_OF_A_PROGRAM, least=0.0, greatest=1.0
    )
    cap_per_site_usd: float = setting(
        7500.0, "Most that it pays for one site; 0 means no cap.", unit="US$",
        source=_OF_A_PROGRAM, least=0.0, greatest=1e9,
    )  # fmt: skip
    cost: str = setting(
        "high",
        "Which cost the share is taken of: the high one, so that the money set aside is enough.",
        source=_OF_A_PROGRAM,
        choices=("low", "middle", "high"),
    )


@dataclass(frozen=True, kw_only=True)
class Rules:
    """All rules of a program; the names of the groups are the tables of the TOML file."""

    program: ProgramRules = field(default_factory=ProgramRules)
    columns: ColumnRules = field(default_factory=ColumnRules)
    placing: PlacingRules = field(default_factory=PlacingRules)
    matching: MatchingRules = field(default_factory=MatchingRules)
    eligibility: EligibilityRules = field(default_factory=EligibilityRules)
    money: MoneyRules = field(default_factory=MoneyRules)


DEMO_NAME = "demo rules, of no program"
_FIRST = (
    "Rules of a program for `reachrank screen --rules`. The values are demo values of no program: "
    "put the program's own in their place, and leave out what you do not change."
)


def load_rules(path: str | Path | None) -> Rules:
    """Read rules from a TOML file; None gives the demo rules.

    Raises
    ------
    SettingsError
        Once, with every unknown key, wrong type and value out of its limits.
    """
    from reachrank.settings.load import checked_groups, read_toml  # noqa: PLC0415  (pydantic)

    if path is None:
        return Rules()
    rules = checked_groups(
        Rules, read_toml(path), str(path),
        all_of_them="`reachrank screen --print-rules` prints every rule with its limits.",
    )  # fmt: skip
    areas = rules.eligibility.excluded_areas
    if areas and not Path(areas).is_absolute():
        beside = str(Path(path).parent / areas)
        eligibility = dataclasses.replace(rules.eligibility, excluded_areas=beside)
        rules = dataclasses.replace(rules, eligibility=eligibility)
    return rules


def rules_toml() -> str:
    """Return the demo rules as a TOML file with comments."""
    from reachrank.settings.as_toml import groups_toml  # noqa: PLC0415

    return groups_toml(Rules(), _FIRST)


def rules_name(rules: Rules, *, is_demo: bool) -> str:
    """Return what the rules are called."""
    return DEMO_NAME if is_demo else (rules.program.name or "rules without a name")


def rules_json(rules: Rules) -> str:
    """Return the rules as one line of JSON, as they are kept in a docket."""
    return json.dumps(dataclasses.asdict(rules), ensure_ascii=False, separators=(",", ":"))


def rules_hash(rules: Rules, *, is_demo: bool) -> str:
    """Return the fingerprint of the rules; a changed value changes it, a changed file name not.

    >>> rules_hash(Rules(), is_demo=True).startswith("demo-")
    True
    """
    text = dataclasses.asdict(rules)
    areas = text["eligibility"]["excluded_areas"]
    text["eligibility"]["excluded_areas"] = Path(areas).name if areas else ""
    made = hashlib.sha256(json.dumps(text, sort_keys=True).encode()).hexdigest()[:10]
    return f"demo-{made}" if is_demo else made
