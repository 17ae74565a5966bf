"""Whatever is typed or stands in data: an answer or one of our errors, never another exception."""

from __future__ import annotations

import unicodedata

import hypothesis.strategies as st
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, example, given, settings

from reachrank.errors import ReachrankError, SettingsError
from reachrank.read.ascii_grid import check_whole
from reachrank.read.mend import mended
from reachrank.read.source import parse_source
from reachrank.read.trust import check_path, is_address
from reachrank.report.plain import plain
from reachrank.requests.coordinates import readings
from reachrank.settings.load import load_settings, parse_override

anything = st.text(max_size=60) | st.sampled_from(
    [
        "|",
        "a|layername=",
        ":",
        "C:",
        "C:\\a:b",
        "|layername=x",
        "/",
        "~",
        "\0",
        "a\0b",
        "\ud800",
        "//",
    ]
)
FEW = settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))


def ends_well(call, *given):
    try:
        return call(*given)
    except ReachrankError as error:
        return None if str(error).strip() else pytest.fail("an error without a word")


@FEW
@given(anything)
def test_sources(text):
    source = ends_well(parse_source, text)
    if source is not None:
        ends_well(check_path, source.path)
        is_address(source.path)


@FEW
@given(anything)
@example("inputs.least_line_m=nan")
@example("inputs.least_line_m=inf")
@example("a.b.c=[[[[[[]]]]]]")
@example("inputs=1")
@example("=")
@example("inputs.least_line_m=" + "9" * 5000)
@example("inputs.least_line_m=1979-99-99")
def test_single_settings(text):
    pair = ends_well(parse_override, text)
    if pair is not None:
        ends_well(load_settings, None, dict([pair]))


@FEW
@given(st.binary(max_size=200))
@example(b"[inputs]\nleast_line_m = nan\n")
@example(b"a" * 100 + b"[" * 100)
@example(b"x = " + b"[" * 90)
def test_settings_files(tmp_path, data):
    path = tmp_path / "settings.toml"
    path.write_bytes(data)
    ends_well(load_settings, path)


def test_a_settings_file_of_ten_thousand_brackets(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text("x = " + "[" * 10_000)
    with pytest.raises(SettingsError):
        load_settings(path)


@FEW
@given(st.text(max_size=80))
def test_shown_text_is_one_line_without_control_signs(text):
    shown = plain(text)
    assert len(shown.splitlines()) <= 1
    assert not any(unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") for letter in shown)
    shown.encode("utf-8")


@FEW
@given(anything)
@example("nan, nan")
@example("1e400 2")
@example("999999999999999999999N 1E")
def test_places_of_callers(text):
    ends_well(readings, text)


numbers = st.floats(-1e6, 1e6, width=32) | st.sampled_from([0.0, 1.0, np.nan, np.inf, -np.inf])


@FEW
@given(st.lists(st.tuples(numbers, numbers), min_size=4, max_size=140))
def test_mended_shapes_are_valid_or_none(points):
    if not np.isfinite(points[0]).all():
        return  # shapely makes no ring of it
    with np.errstate(all="ignore"):
        shape = shapely.Polygon(points)
        if shapely.is_valid(shape):
            return
        whole = mended(shape)
    if whole is not None:
        assert shapely.is_valid(whole)
        assert whole.is_empty or np.isfinite(points).all()


@FEW
@given(st.binary(max_size=120))
def test_grids_in_letters(tmp_path, data):
    path = tmp_path / "a.asc"
    path.write_bytes(data)
    ends_well(check_whole, str(path), 12)
    path.write_bytes(b"ncols 4\nnrows 3\n" + b"1.5 2 3 4\n" * 3)
    check_whole(str(path), 12)
