"""`reachrank budget`: the best set of repairs within an amount of money."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from reachrank.commands.input_options import overwrite_option
from reachrank.commands.screen import units_option
from reachrank.report.plain import plain

if TYPE_CHECKING:
    from reachrank.budget.best_set import Choice, Problem
    from reachrank.budget.candidates import Candidates
    from reachrank.budget.value_by_cost import Floats

_MOST_TOLD = 5


@click.command()
@click.argument("source", metavar="DOCKET|RANKED")
@click.option("--amount", type=float, required=True, metavar="USD", help="What there is.")
@click.option(
    "--worth",
    type=click.Choice(["priority", "tons", "structures"]),
    default="priority",
    show_default=True,
    help="What a repair is worth: score times length, soil kept, or structures within reach.",
)
@click.option(
    "--cost",
    type=click.Choice(["share", "low", "middle", "high"]),
    help="What it takes.  [default: share from a docket, high from a ranked file]",
)
@click.option("--must", multiple=True, metavar="ID", help="Is in whatever it is worth.")
@click.option("--never", multiple=True, metavar="ID", help="Stays out.")
@click.option(
    "--per-stream-cap", type=click.IntRange(1), metavar="N", help="Most repairs on one stream."
)
@click.option(
    "--gap",
    type=click.FloatRange(0.0, 1.0),
    default=0.001,
    show_default=True,
    help="How near to the best the proof must come, as a share.",
)
@click.option(
    "--time-limit",
    type=click.FloatRange(0.1),
    default=60.0,
    show_default=True,
    metavar="SECONDS",
    help="For the exact programme.",
)
@click.option("--plot", metavar="FILE.png", help="Draw worth against budget.")
@click.option("--out", required=True, metavar="FILE.gpkg", help="The chosen set, layer sites.")
@units_option
@overwrite_option
def budget(
    *,
    source: str,
    amount: float,
    worth: str,
    cost: str | None,
    must: tuple[str, ...],
    never: tuple[str, ...],
    per_stream_cap: int | None,
    gap: float,
    time_limit: float,
    plot: str | None,
    out: str,
    units: str | None,
    overwrite: bool,
) -> None:
    """Choose the set of repairs that is worth most within an amount, and prove how good it is.

    From a docket the eligible repairs are candidates and the program's share is what they take;
    from a ranked file all repairs, at their high cost.
    """
    # Late: these open the geometry libraries, which `--help` should not wait for.
    from reachrank.budget.best_set import best_set, curve  # noqa: PLC0415
    from reachrank.budget.candidates import (  # noqa: PLC0415
        WORTH_WORDS,
        Cost,
        Worth,
        candidates_of,
        make_problem,
    )
    from reachrank.budget.plot import ENDING, KIND, plot_curve  # noqa: PLC0415
    from reachrank.requests.ranked_tables import open_ranked  # noqa: PLC0415
    from reachrank.requests.request_files import write_requests  # noqa: PLC0415
    from reachrank.requests.sites import freeze, known_sites, repairs_named  # noqa: PLC0415
    from reachrank.write.place import check_target  # noqa: PLC0415

    check_target(Path(out), overwrite=overwrite, inputs=[source])
    if plot:
        check_target(Path(plot), overwrite=overwrite, kind=KIND, ending=ENDING)
    ranked = open_ranked(source)
    of_worth = cast("Worth", worth)
    candidates = candidates_of(ranked, of_worth, cast("Cost | None", cost), list(never))
    problem = make_problem(candidates, amount, repairs_named(ranked, must), per_stream_cap)
    choice = best_set(problem, gap_frac=gap, time_limit_s=time_limit)
    drawn = curve(problem)
    us = units == "us" or (units is None and ranked.is_us)
    from reachrank.units import us_name  # noqa: PLC0415

    scale = {"priority": us_name("length_m")[1], "tons": us_name("mass_t_yr")[1]}.get(worth, 1.0)
    told = _Told(worth, scale if us else 1.0, us)
    picked = [
        name for name, is_in in zip(candidates.repair_ids, choice.chosen, strict=True) if is_in
    ]
    known = known_sites(ranked, None)
    by_name = dict(zip(candidates.repair_ids, candidates.worth.tolist(), strict=True))
    charge = dict(zip(candidates.repair_ids, (candidates.cost_cents / 100.0).tolist(), strict=True))
    sites, names = freeze(ranked, picked, known, worth=by_name, charge_usd=charge)
    sites = sites[sites["site_id"].isin(set(names.values()))].reset_index(drop=True)
    facts = {
        "requests.made_by": "budget",
        "requests.budget": json.dumps(
            {
                "amount_usd": amount, "worth": worth, "worth_reached": choice.worth,
                "bound": choice.bound, "gap_frac": choice.gap_frac,
                "cost_usd": choice.cost_cents / 100.0, "method": choice.method,
                "cost": cost or ("share" if ranked.is_docket else "high"),
                "must": list(must), "never": list(never), "per_stream_cap": per_stream_cap,
                "left_out": candidates.left_out,
            }
        ),
    }  # fmt: skip
    landed = write_requests({"sites": sites}, facts, ranked, out, us=us, overwrite=overwrite)
    for line in _lines(candidates, problem, choice, drawn, told):
        click.echo(line)
    if plot:
        words = WORTH_WORDS[of_worth]
        amounts, low, high = drawn
        picture = plot_curve(
            (amounts, low * told.scale, high * told.scale),
            (amount, choice.worth * told.scale), told.unit_words(words), plot, overwrite=overwrite,
        )  # fmt: skip
        click.echo(f"The curve of worth against budget is in {picture}.")
    click.echo(f"The chosen set is in {landed}, layer sites.")


class _Told:
    """How worths are shown: the columns stay metric, people may read feet and tons."""

    def __init__(self, worth: str, scale: float, us: bool) -> None:
        self.worth, self.scale, self.us = worth, scale, us

    def amount(self, value: float) -> str:
        unit = {
            "priority": "weighted feet" if self.us else "weighted metres",
            "tons": "tons a year" if self.us else "tonnes a year",
            "structures": "structures",
        }[self.worth]
        return f"{value * self.scale:,.1f} {unit}".replace(".0 structures", " structures")

    def unit_words(self, words: str) -> str:
        return words.replace("a metre", "a foot") if self.us else words


def _lines(
    candidates: Candidates,
    problem: Problem,
    choice: Choice,
    drawn: tuple[Floats, Floats, Floats],
    told: _Told,
) -> Iterator[str]:
    count = len(candidates.repair_ids)
    out = "; ".join(f"{number} {why}" for why, number in candidates.left_out.items())
    yield f"{count} candidates" + (f"; left out: {out}." if out else ".")
    if not count:
        yield "There is nothing to choose from; the layer sites is empty."
        return
    spent, amount = choice.cost_cents / 100.0, problem.amount_cents / 100.0
    yield (
        f"Chosen: {int(choice.chosen.sum())} of them for ${spent:,.2f} of ${amount:,.2f}, worth "
        f"{told.amount(choice.worth)}."
    )
    if choice.gap_frac <= 1e-9:
        proof = "No set within the amount is worth more"
    else:
        proof = f"No set within the amount is worth more by over {choice.gap_frac:.3%}"
    late = "" if choice.is_in_time else "; the time limit stopped the proof"
    yield f"{proof} (by {choice.method}{late})."
    if told.worth == "priority":
        yield "Worth is the priority score times the length, over 100; worths are simply added up."
    else:
        yield "Worths are simply added up, as if repairs did not help or harm each other."
    order = sorted(choice.chosen.nonzero()[0].tolist(), key=lambda k: (-candidates.worth[k], k))
    for k in order[: 3 * _MOST_TOLD]:
        yield f"    {_one(candidates, k, told)}"
    if len(order) > 3 * _MOST_TOLD:
        yield f"    ... and {len(order) - 3 * _MOST_TOLD} more"
    if choice.by_a_hair.size:
        yield "Left out by a hair:"
        for k in choice.by_a_hair[:_MOST_TOLD].tolist():
            short = candidates.cost_cents[k] / 100.0 - (amount - spent)
            more = f"; ${short:,.2f} more would bring it in as well" if short > 0.0 else ""
            yield f"    {_one(candidates, k, told)}{more}"
    yield "Worth against budget, by value for cost, and what no set can exceed:"
    amounts, low, high = drawn
    for share in (0.25, 0.5, 1.0, 1.5, 2.0):
        place = int(abs(amounts - share * amount).argmin())
        if abs(amounts[place] - share * amount) <= 0.1 * amount:
            yield (
                f"    ${amounts[place]:>12,.0f}  {told.amount(low[place]):>24}  "
                f"{told.amount(high[place]):>24}"
            )


def _one(candidates: Candidates, k: int, told: _Told) -> str:
    cost: Any = candidates.cost_cents[k] / 100.0
    name = plain(candidates.repair_ids[k], 40)
    return f"{name}: worth {told.amount(float(candidates.worth[k]))} for ${cost:,.2f}"
