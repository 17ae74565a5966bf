"""Words for people: the reason, the arithmetic, and what moved between two runs."""

from dataclasses import replace

import numpy as np
import pytest
from bank_tables import Reach, Side, context, quick, ranked
from shapely.affinity import translate
from shapely.geometry import LineString

from reachrank.commands.explain import _score_lines
from reachrank.errors import InputError, UsageError
from reachrank.priority import BankFacts, compare, explain_table, reason
from reachrank.priority.rule import CLASSES, priority_class
from reachrank.settings import PrioritySettings

ROWS = [
    Reach(left=Side(height_m=1.0, angle_deg=30)),
    Reach(right=Side(height_m=2.1, angle_deg=60, exposure=60.0, distance_m=9.0), radius_m=8.0),
    Reach(left=Side(height_m=3.0, angle_deg=15, exposure=10.0)),
]


@pytest.mark.parametrize(
    ("facts", "text"),
    [
        (
            BankFacts(bank="left", height_m=1.0, angle_deg=15.0),
            "Left bank, 1.0 m high and gently sloping; no structure near.",
        ),
        (
            BankFacts(bank="left", height_m=1.6, angle_deg=40.0, is_angle_lower_bound=True,
                      width_radius_ratio=0.15, cover_frac=0.05, are_structures_known=False),
            "Outside of a gentle bend on the left bank, 1.6 m high and 40° steep or more, hardly"
            " any trees or shrubs behind it; structures nearby not looked at.",
        ),
        (
            BankFacts(bank="right", cutting_down_score=0.8, structure="barn",
                      structure_distance_m=0.2, missing=("soil",)),
            "Right bank, high banks on both sides; barn at the edge; not known here: soil.",
        ),
        (
            BankFacts(bank="left", height_m=1.1, height_p90_m=2.9, angle_deg=50.0),
            "Left bank, 1.1 m high (in places 2.9 m) and steep; no structure near.",
        ),
        (  # a quarter more than 2 m, but for a hair; and a quarter more than 0.8 m is too little
            BankFacts(bank="left", height_m=2.0, height_p90_m=2.49),
            "Left bank, 2.0 m high; no structure near.",
        ),
        (
            BankFacts(bank="left", height_m=0.8, height_p90_m=1.0),
            "Left bank, 0.8 m high; no structure near.",
        ),
        (
            BankFacts(bank="right", is_ranked=False),
            "No usable section shows the top of the right bank: not ranked.",
        ),
    ],
)  # fmt: skip
def test_reason(facts, text):
    assert reason(facts) == text


def test_reason_in_feet():
    # 2.1 m = 6.89 ft, 9 m = 29.5 ft (0.3048 m)
    facts = BankFacts(bank="left", height_m=2.1, structure="barn", structure_distance_m=9.0)
    assert reason(facts, "us") == "Left bank, 6.9 ft high; barn 30 ft from the edge."
    uneven = replace(facts, height_p90_m=3.0)  # 9.84 ft
    assert "6.9 ft high (in places 9.8 ft); barn" in reason(uneven, "us")


def test_class_words_are_not_those_of_a_published_index():
    published = {"very low", "low", "moderate", "high", "very high", "extreme"}
    assert not published & set(CLASSES)
    words = priority_class([0.0, 19.999, 20.0, 34.9, 35.0, 50.0, 100.0, np.nan], PrioritySettings())
    assert words.tolist() == [
        "quiet", "quiet", "keep an eye on", "keep an eye on", "soon", "first", "first", None,
    ]  # fmt: skip


@pytest.mark.parametrize("rule", ["product", "weighted_mean"])
def test_explanation_adds_up_and_its_moves_are_true(rule):
    settings = quick(priority={"rule": rule})
    result = ranked(ROWS, context(settings))
    table = explain_table(result, "mill-001", settings)
    steps = table.set_index("step")
    factors = table[table["weight"].notna()]
    assert factors["contribution"].sum() == pytest.approx(steps.loc["hazard", "score"])
    assert (factors["score"] * factors["weight"] * 100).to_numpy() == pytest.approx(
        factors["contribution"].to_numpy()
    )
    total = steps.loc["priority", "score"]
    assert f"{total:.1f}" in steps.loc["priority", "source"]
    # Do what the angle's line says would lower the class, and the class is lowered.
    word = result["reaches"]["priority_class"].iloc[1]
    move = next(m for m in table.set_index("step").loc["bend", "moves"].split("; ") if "below" in m)
    ratio, lower = float(move.split()[1]), move.rsplit("'", 2)[1]
    assert CLASSES.index(lower) == CLASSES.index(word) - 1
    for nudge, expected in ((1.03, word), (0.97, lower)):  # printed with 3 digits
        rows = [ROWS[0], Reach(right=ROWS[1].right, radius_m=4.0 / (ratio * nudge)), ROWS[2]]
        assert ranked(rows, context(settings))["reaches"]["priority_class"].iloc[1] == expected


def test_explanation_by_bank_and_for_nothing_there():
    result = ranked(ROWS)
    assert set(explain_table(result, "mill-002-R")["bank_id"]) == {"mill-002-R"}
    with pytest.raises(UsageError, match="no reach or bank"):
        explain_table(result, "mill-999")
    banks = result["banks"]
    result["banks"] = banks.iloc[:0]
    with pytest.raises(InputError, match="no bank of the reach"):
        explain_table(result, "mill-002")
    result["banks"] = banks.assign(priority_score=np.nan)
    with pytest.raises(InputError, match="has a hazard of mill-002-R and no priority"):
        explain_table(result, "mill-002-R")


def test_a_bank_without_a_score_is_not_scored_nan():
    result = ranked(ROWS)
    result["banks"] = result["banks"].assign(hazard_score=np.nan, priority_score=np.nan)
    lines = list(_score_lines(explain_table(result, "mill-002-R"), us=False))
    assert "  hazard: not scored" in lines
    assert "  priority: not scored" in lines
    assert not any("nan" in line for line in lines)


def test_compare_says_what_moved():
    higher = [Reach(left=Side(height_m=2.5, angle_deg=30)), *ROWS[1:]]
    moved = compare(ranked(ROWS), ranked(higher)).set_index("bank_id_a")
    row = moved.loc["mill-000-L"]
    assert row["why"].startswith("bank_height_absolute 1 → 2.5 m (+")
    assert row["rank_change"] > 0
    assert (moved["overlap_frac"] == 1.0).all()
    assert moved.loc["mill-001-R", "why"] == "nothing moved"


def test_compare_goes_by_place_and_not_by_name():
    a, b = ranked(ROWS), ranked(ROWS)
    names = {f"mill-{k:03d}": f"brook-{9 - k:03d}" for k in range(3)}
    for layer in ("banks", "factors"):
        b[layer] = b[layer].assign(bank_id=b[layer]["bank_id"].replace(names, regex=True))
    # the second run's line lies 2 m off and begins 30 m further along: 70 of 100 m are shared
    b["banks"] = b["banks"].set_geometry([translate(g, 2.0, 30.0) for g in b["banks"].geometry])
    table = compare(a, b)
    both = table[table["bank_id_a"].notna() & table["bank_id_b"].notna()]
    assert len(both) == 6
    assert (
        dict(zip(both["bank_id_a"], both["bank_id_b"], strict=True))["mill-001-R"] == "brook-008-R"
    )
    assert both["overlap_frac"].to_numpy() == pytest.approx(0.7)
    # 60 m on, 40 of 100 m: most of it lies in the next reach up, and the last has none
    b["banks"] = b["banks"].set_geometry([translate(g, 0.0, 30.0) for g in b["banks"].geometry])
    names = dict(compare(a, b).dropna(subset=["bank_id_a", "bank_id_b"])[["bank_id_a", "bank_id_b"]]
                 .itertuples(index=False))  # fmt: skip
    assert names["mill-001-R"] == "brook-009-R"


def test_compare_keeps_sides_and_directions_apart():
    a, b = ranked(ROWS), ranked(ROWS)
    for result, side in ((a, "left"), (b, "right")):  # 4 m apart, within the distance
        result["banks"] = result["banks"][result["banks"]["bank"] == side]
    assert set(compare(a, b)["why"]) == {"only in a", "only in b"}
    a, b = ranked(ROWS), ranked(ROWS)
    turned = [LineString(list(g.coords)[::-1]) for g in b["banks"].geometry]
    b["banks"] = b["banks"].set_geometry(turned)
    assert set(compare(a, b)["why"]) == {"only in a", "only in b"}


def test_compare_refuses_two_coordinate_systems():
    a, b = ranked(ROWS), ranked(ROWS)
    b["banks"] = b["banks"].to_crs(26918)
    with pytest.raises(UsageError, match="coordinate systems"):
        compare(a, b)


def test_compare_says_which_column_is_gone():
    a, b = ranked(ROWS), ranked(ROWS)
    b["factors"] = b["factors"].drop(columns="contribution")
    with pytest.raises(InputError, match="second file has no column contribution"):
        compare(a, b)


def test_explain_shows_no_sum_that_is_not_there():
    tables = ranked(ROWS)
    bank = str(tables["banks"]["bank_id"].iloc[0])
    explain_table(tables, bank)
    tables["factors"] = tables["factors"].assign(contribution=np.nan)
    with pytest.raises(InputError, match="does not say the score, weight"):
        explain_table(tables, bank)
