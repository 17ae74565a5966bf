"""Repairs and banks: lengths are conserved, the map's mirror swaps sides, order decides nothing."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stream_tables import arc, context, joined, straight, stream

from reachrank import reaches, repairs
from reachrank.repairs.runs import failing_runs
from reachrank.settings import RepairsSettings

RADIUS = 70.0
BROOK = stream(straight(130.0, (900.0, 0.0)), stream_id="S0002")
BASE = reaches.run(joined(stream(arc(RADIUS, 220.0)), BROOK), context())
COUNT = len(BASE["sections"])
scores = st.lists(
    st.one_of(st.floats(0.0, 100.0), st.just(float("nan"))), min_size=COUNT, max_size=COUNT
)


def with_hazard(left, right):
    sections = BASE["sections"].assign(left_hazard_score=left, right_hazard_score=right)
    ranks = BASE["reaches"].assign(rank=range(1, len(BASE["reaches"]) + 1))
    return {**BASE, "sections": sections, "reaches": ranks}


@given(left=scores, right=scores, least=st.floats(0.0, 30.0), gap=st.floats(0.0, 3.0))
@settings(max_examples=40, deadline=None)
def test_lengths_add_up_to_the_last_millimetre(left, right, least, gap):
    rule = RepairsSettings(least_length_m=least, gap_widths=gap)
    out = repairs.run(with_hazard(left, right), context(repairs=rule))
    table, banks = out["repairs"], out["banks"]
    assert banks["repair_length_m"].sum() == pytest.approx(table["length_m"].sum(), abs=1e-6)
    assert out["reaches"]["repair_length_m"].sum() == pytest.approx(
        table["length_m"].sum(), abs=1e-6
    )
    assert (banks["repair_length_m"] <= banks["length_m"] + 1e-6).all()
    assert (table["length_m"] >= least).all()
    assert table["repair_id"].is_unique
    assert table.geometry.length.to_numpy() == pytest.approx(table["length_m"].to_numpy(), abs=1e-6)
    for ids, rank in zip(table["reach_ids"], table["rank"], strict=True):
        names = ids.split(",")
        assert names == sorted(names, reverse=True)  # upstream first
        own = out["reaches"].set_index("reach_id").loc[names, "rank"]
        assert rank == own.min()


@given(left=scores, right=scores)
@settings(max_examples=15, deadline=None)
def test_order_of_all_rows_decides_nothing(left, right):
    tables = with_hazard(left, right)
    shuffled = tables | {
        name: table.sample(frac=1.0, random_state=5)
        for name, table in tables.items()
        if name in ("sections", "reaches", "banks")
    }
    first, second = repairs.run(tables, context()), repairs.run(shuffled, context())
    for layer in ("repairs", "tie_ins"):
        pd.testing.assert_frame_equal(pd.DataFrame(first[layer]), pd.DataFrame(second[layer]))
    a = first["banks"].set_index("bank_id")["repair_length_m"].sort_index()
    b = second["banks"].set_index("bank_id")["repair_length_m"].sort_index()
    pd.testing.assert_series_equal(a, b)


steps = st.lists(st.floats(0.0, 100.0), min_size=1, max_size=60)


@given(hazard=steps, rise=st.floats(0.0, 30.0), gap=st.floats(0.0, 20.0))
@settings(max_examples=150, deadline=None)
def test_more_hazard_everywhere_never_shortens_the_repairs(hazard, rise, gap):
    rule = {"start_score": 60.0, "keep_score": 45.0, "gap_m": gap, "least_m": 8.0}
    edges = np.arange(len(hazard) + 1) * 5.0
    score = np.array(hazard)
    less = failing_runs(score, edges[:-1], edges[1:], **rule)
    more = failing_runs(score + rise, edges[:-1], edges[1:], **rule)
    assert all(any(c <= a and b <= d for c, d in more) for a, b in less)
    # Every run holds a start, and its two outermost cells go on.
    for a, b in less:
        inside = score[int(a / 5.0) : int(b / 5.0)]
        assert inside.max() >= 60.0
        assert min(inside[0], inside[-1]) >= 45.0


def test_in_the_mirror_left_and_right_change_places():
    rng = np.random.default_rng(31)
    shape = {"left_top": 6.0, "right_top": 9.0, "left_height": 1.2, "right_height": 2.2}
    mirrored = {"left_top": 9.0, "right_top": 6.0, "left_height": 2.2, "right_height": 1.2}
    one = reaches.run(stream(arc(60.0, 200.0, turns="left"), **shape), context())
    two = reaches.run(stream(arc(60.0, 200.0, turns="right"), **mirrored), context())
    left, right = rng.uniform(0.0, 100.0, (2, len(one["sections"])))
    one["sections"] = one["sections"].assign(left_hazard_score=left, right_hazard_score=right)
    two["sections"] = two["sections"].assign(left_hazard_score=right, right_hazard_score=left)
    one, two = repairs.run(one, context()), repairs.run(two, context())
    swap = {"left": "right", "right": "left"}
    for layer, columns in (
        ("banks", ["length_m", "bank_height_m", "repair_length_m"]),
        ("repairs", ["length_m", "bank_height_m"]),
    ):
        a = one[layer].assign(bank=one[layer]["bank"].map(swap))
        key = ["bank", "length_m"]
        a, b = (t.sort_values(key).reset_index(drop=True) for t in (a, two[layer]))
        assert a["bank"].tolist() == b["bank"].tolist()
        for name in columns:
            assert a[name].to_numpy() == pytest.approx(b[name].to_numpy(), rel=1e-9), name
    assert len(one["repairs"]) > 2
