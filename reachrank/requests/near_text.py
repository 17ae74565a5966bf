"""The answer to one caller, as lines to read out and as data for a program."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from reachrank.report.plain import plain
from reachrank.requests.near import Answer, Repair
from reachrank.requests.paths import PATH_WORDS
from reachrank.units import us_name
from reachrank.write.us_text import us_quantity, us_text

WIDTH = 96
NO_PATH = "not known: the ranked file does not say"


def answer_lines(answer: Answer, *, us: bool = False) -> Iterator[str]:
    """Yield the answer, the most asked-for first."""
    away = length(answer.distance_m, us=us)
    yield f"Place: {plain(answer.place.how, 300)}."
    stations = ""
    if answer.station_from_m is not None and answer.station_to_m is not None:
        near = length(answer.station_from_m, us=us).partition(" ")[0]
        stations = f", station {near} to {length(answer.station_to_m, us=us)}"
    yield from _wrapped(
        f"Nearest bank: {plain(answer.bank)} bank (looking downstream) of "
        f"{plain(answer.stream, 80)}{stations}; {away} away  [{plain(answer.bank_id, 60)}]"
    )
    yield ""
    yield from _wrapped(_rank_sentence(answer))
    if answer.reason:
        yield from _wrapped(_told(answer.reason, us=us), "    ")
    yield ""
    yield from _repair_lines(answer.repair, us=us)
    yield ""
    yield "Near the edge:"
    for structure in answer.structures:
        name = plain(structure.structure_class, 40)
        yield f"    {name}, {length(structure.distance_m, us=us)} from the top of the bank"
    if not answer.structures:
        yield "    nothing that the ranking knows of"
    yield ""
    yield "Ask the caller:"
    for number, question in enumerate(answer.questions, 1):
        yield from _wrapped(f"{number}. {question}", "    ", "       ")
    yield ""
    yield "Cautions:"
    for caution in answer.cautions:
        yield from _wrapped(plain(caution), "    ")


def answer_data(answer: Answer, *, us: bool = False) -> dict[str, Any]:
    """Return the answer as plain data; in U.S. units the names end in ``_ft`` and ``_ton_yr``."""
    data = asdict(answer)
    data.pop("is_in_us_units")
    data["units"] = "us" if us else "metric"
    turned = _in_us_units(data) if us else data
    return turned if isinstance(turned, dict) else {}


def length(value_m: float, *, us: bool) -> str:
    """Return a length for people: whole from 10 on, one decimal below."""
    value, unit = us_quantity(value_m, "m") if us else (value_m, "m")
    return f"{value:,.0f} {unit}" if value >= 10 else f"{value:.1f} {unit}"


def money(low: float | None, high: float | None) -> str:
    """Return a range of money; empty where it is not known.

    >>> money(1200.0, 3400.0), money(None, None)
    ('$1,200 to $3,400', '')
    """
    known = [value for value in (low, high) if value is not None and value == value]  # noqa: PLR0124
    return " to ".join(dict.fromkeys(f"${value:,.0f}" for value in known))


def _rank_sentence(answer: Answer) -> str:
    if answer.rank is None:
        return "It has no rank: it could not be measured well enough."
    parts = [f"Rank {answer.rank} of {answer.banks_ranked:,} banks"]
    if answer.rank_low is not None and answer.rank_high is not None:
        low, high = answer.rank_low, answer.rank_high
        parts.append(f"{low} to {high} in 9 of 10 draws" if low != high else f"{low} in every one "
                     "of 9 in 10 draws")  # fmt: skip
    if answer.priority_score is not None:
        parts.append(f"score {answer.priority_score:.0f} of 100")
    if answer.confidence_frac is not None:
        parts.append(f"confidence {answer.confidence_frac:.0%}")
    return "; ".join(parts) + "."


def _repair_lines(repair: Repair | None, *, us: bool) -> Iterator[str]:
    if repair is None:
        yield "Repair: no failing length was found on this bank."
        return
    yield from _wrapped(
        f"Repair: {length(repair.length_m, us=us)} of failing bank, "
        f"{length(repair.distance_m, us=us)} away  [{plain(repair.repair_id, 60)}]"
    )
    words = plain(repair.path_label or PATH_WORDS.get(repair.path or "", NO_PATH), 200)
    yield from _wrapped(f"Kind of work: {words}.".replace("..", "."), "    ")
    for text in (repair.path_reasons, repair.permit_questions):
        if text:
            yield from _wrapped(_told(text, us=us), "    ")
    cost = money(repair.cost_low_usd, repair.cost_high_usd)
    if cost:
        yield f"    Cost: {cost}, a screening figure."
    if repair.sediment_mid_t_yr_screening is not None:
        yield f"    Soil lost at the bank: {_tons(repair, us=us)} a year, a screening figure."


def _tons(repair: Repair, *, us: bool) -> str:
    factor = us_name("mass_t_yr")[1] if us else 1.0
    figures = (
        repair.sediment_low_t_yr_screening,
        repair.sediment_mid_t_yr_screening,
        repair.sediment_high_t_yr_screening,
    )
    low, mid, high = (None if f is None else f"{f * factor:,.1f}" for f in figures)
    spread = f" ({low} to {high})" if low and high else ""
    return f"{mid} {'tons' if us else 'tonnes'}{spread}"


def _told(text: str, *, us: bool) -> str:
    shown = plain(text, 1200)
    return us_text(shown) if us else shown


def _in_us_units(value: Any) -> Any:
    if isinstance(value, dict):
        out = {}
        for name, inner in value.items():
            customary, factor = us_name(name)
            is_number = isinstance(inner, (int, float)) and not isinstance(inner, bool)
            out[customary] = inner * factor if is_number and factor != 1.0 else _in_us_units(inner)
        return out
    if isinstance(value, (list, tuple)):
        return [_in_us_units(inner) for inner in value]
    return us_text(value) if isinstance(value, str) else value


def _wrapped(text: str, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=then or first)
