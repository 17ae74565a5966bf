"""Read coordinates as people write them: every reading that the text allows, with its rounding."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

Axis = Literal["lat", "lon"]

_MARKS = str.maketrans({
    "º": "°", "˚": "°", "’": "'", "′": "'", "‘": "'", "`": "'", "´": "'",
    "”": '"', "″": '"', "“": '"', "−": "-", "–": "-", "—": "-",
    "\u00a0": " ", "\u202f": " ", "\u2009": " ",
})  # fmt: skip
_UNIT_BEHIND = re.compile(r"(?<=[\d.,\s])(?:m|ft|feet|metres?|meters?|usft|us-ft)\.?$")
_NUMBER = re.compile(r"[+-]?(?:\d[\d.,' ]*|[.,]\d+)(?:e[+-]?\d{1,2})?", re.IGNORECASE)
_PARTS = re.compile(r"\d+(?:[.,]\d+)?")
_BETWEEN = re.compile(r"[\s°'\":dms]*", re.IGNORECASE)
_LETTERED = re.compile(r"(\d+)\s*d\s*(\d+)\s*m\s*(\d+(?:[.,]\d+)?)\s*s(?![A-Za-z])")
_GROUPS = re.compile(r"\d{1,3}(?:[,.' ]\d{3})+")


@dataclass(frozen=True)
class Reading:
    """One value that a text may mean.

    ``error`` is half of the last digit's worth; ``axis`` is stated by a letter N, S, E or W.
    """

    value: float
    error: float
    axis: Axis | None = None


def readings(text: str) -> tuple[Reading, ...]:
    """Return what a number may mean: a decimal comma or groups of thousands, whole or broken.

    Parameters
    ----------
    text
        As typed. A unit behind the number, a plus sign and blanks between thousands are allowed.

    Returns
    -------
    tuple
        No reading for a text that is no number; two where a comma or a point may part decimals or
        thousands, the likelier first.

    Examples
    --------
    >>> [r.value for r in readings("498459,1")], [r.value for r in readings("497,685.2")]
    ([498459.1], [497685.2])
    >>> [r.value for r in readings("43,511")]  # forty-three and a half, or forty-three thousand
    [43511.0, 43.511]
    """
    text = _UNIT_BEHIND.sub("", text.translate(_MARKS).strip().lower()).strip()
    if not _NUMBER.fullmatch(text):
        return ()
    sign = -1.0 if text.startswith("-") else 1.0
    body, _, power = text.lstrip("+-").partition("e")
    body = body.strip()
    if power:
        return _made(sign, body.replace(",", "."), power)
    marks = [letter for letter in body if letter in ".,"]
    bare = body.replace(" ", "").replace("'", "")
    if not marks:
        return _made(sign, bare)
    last = marks[-1]
    if len(set(marks)) == 2:  # both: the last one parts the decimals
        other = "," if last == "." else "."
        if marks.count(last) > 1:
            return ()
        return _made(sign, bare.replace(other, "").replace(last, "."))
    if len(marks) > 1:  # several of one kind can only be thousands
        return _made(sign, bare.replace(last, "")) if _GROUPS.fullmatch(body) else ()
    decimals = _made(sign, bare.replace(last, "."))
    if last == "," and _GROUPS.fullmatch(body):
        return _made(sign, bare.replace(",", "")) + decimals
    return decimals


def degrees(text: str) -> tuple[Reading, ...]:
    r"""Return what an angle may mean: decimal degrees, or degrees with minutes and seconds.

    Examples
    --------
    >>> degrees("-87.0375")[0].value, degrees("87° 02' 15.0\" W")[0].value
    (-87.0375, -87.0375)
    >>> degrees("N 43 30.75")[0].axis, degrees("five")
    ('lat', ())
    """
    text = _LETTERED.sub(r"\1°\2'\3" + '"', text.translate(_MARKS).strip())
    letters = re.findall(r"(?<![A-Za-z])[NSEWnsew](?![A-Za-z])", text)
    if len(letters) > 1:
        return ()
    rest = re.sub(r"(?<![A-Za-z])[NSEWnsew](?![A-Za-z])", " ", text).strip()
    letter = letters[0].upper() if letters else ""
    axis: Axis | None = None if not letter else ("lat" if letter in "NS" else "lon")
    sign = -1.0 if letter and letter in "SW" else 1.0
    plain = rest.rstrip("° ")
    whole = readings(plain)
    if whole and not re.search(r"\d\s+\d", plain):
        # "-87.0 W" is one minus too many; the letter says where it lies
        return tuple(
            Reading(sign * abs(r.value) if letter else r.value, r.error, axis) for r in whole
        )
    if rest.startswith("-"):
        sign, rest = -1.0, rest[1:]
    parts = _PARTS.findall(rest)
    between = _PARTS.split(rest)
    if not 2 <= len(parts) <= 3 or not all(_BETWEEN.fullmatch(gap) for gap in between):
        return ()
    numbers = [float(part.replace(",", ".")) for part in parts]
    if any(number >= 60.0 for number in numbers[1:]) or any(n % 1 for n in numbers[:-1]):
        return ()
    value = sum(number / 60.0**k for k, number in enumerate(numbers))
    return (Reading(sign * value, _half_step(parts[-1]) / 60.0 ** (len(parts) - 1), axis),)


def pair(text: str) -> tuple[str, str] | None:
    """Split a text that holds two coordinates; None where it does not.

    Examples
    --------
    >>> pair("43.511607, -87.028638"), pair("43,5116; -87,0286")
    (('43.511607', '-87.028638'), ('43,5116', '-87,0286'))
    >>> pair("43.5116 N 87.0286 W"), pair("799 Lower Mill Road")
    (('43.5116 N', '87.0286 W'), None)
    """
    text = text.translate(_MARKS).strip().strip("()[]")
    for separator in (";", ", ", ",", "/", "|"):
        parts = [part.strip() for part in text.split(separator)]
        if len(parts) == 2 and all(degrees(part) for part in parts):
            return parts[0], parts[1]
    match = re.fullmatch(r"(.*?[NSns])[\s,]+(.*[EWew])", text) or re.fullmatch(
        r"([NSns].*?)[\s,]+([EWew].*)", text
    )
    if match and degrees(match[1]) and degrees(match[2]):
        return match[1].strip(), match[2].strip()
    parts = text.split()
    if len(parts) == 2 and all(degrees(part) for part in parts):
        return parts[0], parts[1]
    return None


def _made(sign: float, body: str, power: str = "") -> tuple[Reading, ...]:
    try:
        value = float(f"{body}e{power or 0}")
    except (ValueError, OverflowError):
        return ()
    if abs(value) > 1e12:
        return ()
    return (Reading(sign * value, _half_step(body) * 10.0 ** int(power or 0)),)


def _half_step(body: str) -> float:
    decimals = len(re.split(r"[.,]", body)[-1]) if re.search(r"[.,]", body) else 0
    return 0.5 * 10.0**-decimals
