"""Every factor keeps its contract; strangers come in by the same door and cannot break a run."""

import dataclasses
import tomllib
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest
from bank_tables import Reach, Side, context, quick, ranked

from reachrank.errors import UsageError
from reachrank.findings import Findings
from reachrank.hazard import Factor, registry
from reachrank.hazard.describe import factor_names, factors_text
from reachrank.hazard.factors import BUILT_IN, GROUP
from reachrank.hazard.registry import load_factors
from reachrank.schema import FACTORS, LAYERS
from reachrank.settings import HazardSettings
from reachrank.testing import FactorContractError, check_factor, example_frame

FACTORS_HERE = load_factors()
REACHES = [
    Reach(),
    Reach(right=Side(height_m=2.5, angle_deg=70), radius_m=8.0),
    Reach(left=Side(height_m=1.5)),
]


@pytest.mark.parametrize("factor", FACTORS_HERE, ids=lambda f: f.name)
def test_contract(factor):
    check_factor(factor)


@pytest.mark.parametrize("rule", ["monotone", "peaked"])
def test_contract_of_both_bend_rules(rule):
    bend = next(f for f in FACTORS_HERE if f.name == "bend")
    check_factor(bend, example_frame(settings=HazardSettings(bend_rule=rule)))


def test_built_in_factors_are_declared_as_entry_points():
    declared = tomllib.loads(
        Path(__file__).parents[2].joinpath("pyproject.toml").read_text("utf-8")
    )
    assert declared["project"]["entry-points"][GROUP] == BUILT_IN
    assert [f.name for f in FACTORS_HERE][: len(BUILT_IN)] == list(BUILT_IN)


def test_weights_sum_to_one_and_every_factor_has_settings():
    settings = HazardSettings()
    weights = [getattr(settings, f"{name}_weight") for name in BUILT_IN]
    assert sum(weights) == pytest.approx(1.0)
    assert all(hasattr(settings, f"{name}_knots") for name in BUILT_IN)


def test_every_factor_can_be_read_about():
    for name in factor_names():
        text = factors_text(name)
        assert name in text
        assert "Breakpoints from:" in text
    assert len(factors_text().splitlines()) == len(factor_names())
    with pytest.raises(UsageError, match="bank_height"):
        factors_text("moon_phase")


def _fine(**changed):
    factor = Factor(
        name="shade",
        needs=("cover_frac",),
        gives="shade",
        unit="0-1",
        compute=lambda frame: frame.cover_frac * 1.0,
        reference="made up for this test",
        knots=((0.0, 0.0), (1.0, 1.0)),
        weight=0.5,
    )
    return dataclasses.replace(factor, **changed)


def _writes(frame):
    frame.cover_frac[:] = 0.0
    return frame.cover_frac


BROKEN = {
    "no unit": _fine(unit=""),
    "no source": _fine(reference=" "),
    "name": _fine(name="Shade!"),
    "needs": _fine(needs=("moon",)),
    "shape": _fine(compute=lambda frame: frame.cover_frac[:, 0]),
    "type": _fine(compute=lambda frame: frame.cover_frac.astype(np.float32)),
    "itself": _fine(compute=lambda frame: frame.cover_frac),
    "fills holes": _fine(compute=lambda frame: np.nan_to_num(frame.cover_frac)),
    "falls": _fine(rises=False),
    "rises": _fine(knots=((0.0, 1.0), (1.0, 0.0))),
    "negative error": _fine(error=lambda frame: frame.cover_frac * -1.0),
    "moods": _fine(compute=lambda f: f.cover_frac + np.random.default_rng().uniform(size=f.shape)),
}


def test_a_sound_factor_of_a_stranger_passes():
    check_factor(_fine())


@pytest.mark.parametrize("factor", BROKEN.values(), ids=list(BROKEN))
def test_contract_notices(factor):
    with pytest.raises(FactorContractError, match="Factor"):
        check_factor(factor)


def test_a_factor_that_writes_into_the_frame_is_stopped_by_the_frame():
    with pytest.raises(ValueError, match="read-only"):
        check_factor(_fine(compute=_writes))


def _raises(frame):
    raise RuntimeError("no moon tonight")


@pytest.fixture
def offered(monkeypatch):
    """Let a factor come in as an entry point of another package."""

    def offer(*factors):
        made = []
        for number, factor in enumerate(factors):
            globals()[f"OFFERED_{number}"] = factor
            made.append(EntryPoint(f"offered_{number}", f"{__name__}:OFFERED_{number}", GROUP))
        monkeypatch.setattr(registry, "entry_points", lambda group: made)

    return offer


def _scores(ctx):
    result = ranked(REACHES, ctx)
    return result["banks"]["hazard_score"].to_numpy(), result["factors"]


@pytest.mark.parametrize(
    "factor",
    [
        _fine(needs=("bank_height_m",), compute=_raises),
        _fine(needs=("bank_height_m",), compute=lambda f: f.bank_height_m[:1]),
        _fine(needs=("bank_height_m",), error=_raises),
        _fine(needs=("moon",)),
        _fine(name="bank_height"),
        "no factor at all",
    ],
    ids=["raises", "shape", "error raises", "needs", "name in use", "type"],
)
def test_unfit_factor_is_a_finding_and_left_out_entirely(offered, factor):
    before, _ = _scores(context())
    offered(factor)
    ctx = context()
    after, rows = _scores(ctx)
    np.testing.assert_array_equal(before, after)
    assert "shade" not in set(rows["factor"])
    assert [row["code"] for row in ctx.findings.rows] == ["factor_left_out"]


def test_missing_package_is_a_finding(monkeypatch):
    gone = EntryPoint("gone", "no_such_package_here:FACTOR", GROUP)
    monkeypatch.setattr(registry, "entry_points", lambda group: [gone])
    findings = Findings()
    assert len(load_factors(findings)) == len(BUILT_IN)
    assert "no_such_package_here" in findings.rows[0]["text"]


def test_sound_stranger_takes_part_with_weight_and_breakpoints_from_the_settings(offered):
    offered(_fine(needs=("bank_height_m",), compute=lambda f: f.bank_height_m / 10.0, unit="dam"))
    settings = quick(
        hazard={"factor_weights": {"shade": 1.0}, "factor_knots": {"shade": ((0, 0), (0.5, 1))}}
    )
    _, rows = _scores(context(settings))
    own = rows[rows["factor"] == "shade"].set_index("bank_id")
    assert own.loc["mill-001-R", "score"] == pytest.approx(0.5)  # 2.5 m, 0.25 of 0.5
    assert own.loc["mill-001-R", "unit"] == "dam"
    # 1.0 beside 0.30 + 0.15 + 0.20 + 0.05 (heights, angle, bend, both banks; the rest is absent)
    assert own["weight"].to_numpy() == pytest.approx(1.0 / 1.7)


def test_columns_are_those_of_the_schema():
    result = ranked(REACHES, context(quick(priority={"draws": 20}), curve="bieger-usa"))
    assert list(result["factors"].columns) == list(FACTORS.names)
    for layer in ("banks", "reaches", "sections", "bends"):
        made = set(result[layer].columns) - {"geometry"}
        assert made <= set(LAYERS[layer].names) | {"attribute_width_m"}
    for layer in ("banks", "reaches", "factors"):
        table = result[layer]
        for column in LAYERS[layer]:
            if column.name not in table.columns:
                continue
            if column.required:
                assert table[column.name].notna().all(), column.name
            if column.kind in ("int", "float"):
                values = table[column.name].astype("Float64").dropna()
                assert column.least is None or (values >= column.least).all(), column.name
                assert column.greatest is None or (values <= column.greatest).all(), column.name
