"""Find an address in a county's own list: the same words in any spelling, or candidates to ask.

Street words are shortened as in the U.S. Postal Service's Publication 28, appendices B and C2,
and spelled out here before they are compared, so that "1038 LOWER MILL RD." is "1038 Lower Mill
Road". Nothing leaves the machine.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

# From memory of Publication 28: the shortened forms in common use, not the whole appendix.
_WORDS = {
    "aly": "alley", "ave": "avenue", "av": "avenue", "aven": "avenue", "bch": "beach",
    "bnd": "bend", "blvd": "boulevard", "br": "branch", "brg": "bridge", "brk": "brook",
    "byp": "bypass", "cswy": "causeway", "ctr": "center", "cir": "circle", "cl": "close",
    "cor": "corner", "ct": "court", "cv": "cove", "crk": "creek", "cres": "crescent",
    "xing": "crossing", "dr": "drive", "est": "estate", "expy": "expressway", "ext": "extension",
    "fls": "falls", "fry": "ferry", "fld": "field", "frst": "forest", "frk": "fork", "ft": "fort",
    "fwy": "freeway", "gdns": "gardens", "gln": "glen", "grn": "green", "grv": "grove",
    "hbr": "harbor", "hvn": "haven", "hts": "heights", "hwy": "highway", "hl": "hill",
    "hls": "hills", "holw": "hollow", "is": "island", "jct": "junction", "knl": "knoll",
    "lk": "lake", "ln": "lane", "lndg": "landing", "ldg": "lodge", "mnr": "manor", "mdw": "meadow",
    "mdws": "meadows", "ml": "mill", "mls": "mills", "mt": "mount", "mtn": "mountain",
    "orch": "orchard", "pkwy": "parkway", "pl": "place", "plz": "plaza", "pt": "point",
    "prt": "port", "pr": "prairie", "rdg": "ridge", "riv": "river", "rd": "road", "rte": "route",
    "rt": "route", "sq": "square", "sta": "station", "st": "street", "str": "street",
    "ter": "terrace", "trce": "trace", "trl": "trail", "tpke": "turnpike", "un": "union",
    "vly": "valley", "vw": "view", "vlg": "village", "wl": "well", "co": "county", "cnty": "county",
    "n": "north", "s": "south", "e": "east", "w": "west", "ne": "northeast", "nw": "northwest",
    "se": "southeast", "sw": "southwest",
}  # fmt: skip
_UNIT = re.compile(
    r"(?:\b(?:apt|apartment|unit|ste|suite|lot|trlr|bldg|fl|rm)\b\.?|#)\s*(?:no\.?\s*)?[\w-]+", re.I
)
_BOX = re.compile(r"\bp\.?\s*o\.?\s*box\b", re.I)
_ALIKE = 0.82
_SURE_LEAD = 0.08
_MOST = 5

Kind = Literal["found", "unsure", "none"]


@dataclass(frozen=True)
class Normal:
    """An address in one spelling: house number, street words, and the words behind a comma."""

    number: str
    street: str
    rest: str = ""


@dataclass(frozen=True)
class AddressPoint:
    """One address of the county's list, as written there, in the CRS of that list."""

    text: str
    x: float
    y: float


@dataclass(frozen=True)
class Match:
    """What was found: one point, candidates to choose from, or nothing."""

    kind: Kind
    points: tuple[AddressPoint, ...]


def normal(text: str) -> Normal:
    """Return an address in one spelling: small letters, words in full, no unit, no marks.

    >>> normal("1038 LOWER MILL RD., Apt 3, Ostermere")
    Normal(number='1038', street='lower mill road', rest='ostermere')
    >>> normal("12 St. Anne's St")  # the first is a saint, the last a street
    Normal(number='12', street='saint annes street', rest='')
    """
    text = unicodedata.normalize("NFKD", text)
    text = "".join(c for c in text if not unicodedata.combining(c)).casefold()
    text = _UNIT.sub(" ", text)
    first, _, rest = text.partition(",")
    if not re.search(r"[a-z]", first) and rest:  # "799, Lower Mill Road"
        more, _, rest = rest.partition(",")
        first = f"{first} {more}"
    words = re.sub(r"[^\w\s/-]", "", re.sub(r"[.;:]", " ", first)).split()
    number = ""
    if words and re.fullmatch(r"\d+(?:[-/]?\w{0,2})?|\d+-\d+", words[0]) and len(words) > 1:
        number = words.pop(0).lstrip("0")
    full = [_WORDS.get(word, word) for word in words]
    if len(words) > 1 and words[0] == "st":
        full[0] = "saint"
    others = re.sub(r"[^\w\s]", " ", rest).split()
    return Normal(number, " ".join(full), " ".join(_WORDS.get(w, w) for w in others))


class AddressBook:
    """A county's addresses, looked up by number and street.

    Examples
    --------
    >>> book = AddressBook([AddressPoint("439 Lower Mill Road", 1.0, 2.0)])
    >>> book.find("439 lower mill rd").points[0].x
    1.0
    >>> book.find("439 Lower Mil Road").kind, book.find("7 Nowhere Lane").kind
    ('found', 'none')
    """

    def __init__(self, points: Iterable[AddressPoint]) -> None:
        self._of: dict[tuple[str, str], list[AddressPoint]] = defaultdict(list)
        self._streets_of: dict[str, set[str]] = defaultdict(set)
        self._numbers_of: dict[str, set[str]] = defaultdict(set)
        for point in sorted(points, key=lambda p: (p.text, p.x, p.y)):
            parts = normal(point.text)
            if parts.street:
                self._of[parts.number, parts.street].append(point)
                self._streets_of[parts.number].add(parts.street)
                self._numbers_of[parts.street].add(parts.number)

    def __len__(self) -> int:
        return sum(len(points) for points in self._of.values())

    def find(self, text: str) -> Match:
        """Return the point of an address; candidates where the list does not settle it.

        One spelling slip in a street is mended where no other street comes near; a house number
        is never mended. A box at the post office is nowhere.
        """
        if _BOX.search(text):
            return Match("none", ())
        asked = normal(text)
        same = self._of.get((asked.number, asked.street), [])
        if same and asked.number:
            return self._settled(same, asked)
        alike = self._alike(asked)
        if alike and asked.number:
            best, street = alike[0]
            lead = best - alike[1][0] if len(alike) > 1 else 1.0
            if best >= 0.9 and lead >= _SURE_LEAD:
                return self._settled(self._of[asked.number, street], asked)
        near = [point for _, street in alike for point in self._of[asked.number, street]]
        near += self._neighbours(asked)
        unique = tuple(dict.fromkeys(near))[:_MOST]
        return Match("unsure", unique) if unique else Match("none", ())

    def _settled(self, points: list[AddressPoint], asked: Normal) -> Match:
        if len(points) > 1 and asked.rest:
            named = [p for p in points if _same_place(normal(p.text).rest, asked.rest)]
            points = named or points
        spread = max(abs(p.x - points[0].x) + abs(p.y - points[0].y) for p in points)
        if len(points) == 1 or spread == 0.0:
            return Match("found", (points[0],))
        return Match("unsure", tuple(points[:_MOST]))

    def _alike(self, asked: Normal) -> list[tuple[float, str]]:
        """Return streets that have the number and sound alike, the likest first."""
        found = []
        for street in sorted(self._streets_of.get(asked.number, ())):
            share = _likeness(asked.street, street)
            if share >= _ALIKE:
                found.append((share, street))
        return sorted(found, key=lambda pair: (-pair[0], pair[1]))

    def _neighbours(self, asked: Normal) -> list[AddressPoint]:
        """Return the nearest house numbers of the street, where the number is not in the list."""
        streets = [asked.street] if asked.street in self._numbers_of else []
        streets = streets or difflib.get_close_matches(
            asked.street, sorted(self._numbers_of), n=1, cutoff=0.9
        )
        wanted = _as_number(asked.number)
        if not streets or wanted is None:
            return []
        known = sorted(
            self._numbers_of[streets[0]],
            key=lambda n: (abs((_as_number(n) or 0) - wanted), n),
        )
        return [point for number in known[:3] for point in self._of[number, streets[0]]]


def _likeness(asked: str, street: str) -> float:
    """Return how alike two streets are; a kind of street left out (Lower Mill) costs little."""
    if not asked or not street:
        return 0.0
    whole = difflib.SequenceMatcher(None, asked, street).ratio()
    head = street.rpartition(" ")[0]
    cut_short = 0.95 * difflib.SequenceMatcher(None, asked, head).ratio()
    is_part = set(asked.split()) <= set(street.split())  # "Mill Road" may be the lower or the upper
    return max(whole, cut_short, _ALIKE if is_part else 0.0)


def _same_place(known: str, asked: str) -> bool:
    return bool(known) and (known.startswith(asked) or asked.startswith(known))


def _as_number(text: str) -> int | None:
    digits = re.match(r"\d+", text)
    return int(digits[0]) if digits else None
