"""What must hold whatever the numbers: directions, missing values, order of rows."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from bank_tables import Reach, Side, context, quick, ranked, tables
from hypothesis import given, settings
from hypothesis import strategies as st

from reachrank.findings import Findings
from reachrank.hazard import run as hazard_stage
from reachrank.hazard.engine import assess
from reachrank.hazard.registry import load_factors
from reachrank.priority.rule import RULES, competition_rank, listing_order, priority
from reachrank.settings import HazardSettings, PrioritySettings
from reachrank.testing import example_frame

FACTORS = load_factors()
QUICK = settings(max_examples=25, deadline=None)


def _hazard(frame):
    return assess(FACTORS, frame, Findings()).hazard_score


def _changed(frame, name, place, value):
    array = getattr(frame, name).copy()
    array[place] = value
    more = {name: array}
    if name == "bank_height_m":
        more["both_banks_height_m"] = np.repeat(array.min(axis=1, keepdims=True), 2, axis=1)
    return dataclasses.replace(frame, **more)


PLACES = st.tuples(st.integers(0, 39), st.integers(0, 1))
SEEDS = st.integers(0, 1000)
# name, unit of change, +1 where more of it is worse
DIRECTIONS = [
    ("bank_height_m", 6.0, 1),
    ("bank_angle_deg", 90.0, 1),
    ("width_radius_ratio", 1.0, 1),
    ("cover_frac", 1.0, -1),
    ("soil_index", 1.0, 1),
    ("unit_stream_power_w_per_m2", 400.0, 1),
]


@pytest.mark.parametrize(("name", "span", "sign"), DIRECTIONS, ids=[d[0] for d in DIRECTIONS])
@QUICK
@given(seed=SEEDS, place=PLACES, a=st.floats(0, 1), b=st.floats(0, 1))
def test_worse_never_scores_less(name, span, sign, seed, place, a, b):
    frame = example_frame(seed=seed)
    low, high = (_hazard(_changed(frame, name, place, span * x))[place] for x in sorted((a, b)))
    assert sign * (high - low) >= -1e-9


@QUICK
@given(seed=SEEDS, place=PLACES, angle=st.floats(0, 90))
def test_lower_bound_never_scores_less_than_height_alone(seed, place, angle):
    frame = example_frame(seed=seed)
    bound = frame.is_angle_lower_bound.copy()
    bound[place] = True
    frame = _changed(
        dataclasses.replace(frame, is_angle_lower_bound=bound), "bank_angle_deg", place, angle
    )
    parts = {p.factor.name: p for p in assess(FACTORS, frame, Findings()).parts}
    heights = [parts["bank_height"], parts["bank_height_absolute"]]
    alone = sum(p.weight * p.score()[place] for p in heights) / sum(p.weight for p in heights)
    assert parts["bank_angle"].score()[place] >= alone - 1e-12
    measured = np.interp(angle, *zip(*parts["bank_angle"].knots, strict=True))
    assert parts["bank_angle"].score()[place] >= measured - 1e-12


LOSABLE = ["bank_angle_deg", "cover_frac", "soil_index", "unit_stream_power_w_per_m2"]


@pytest.mark.parametrize("name", LOSABLE)
@QUICK
@given(seed=SEEDS, place=PLACES)
def test_losing_a_value_never_raises_the_rank_under_the_rule_least(name, seed, place):
    frame = example_frame(seed=seed, settings=HazardSettings(missing_rule="least"))
    before = _hazard(frame)
    after = _hazard(_changed(frame, name, place, np.nan))
    assert after[place] <= before[place] + 1e-9
    rank = [
        competition_rank(h.ravel())[np.ravel_multi_index(place, h.shape)] for h in (before, after)
    ]
    assert rank[1] >= rank[0]


@pytest.mark.parametrize("name", LOSABLE)
@QUICK
@given(seed=SEEDS, place=PLACES)
def test_losing_a_value_brings_no_more_than_the_typical_one(name, seed, place):
    # Under the rule 'median' a bank that loses its value scores as with the median of the others.
    frame = example_frame(seed=seed)
    lost = _changed(frame, name, place, np.nan)
    others = np.delete(getattr(frame, name).ravel(), np.ravel_multi_index(place, frame.shape))
    typical = _hazard(_changed(frame, name, place, np.median(others)))
    assert _hazard(lost)[place] == pytest.approx(typical[place], abs=1e-9)
    measured = [assess(FACTORS, f, Findings()).measured_frac[place] for f in (frame, lost)]
    assert measured[1] < measured[0]


OPTIONAL = ["greatest_depth_m", "bank_angle_deg", "cover_frac", "soil_index",
            "unit_stream_power_w_per_m2"]  # fmt: skip


@pytest.mark.parametrize("name", OPTIONAL)
def test_absent_layer_lowers_confidence_and_keeps_the_scale(name):
    frame = example_frame(seed=3)
    whole = assess(FACTORS, frame, Findings())
    without = assess(
        FACTORS, dataclasses.replace(frame, **{name: np.full(frame.shape, np.nan)}), Findings()
    )
    assert without.absent
    assert sum(p.weight for p in without.parts) == pytest.approx(1.0)
    assert without.measured_frac.max() < whole.measured_frac.max()
    # weights keep their proportions
    ratio = {p.factor.name: p.weight for p in whole.parts}
    shares = [p.weight / ratio[p.factor.name] for p in without.parts]
    assert shares == pytest.approx([shares[0]] * len(shares))
    # all bad is 100 and all good is 0, with or without the layer
    for score, high in ((0.0, False), (100.0, True)):
        ends = {n: np.full(frame.shape, v[high]) for n, v in
                {"bank_height_m": (0.1, 10.0), "both_banks_height_m": (0.1, 10.0),
                 "greatest_depth_m": (1.0, 1.0), "bank_angle_deg": (5.0, 90.0),
                 "width_radius_ratio": (0.0, 1.0), "cover_frac": (1.0, 0.0),
                 "soil_index": (0.0, 1.0), "unit_stream_power_w_per_m2": (1.0, 500.0)
                 }.items()}  # fmt: skip
        ends[name] = np.full(frame.shape, np.nan)
        ends["is_angle_lower_bound"] = np.zeros(frame.shape, bool)
        if name == "greatest_depth_m":  # then both banks are held against the run, alike here
            ends["settings"] = HazardSettings(cutting_down_weight=0.0)
        scored = assess(FACTORS, dataclasses.replace(frame, **ends), Findings()).hazard_score
        assert np.allclose(scored, score)


heights = st.one_of(st.none(), st.floats(0.2, 5.0))
sides = st.builds(
    Side, height_m=heights, angle_deg=st.one_of(st.none(), st.floats(5, 85)),
    is_lower_bound=st.booleans(), exposure=st.one_of(st.none(), st.floats(0, 100)),
)  # fmt: skip
reaches = st.builds(
    Reach, left=sides, right=sides, radius_m=st.one_of(st.none(), st.floats(4, 60)),
    outside=st.sampled_from(["left", "right"]), area_km2=st.one_of(st.none(), st.floats(1, 100)),
)  # fmt: skip


@settings(max_examples=10, deadline=None)
@given(rows=st.lists(reaches, min_size=1, max_size=5), seed=SEEDS)
def test_row_order_changes_nothing(rows, seed):
    from reachrank.priority import run as priority_stage

    rng = np.random.default_rng(seed)
    drawn = quick(priority={"draws": 30, "top_n": 2})
    made = tables(rows)
    mixed = {name: t.iloc[rng.permutation(len(t))] for name, t in made.items()}
    results = []
    for given_tables in (made, mixed):
        ctx = context(drawn, curve="bieger-usa")
        results.append(priority_stage(hazard_stage(given_tables, ctx), ctx))
    for layer, key in (("banks", "bank_id"), ("reaches", "reach_id")):
        a, b = (pd.DataFrame(r[layer]).set_index(key).sort_index() for r in results)
        columns = ["hazard_score", "priority_score", "rank", "rank_low", "rank_high", "top_share",
                   "confidence_frac", "reason"]  # fmt: skip
        pd.testing.assert_frame_equal(a[columns], b[columns])
    pd.testing.assert_frame_equal(*(r["factors"] for r in results))


@pytest.mark.parametrize("rule", RULES)
@QUICK
@given(h=st.floats(0, 100), h2=st.floats(0, 100), e=st.floats(0, 100), e2=st.floats(0, 100))
def test_more_hazard_or_exposure_never_lowers_priority(rule, h, h2, e, e2):
    own = PrioritySettings(rule=rule)
    low, high = priority([min(h, h2), max(h, h2)], [min(e, e2), max(e, e2)], own)
    assert 0.0 <= low <= high + 1e-9 <= 100.0 + 1e-6


@QUICK
@given(scores=st.lists(st.one_of(st.just(np.nan), st.integers(0, 6).map(float)), max_size=12))
def test_ranks_are_competition_ranks(scores):
    ranks = competition_rank(scores)
    known = [s for s in scores if not np.isnan(s)]
    for score, rank in zip(scores, ranks, strict=True):
        assert pd.isna(rank) if np.isnan(score) else rank == 1 + sum(k > score for k in known)


def test_ties_are_listed_by_hazard_then_exposure_then_length_then_id():
    table = pd.DataFrame(
        {
            "reach_id": ["d", "c", "b", "a", "e"],
            "rank": pd.array([1, 1, 1, 1, pd.NA], dtype="Int64"),
            "hazard_score": [50.0, 60.0, 60.0, 60.0, np.nan],
            "exposure_score": [9.0, 1.0, 1.0, 1.0, 9.0],
            "length_m": [1.0, 5.0, 7.0, 5.0, 1.0],
        }
    )
    assert table["reach_id"].iloc[listing_order(table, "reach_id")].tolist() == list("bacde")
    again = table.iloc[::-1]
    assert again["reach_id"].iloc[listing_order(again, "reach_id")].tolist() == list("bacde")


@settings(max_examples=10, deadline=None)
@given(rows=st.lists(reaches, min_size=1, max_size=4))
def test_input_tables_are_left_alone(rows):
    made = tables(rows)
    before = {name: table.copy() for name, table in made.items()}
    ctx = context(curve="bieger-usa")
    hazard_stage(made, ctx)
    for name, table in before.items():
        pd.testing.assert_frame_equal(pd.DataFrame(table), pd.DataFrame(made[name]))


def test_nothing_to_rank():
    empty = {name: table.iloc[:0] for name, table in tables([Reach()]).items()}
    from reachrank.priority import run as priority_stage

    ctx = context(quick(priority={"draws": 10}))
    result = priority_stage(hazard_stage(empty, ctx), ctx)
    assert len(result["banks"]) == len(result["factors"]) == 0
    nothing = Side(height_m=None, angle_deg=None)
    result = ranked([Reach(left=nothing, right=nothing)], context(quick(priority={"draws": 10})))
    assert result["reaches"]["rank"].isna().all()
    assert "not ranked" in result["reaches"]["reason"].iloc[0]
