"""`reachrank explain` and `reachrank settings --prices` as a user types them."""

from __future__ import annotations

import pyogrio
import pytest

from reachrank.__main__ import main
from reachrank.repairs.prices import load_prices


@pytest.mark.parametrize("layer", ["repairs", "reaches", "banks"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_kind_of_name_is_explained(demo, capsys, layer, units):
    column = {"repairs": "repair_id", "reaches": "reach_id", "banks": "bank_id"}[layer]
    name = pyogrio.read_dataframe(demo[0], layer=layer)[column].iloc[0]
    assert main(["explain", str(demo[0]), name, "--units", units]) == 0
    said = capsys.readouterr().out
    assert name in said or layer == "reaches"
    assert max(len(line) for line in said.splitlines()) <= 96
    if layer == "repairs":
        assert (" ft" in said) == (units == "us")
        assert "811" in said


def test_an_unknown_name_is_a_usage_error(demo, capsys):
    assert main(["explain", str(demo[0]), "nothing"]) == 2
    assert "no reach, bank or repair" in capsys.readouterr().err


def test_the_price_file_that_is_printed_can_be_used(tmp_path, capsys):
    assert main(["settings", "--prices"]) == 0
    file = tmp_path / "own.toml"
    file.write_text(capsys.readouterr().out, "utf-8")
    assert load_prices(file) == load_prices()
    assert "invented" in load_prices(file).note
