"""Three questions for the caller: what the elevations cannot see, the most telling first.

Common practice of intake by telephone, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from reachrank.write.us_text import us_text

CLOSE_M = 15.0
"""A structure this near the edge is asked about first."""


@dataclass(frozen=True, kw_only=True)
class Unknown:
    """What decides which questions are worth asking."""

    is_side_unclear: bool = False
    structure_class: str | None = None
    structure_distance_m: float | None = None
    is_angle_lower_bound: bool = False
    has_cover: bool = True
    is_failing: bool = True


def three_questions(unknown: Unknown, *, us: bool = False) -> tuple[str, str, str]:
    """Return three questions to read out, the most telling first.

    Examples
    --------
    >>> three_questions(Unknown(is_side_unclear=True))[0]
    'Looking downstream, is the trouble on your left hand or on your right?'
    """
    asked: list[str] = []
    if unknown.is_side_unclear:
        asked.append("Looking downstream, is the trouble on your left hand or on your right?")
    near = unknown.structure_distance_m
    if near is not None and near <= CLOSE_M:
        what = unknown.structure_class or "structure"
        asked.append(
            f"How many steps are there from the {what} to the edge, and are there cracks in the "
            "ground or in walls, or leaning posts, between them?"
        )
    elif near is None:
        asked.append(
            "What would be lost if the edge came 10 m closer: a building, a well, a septic field, "
            "a drive, a fence? The map shows nothing within reach."
        )
    asked.append(
        "How far has the edge moved since last year, and what can it be measured from: a fence, a "
        "tree, a stake, an old photograph?"
    )
    if not unknown.is_failing:
        asked.append(
            "Where exactly is the soil falling in? The elevations show no failing bank just here; "
            "they may be older than the damage."
        )
    if unknown.is_angle_lower_bound or not unknown.has_cover:
        asked.append("Is the face bare or held by roots, and is it hollow underneath?")
    asked += [
        "Do any lines run between the house and the stream: power, gas, water, septic?",
        "Can a truck or a small machine get to the top of the bank?",
    ]
    first = [us_text(text) if us else text for text in asked[:3]]
    return first[0], first[1], first[2]
