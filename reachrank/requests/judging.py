"""Judge one application by the rules: a state, a short word, and a sentence for a letter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from reachrank.requests.paths import PATH_WORDS
from reachrank.requests.rules import EligibilityRules, Rules

State = Literal["eligible", "visit_first", "not_eligible", "too_far", "duplicate", "not_placed"]
STATES: dict[State, str] = {
    "eligible": "eligible",
    "visit_first": "visit first",
    "not_eligible": "not eligible",
    "too_far": "too far from a stream",
    "duplicate": "duplicate of another",
    "not_placed": "cannot be placed",
}


@dataclass(frozen=True)
class Verdict:
    """What an application is, and why."""

    state: State
    code: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What is known of the repair that an application is matched to; None is unknown.

    ``limit_rank`` is the last rank that the program takes, by its score or its rank limit;
    ``excluded_frac`` the share of the repair in areas that it leaves out.
    """

    bank: str
    stream: str
    length_m: float
    path: str | None
    rank: int | None
    rank_low: int | None
    rank_high: int | None
    score: float | None
    confidence_frac: float | None
    limit_rank: int
    excluded_frac: float = 0.0


def limit_rank(scores: list[float], rules: EligibilityRules) -> int:
    """Return the last rank that the rules take: banks with the least score, at most the greatest.

    >>> limit_rank([80.0, 50.0, 30.0], EligibilityRules(least_score=35.0))
    2
    """
    by_score = sum(score >= rules.least_score for score in scores)
    return min(by_score, rules.greatest_rank) if rules.greatest_rank else by_score


def judge(facts: Facts, rules: Rules) -> Verdict:
    """Judge a repair by the rules.

    What is certainly against it decides; else what is not certain asks for a visit; else it is
    eligible.

    Examples
    --------
    >>> facts = Facts(bank="left", stream="Mill Run", length_m=40.0, path="hand_built", rank=3,
    ...               rank_low=2, rank_high=9, score=60.0, confidence_frac=0.8, limit_rank=5)
    >>> judge(facts, Rules()).state  # its rank may be 9, the limit is 5
    'visit_first'
    """
    no = next(_against(facts, rules.eligibility), None)
    if no is not None:
        return Verdict("not_eligible", *no)
    unsure = next(_unsure(facts, rules.eligibility), None)
    if unsure is not None:
        return Verdict("visit_first", *unsure)
    work = f"; the work {PATH_WORDS[facts.path]}" if facts.path in PATH_WORDS else ""
    return Verdict(
        "eligible",
        "meets_rules",
        f"It meets the rules: {facts.length_m:.0f} m of the {facts.bank} bank of {facts.stream}, "
        f"rank {facts.rank}{_range(facts)}{work}.",
    )


def _against(facts: Facts, rules: EligibilityRules) -> Iterator[tuple[str, str]]:
    where = f"on the {facts.bank} bank of {facts.stream}"
    if facts.excluded_frac > 0.5:
        yield "excluded_area", f"The repair {where} lies in an area that the program leaves out."
    if facts.length_m < rules.least_length_m:
        yield (
            "too_short",
            (
                f"The repair {where} is {facts.length_m:.1f} m long; the program takes "
                f"repairs from {rules.least_length_m:.1f} m."
            ),
        )
    if facts.length_m > rules.greatest_length_m:
        yield (
            "too_long",
            (
                f"The repair {where} is {facts.length_m:.0f} m long; the program takes "
                f"repairs up to {rules.greatest_length_m:.0f} m."
            ),
        )
    known = facts.path in PATH_WORDS and facts.path != "visit_first"
    if known and facts.path not in rules.paths:
        yield (
            "path_not_paid",
            (
                f"The repair {where} {PATH_WORDS[str(facts.path)]}; the program does not pay "
                "for that."
            ),
        )
    low = facts.rank_low if facts.rank_low is not None else facts.rank
    if facts.rank is not None and facts.rank > facts.limit_rank and (low or 0) > facts.limit_rank:
        yield _below(facts, rules, where)


def _below(facts: Facts, rules: EligibilityRules, where: str) -> tuple[str, str]:
    if facts.score is not None and facts.score < rules.least_score:
        return "score_too_low", (
            f"The priority {where} is {facts.score:.0f} of 100; the program takes banks from "
            f"{rules.least_score:.0f}."
        )
    return "rank_too_low", (
        f"The bank has rank {facts.rank}{_range(facts)}; the program takes the first "
        f"{facts.limit_rank}."
    )


def _unsure(facts: Facts, rules: EligibilityRules) -> Iterator[tuple[str, str]]:
    where = f"on the {facts.bank} bank of {facts.stream}"
    if facts.rank is None:
        yield "not_measured", f"The bank {where[3:]} could not be measured well enough; visit it."
        return
    low = facts.rank_low if facts.rank_low is not None else facts.rank
    high = facts.rank_high if facts.rank_high is not None else facts.rank
    limit = facts.limit_rank
    if facts.path == "visit_first":
        yield (
            "path_needs_visit",
            (f"The kind of work {where} cannot be told from the elevations; visit it first."),
        )
    elif facts.path not in PATH_WORDS:
        yield "path_unknown", f"The kind of work {where} is not known; visit it first."
    if low <= limit < high or (facts.rank > limit) != (low > limit):
        yield (
            "rank_unsure",
            (
                f"Its rank may be {low} to {high}, and the program's limit is {limit}; a visit "
                "decides."
            ),
        )
    if facts.excluded_frac > 0.0:
        yield (
            "partly_excluded",
            (f"Part of the repair {where} lies in an area that the program leaves out; visit it."),
        )
    if facts.confidence_frac is None or facts.confidence_frac < rules.least_confidence_frac:
        yield (
            "data_thin",
            (f"Too little is measured {where} for the elevations to decide; visit it first."),
        )


def _range(facts: Facts) -> str:
    if facts.rank_low is None or facts.rank_high is None or facts.rank_low == facts.rank_high:
        return ""
    return f" ({facts.rank_low} to {facts.rank_high} in 9 of 10 draws)"


def money_row(known: Mapping[str, Any], rules: Rules) -> tuple[float | None, bool | None]:
    """Return what the program would pay for a repair, and whether its cap makes that smaller.

    >>> money_row({"cost_low_usd": 8000.0, "cost_high_usd": 12000.0}, Rules())
    (7500.0, True)
    """
    low, high = known.get("cost_low_usd"), known.get("cost_high_usd")
    if low is None or high is None or low != low or high != high:  # noqa: PLR0124  (not a number)
        return None, None
    basis = {"low": low, "middle": (low + high) / 2.0, "high": high}[rules.money.cost]
    share = float(basis) * rules.money.share_frac
    cap = rules.money.cap_per_site_usd
    if cap and share > cap:
        return cap, True
    return round(share, 2), False
