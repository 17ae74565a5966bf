"""Settings: printed, read back, checked, all faults at once."""

import dataclasses
import tomllib
from collections.abc import Mapping

import pytest

from reachrank.errors import SettingsError
from reachrank.settings import Settings
from reachrank.settings import load as load_module
from reachrank.settings._field import setting
from reachrank.settings.as_toml import settings_toml
from reachrank.settings.load import (
    load_settings,
    parse_override,
    settings_from_json,
    settings_json,
)


def groups():
    return [(f.name, getattr(Settings(), f.name)) for f in dataclasses.fields(Settings)]


def test_no_file_means_the_defaults():
    assert load_settings() == Settings()


def test_printed_settings_are_read_back(tmp_path):
    path = tmp_path / "all.toml"
    path.write_text(settings_toml(), encoding="utf-8")
    assert load_settings(path) == Settings()


def test_changed_settings_are_read_back(tmp_path):
    changed = load_settings(
        None,
        {"inputs.cover_classes": [41, 52], "inputs.least_line_m": 0.25,
         "inputs.stream_name_attribute": 'with "quotes", ünïcode\tand a tab'},
    )  # fmt: skip
    assert changed != Settings()
    path = tmp_path / "all.toml"
    path.write_text(settings_toml(changed), encoding="utf-8")
    assert load_settings(path) == changed
    assert settings_from_json(settings_json(changed)) == changed


def test_every_setting_is_printed_with_its_text_and_source():
    text = " ".join(settings_toml().replace("\n#", " ").split())
    for _, group in groups():
        for field in dataclasses.fields(group):
            assert field.metadata["text"], field.name
            assert field.metadata["source"], field.name
            assert " ".join(field.metadata["text"].split()) in text
            assert f"{field.name} =" in text


def test_defaults_are_within_their_own_limits():
    data = tomllib.loads(settings_toml())
    assert set(data) == {name for name, _ in groups()}
    load_settings(None, data)


def test_all_faults_at_once_each_with_its_path(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(
        "[inputs]\n"
        "least_lin_m = 1.0\n"  # misspelt
        "least_line_m = -1.0\n"  # below its limit
        'cover_meaning = "hight"\n'  # no such choice
        'cover_height_least_m = "2"\n'  # text for a number
        'cover_classes = [41, "wood"]\n'
        "area_attribute = 3\n"
        "[inptus]\n"
        "[sections]\n"
        "least_line_m = 1.0\n"  # in the wrong group
    )
    with pytest.raises(SettingsError) as caught:
        load_settings(path)
    text = caught.value.message
    assert text.startswith("8 settings are wrong")
    for part in (
        "inputs.least_lin_m: there is no such setting. Did you mean least_line_m?",
        "inputs.least_line_m: -1.0 is out of its limits, 0 to 100 m.",
        "inputs.cover_meaning: 'hight' is not one of height_m, classes.",
        "inputs.cover_height_least_m: '2'",
        "inputs.cover_classes.1: 'wood'",
        "inputs.area_attribute: 3",
        "inptus: there is no such setting. Did you mean inputs?",
        "Did you mean inputs.least_line_m?",
    ):
        assert part in text, part
    assert caught.value.where == str(path)
    assert caught.value.exit_code == 4


@pytest.mark.parametrize("value", [float("nan"), True, "0.5", [0.5], 200])
def test_a_number_is_a_number_within_limits(value):
    with pytest.raises(SettingsError, match=r"inputs\.least_line_m"):
        load_settings(None, {"inputs.least_line_m": value})


def test_a_whole_number_serves_for_a_number():
    made = load_settings(None, {"inputs.least_line_m": 2}).inputs.least_line_m
    assert made == 2.0
    assert isinstance(made, float)


def test_overrides_win_over_the_file_and_leave_the_rest(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("[inputs]\nleast_line_m = 0.5\ncover_height_least_m = 3.0\n")
    made = load_settings(path, {"inputs": {"least_line_m": 0.75}})
    assert made.inputs.least_line_m == 0.75
    assert made.inputs.cover_height_least_m == 3.0


def test_not_toml_and_not_there(tmp_path):
    (tmp_path / "a.toml").write_text("[inputs\n")
    with pytest.raises(SettingsError, match="not TOML"):
        load_settings(tmp_path / "a.toml")
    with pytest.raises(SettingsError, match="cannot be read"):
        load_settings(tmp_path / "none.toml")
    with pytest.raises(SettingsError, match="not JSON"):
        settings_from_json("{")


def test_typed_on_a_command_line():
    assert parse_override("inputs.cover_classes=[41, 52]") == ("inputs.cover_classes", [41, 52])
    assert parse_override("inputs.area_attribute = DA") == ("inputs.area_attribute", "DA")
    with pytest.raises(SettingsError):
        parse_override("nonsense")


# ---- kinds of setting that a stage may declare -------------------------------------------------


@dataclasses.dataclass(frozen=True, kw_only=True)
class Knot:
    """One point of a curve."""

    at: float = setting(0.0, "Where.")
    score: float = setting(0.5, "How much.", least=0.0, greatest=1.0)


Pairs = tuple[tuple[float, float], ...]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Group:
    """A group with every kind of setting."""

    flag: bool = setting(True, "A flag.")
    word: str | None = setting(None, "A word or nothing.")
    limit: float | None = setting(3.0, "A number or nothing.")
    pairs: tuple[tuple[float, float], ...] = setting(((0.0, 0.0), (1.0, 1.0)), "Pairs.")
    weights: Mapping[str, float] = setting({"a": 0.5, "b c": 1.0}, "Weights.", least=0.0)
    table: dict[str, Pairs] = setting({"a": ((1.0, 2.0),)}, "Curves.")  # noqa: RUF009
    knot: Knot = dataclasses.field(
        default_factory=Knot, metadata=Knot.__dataclass_fields__["at"].metadata
    )
    knots: tuple[Knot, ...] = setting((Knot(), Knot(at=2.0)), "Several.")


@dataclasses.dataclass(frozen=True, kw_only=True)
class All:
    """Stands in for all settings."""

    group: Group = dataclasses.field(default_factory=Group)


@pytest.fixture
def other_settings(monkeypatch):
    monkeypatch.setattr(load_module, "Settings", All)
    return All


@pytest.mark.parametrize(
    "group",
    [
        Group(),
        Group(flag=False, word="x", limit=None, pairs=(), weights={}, table={"q": ()}),
        Group(knot=Knot(at=5.0, score=1.0), knots=(Knot(at=9.0),), weights={'q"': 1e-9, "z": 1e30}),
        Group(pairs=tuple((float(i), i / 3.0) for i in range(40))),
    ],
)
def test_every_kind_is_read_back(other_settings, tmp_path, group):
    text = settings_toml(All(group=group))
    path = tmp_path / "a.toml"
    path.write_text(text, encoding="utf-8")
    assert load_settings(path) == All(group=group)
    assert settings_from_json(settings_json(All(group=group))) == All(group=group)


def test_faults_inside_nested_settings(other_settings):
    with pytest.raises(SettingsError) as caught:
        load_settings(
            None,
            {"group": {"knot": {"att": 1.0}, "knots": [{"score": 2.0}], "weights": {"a": -1.0},
                       "pairs": [[1.0]], "flag": 1}},
        )  # fmt: skip
    text = caught.value.message
    for part in ("group.knot.att: there is no such setting. Did you mean at?",
                 "group.knots[0].score: 2.0 is out of its limits", "group.weights.a: -1.0",
                 "group.pairs.0", "group.flag"):  # fmt: skip
        assert part in text, text
