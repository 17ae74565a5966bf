"""What the page says of itself: from what it was made, what was doubted, what it cannot tell."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from reachrank.page.looks import LOOKS
from reachrank.page.sentences import Clauses
from reachrank.report.cautions import CAUTIONS
from reachrank.report.plain import plain
from reachrank.write.run_info import value_of

if TYPE_CHECKING:
    from reachrank.context import Table

CANNOT_TELL = (
    "What is under water. Lidar sees the water's surface: a bank is as high as it stands above "
    "the water on the day of the flight, and undercutting below does not show.",
    "What has changed since the flight. A bank may have fallen, or been mended, after it.",
    "How fast a bank moves. The score puts places in order; it is no rate and no probability.",
    "Which of two places comes first where their ranges of rank overlap.",
    "What holds or loosens a bank from inside: seepage, layers of sand, roots, frost, burrows.",
    "Who owns the land, who lets a crew in, what lies buried, which permits are needed.",
    "Where exactly to set a stake. Lines here are thinned for drawing; measure on the ground.",
)
"""Limits that every reader should have met before a crew is sent."""

_SEVERITIES = {"left_out": "left out", "warning": "warning", "info": "note"}
_MOST_KINDS = 60
_FACTS = (
    ("units", "Units read"),
    ("curve", "Bankfull curve"),
    ("factor_weights", "Weights of the hazard score"),
    ("factors_absent", "Not in the score, for lack of a layer"),
    ("priority_rule", "Rule from hazard and exposure to priority"),
    ("priority_classes", "Classes by priority score"),
    ("rank_ties", "Ties"),
    ("rank_draws", "Range of ranks"),
    ("cell_m", "Cell of the elevation grid, m"),
)


def made_from(info: Table, source_name: str) -> list[list[str]]:
    """Return term and text: the ranked file, its inputs, its program, its main settings."""
    lines = [["Ranked file", plain(source_name, 200)]]
    for key, value in info.itertuples(index=False):
        if str(key).startswith("input."):
            words = str(key).removeprefix("input.").replace("_", " ")
            shown = ", ".join(
                part for part in plain(value, 400).split(", ") if not part.startswith("sha256")
            )
            lines.append([words.capitalize() if words != "dem" else "DEM", shown])
    lines += [[words, value] for key, words in _FACTS if (value := plain(value_of(info, key), 600))]
    version = _json(value_of(info, "versions")).get("reachrank")
    if version:
        lines.append(["Program", f"reachrank {plain(version, 40)}"])
    return lines


def class_looks(info: Table) -> list[dict[str, Any]]:
    """Return the classes as the page draws them, with the scores where they begin."""
    breaks = _json(value_of(info, "settings")).get("priority", {}).get("class_breaks", [])
    starts: list[float | None] = [0.0, *breaks] if len(breaks) == len(LOOKS) - 2 else []
    starts += [None] * (len(LOOKS) - len(starts))
    return [
        {
            "name": look.name,
            "letter": look.letter,
            "colour": look.colour,
            "ink": look.ink,
            "edge": look.edge,
            "width": look.width_px,
            "meaning": look.meaning,
            "start": start,
        }
        for look, start in zip(LOOKS, starts, strict=True)
    ]


def years_cap(info: Table) -> float | None:
    """Return the number of years beyond which none are counted; None where it is not stated."""
    cap = _json(value_of(info, "settings")).get("exposure", {}).get("years_cap_yr")
    return float(cap) if isinstance(cap, (int, float)) else None


def findings_of(findings: Table, clauses: Clauses) -> dict[str, Any]:
    """Return how many findings there are, and each kind with its number and first sentence."""
    if findings.empty:
        return {"count": 0, "kinds": []}
    order = {severity: i for i, severity in enumerate(_SEVERITIES)}
    groups = findings.groupby(["severity", "code"], sort=True)["text"].agg(["size", "first"])
    rows = sorted(
        groups.reset_index().to_dict("records"),
        key=lambda row: (order.get(str(row["severity"]), 9), -row["size"], str(row["code"])),
    )
    return {
        "count": len(findings),
        "kinds": [
            [
                int(row["size"]),
                _SEVERITIES.get(str(row["severity"]), plain(row["severity"], 20)),
                clauses.numbers(row["first"]),
            ]
            for row in rows[:_MOST_KINDS]
        ],
    }


def cautions_of(info: Table) -> list[str]:
    """Return the cautions, one by one; those of the file where it has its own."""
    told = value_of(info, "cautions")
    if not told or told == " ".join(CAUTIONS):
        return list(CAUTIONS)
    return [plain(told)]


def _json(text: str) -> Mapping[str, Any]:
    try:
        value = json.loads(text) if text and not pd.isna(text) else {}
    except ValueError:
        return {}
    return value if isinstance(value, dict) else {}
