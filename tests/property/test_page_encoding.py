"""What goes into the page comes out again: lines, numbers, sentences, units."""

from __future__ import annotations

import json
import re

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from reachrank.page.encode import DEGREE_STEPS, as_json, decode_lines, encode_lines, steps, whole
from reachrank.page.sentences import Clauses, metric_text
from reachrank.write.us_text import us_text

FOOT_M = 0.3048  # NIST Special Publication 811 (2008), appendix B
degrees = st.tuples(st.floats(-180, 180), st.floats(-85, 85))
lines = st.lists(
    st.lists(degrees, min_size=2, max_size=6).map(shapely.LineString), min_size=1, max_size=5
)


@given(lines)
def test_lines_come_back_within_half_a_step(given_lines):
    coded = json.loads(as_json(encode_lines(np.array(given_lines, dtype=object))))
    for line, back in zip(given_lines, decode_lines(coded), strict=True):
        np.testing.assert_allclose(
            back, shapely.get_coordinates(line), atol=0.5 / DEGREE_STEPS + 1e-9
        )


@given(st.lists(st.none() | st.integers(-(10**6), 10**6)))
def test_steps_add_up_again(values):
    back, last = [], 0
    for step in steps(values):
        last += step or 0
        back.append(None if step is None else last)
    assert back == values


@given(st.lists(st.floats(allow_nan=True, allow_infinity=False, width=32), max_size=8))
def test_whole_numbers_are_rounded_and_gaps_are_kept(values):
    for value, number in zip(values, whole(np.array(values, float), 10), strict=True):
        if np.isnan(value):
            assert number is None
        else:
            assert abs(number - 10 * value) <= 0.5 + abs(value) * 1e-6


@given(st.text())
def test_nothing_in_json_can_end_the_script_element(text):
    coded = as_json({"name": text})
    assert "<" not in coded
    assert json.loads(coded) == {"name": text}


sentences = st.lists(
    st.sampled_from([
        "Outside of a tight bend on the left bank", "8.6 m high and steep", "no structure near",
        "barn 1,240 m from the edge", "drains 12.5 km² of land", "a, comma", "x;y", "",
    ]), min_size=1, max_size=6,
).map(", ".join)  # fmt: skip


@given(st.lists(sentences, max_size=5))
def test_sentences_are_put_together_again_in_both_units(texts):
    clauses = Clauses(is_us=False)
    for text in texts:
        parts = [clauses.table[k] for k in clauses.numbers(text)]
        metric = "".join(part if isinstance(part, str) else part[0] for part in parts)
        us = "".join(part if isinstance(part, str) else part[1] for part in parts)
        assert metric == text
        assert us == us_text(text)


@given(st.floats(0.1, 5000.0), st.integers(0, 2))
def test_feet_become_metres_again_within_what_was_rounded(metres, decimals):
    said = f"{metres:.{decimals}f}"
    back = metric_text(us_text(f"A bank {said} m high."))
    number = float(re.search(r"bank ([\d.,]+) m high", back).group(1).replace(",", ""))
    # rounded once in feet and once more in metres
    assert abs(number - float(said)) <= (0.5 * FOOT_M + 0.5) * 10.0**-decimals + 1e-9


def test_a_sentence_that_is_not_there_has_no_clauses():
    clauses = Clauses(is_us=False)
    assert clauses.numbers(None) == clauses.numbers(float("nan")) == []
