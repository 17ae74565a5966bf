"""screen, choose and budget as commands: units, overwriting, exit codes, text that cannot act."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyogrio
import pytest
import request_tables as made
import shapely
import shapely.affinity

from reachrank.__main__ import main
from reachrank.read.tables import read_tables
from reachrank.requests.ranked_tables import open_ranked
from reachrank.requests.sites import SiteBook
from reachrank.schema import DOCKET, SITES


@pytest.fixture(scope="module")
def ranked(tmp_path_factory):
    return made.write_ranked_file(tmp_path_factory.mktemp("m") / "ranked.gpkg")


@pytest.fixture(scope="module")
def ranked_us(tmp_path_factory):
    return made.write_ranked_file(tmp_path_factory.mktemp("us") / "ranked.gpkg", us=True)


@pytest.fixture(scope="module")
def stack(tmp_path_factory):
    places = [made.place(b.reach, b.side) for b in made.COUNTY] + [made.place(0, "left", 900)]
    bad = ["=1+1", "+44", "-5", "@a", "\x1b[31mred", "a\u202egnp", "plain", "x" * 40_000, "end"]
    frame = pd.DataFrame({"id": [f"A{k}" for k in range(9)], "owner": bad,
                          "x": [p.x for p in places], "y": [p.y for p in places]})  # fmt: skip
    path = tmp_path_factory.mktemp("stack") / "applications.csv"
    frame.to_csv(path, index=False)
    return path


@pytest.fixture
def docket(ranked, stack, tmp_path):
    out = tmp_path / "docket.gpkg"
    assert main(["screen", str(ranked), str(stack), "--out", str(out)]) == 0
    return out


def test_metric_and_us_dockets_say_the_same(ranked, ranked_us, stack, tmp_path):
    metric, us = tmp_path / "m.gpkg", tmp_path / "us.gpkg"
    assert main(["screen", str(ranked), str(stack), "--out", str(metric)]) == 0
    assert main(["screen", str(ranked_us), str(stack), "--out", str(us)]) == 0
    raw = pyogrio.read_dataframe(us, layer="docket")
    assert {"distance_ft", "length_ft", "sediment_mid_ton_yr_screening"} <= set(raw.columns)
    assert not [c for c in raw.columns if c.endswith(("_m", "_t_yr_screening"))]
    a, b = read_tables(metric)["docket"], read_tables(us)["docket"]
    assert list(a["state"]) == list(b["state"])
    for name in DOCKET.names:
        if pd.api.types.is_numeric_dtype(a[name]):
            # feet to metres and back: a rounding of 2^-53 each way
            np.testing.assert_allclose(
                a[name].astype("float64"), b[name].astype("float64"), rtol=1e-14, err_msg=name
            )
    # 900 m are 2953 ft of 0.3048 m; the sentence for a letter says it in the reader's unit
    assert "900 m" in a["reason"].iloc[-1]
    assert "2,953 ft" in raw["reason"].iloc[-1]
    assert set(a["run_id"]) == set(b["run_id"])  # the same ranking, whatever its units


def test_the_docket_is_described_and_whole(docket):
    layer = pyogrio.read_dataframe(docket, layer="docket")
    assert [c for c in layer.columns if c != "geometry"] == list(DOCKET.names)
    info = dict(read_tables(docket)["run_info"].to_numpy())
    assert json.loads(info["requests.rules"])["money"]["share_frac"] == 0.75
    assert "demo" in info["requests.rules_name"]
    assert {name for name, _ in pyogrio.list_layers(docket)} >= {"docket", "repairs", "run_info"}


def test_text_from_data_is_inert(ranked, stack, tmp_path, capsys):
    out, sheet = tmp_path / "d.gpkg", tmp_path / "d.xlsx"
    arguments = ["--keep", "owner", "--out", str(out), "--xlsx", str(sheet)]
    assert main(["screen", str(ranked), str(stack), *arguments]) == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said
    book = openpyxl.load_workbook(sheet)
    rows = list(book["docket"].iter_rows())
    names = [cell.value for cell in rows[0]]
    owners = [row[names.index("kept_owner")] for row in rows[1:]]
    assert [cell.data_type for cell in owners] == ["s"] * 9
    assert [cell.value for cell in owners[:4]] == ["=1+1", "+44", "-5", "@a"]
    assert owners[4].value == "[31mred"
    assert "\u202e" not in owners[5].value
    kept = pyogrio.read_dataframe(out, layer="docket")["kept_owner"]
    assert kept.tolist()[0] == "=1+1"


def test_nothing_is_overwritten_unless_told(ranked, stack, docket, capsys):
    before = docket.read_bytes()
    assert main(["screen", str(ranked), str(stack), "--out", str(docket)]) == 3
    assert "--overwrite" in capsys.readouterr().err
    assert docket.read_bytes() == before
    assert main(["screen", str(ranked), str(stack), "--out", str(docket), "--overwrite"]) == 0
    assert main(["screen", str(ranked), str(stack), "--out", str(ranked), "--overwrite"]) == 2


def test_the_same_again_is_the_same_file_content(ranked, stack, docket, tmp_path):
    again = tmp_path / "again.gpkg"
    assert main(["screen", str(ranked), str(stack), "--out", str(again)]) == 0
    a, b = read_tables(docket), read_tables(again)
    for name in ("docket", "repairs", "banks"):
        pd.testing.assert_frame_equal(pd.DataFrame(a[name]), pd.DataFrame(b[name]))


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["screen", "RANKED", "no.csv", "--out", "OUT"], 3, "There is no such file"),
        (["screen", "DOCKET", "STACK", "--out", "OUT"], 2, "is a docket"),
        (["screen", "RANKED", "STACK", "--out", "OUT", "--keep", "nobody"], 2, "'nobody'"),
        (["screen", "RANKED", "STACK", "--out", "OUT", "--rules", "no.toml"], 4, "no.toml"),
        (["screen", "RANKED", "STACK", "--out", "OUT", "--crs", "here"], 2, "'here'"),
        (["screen", "RANKED", "STACK", "--out", "OUT", "--update", "RANKED"], 3, "not a docket"),
        (["screen", "RANKED", "STACK", "--out", "OUT", "--xlsx", "a.csv"], 2, "end in .xlsx"),
        (["choose", "RANKED", "--ids", "nobody", "--out", "OUT"], 2, "'nobody'"),
        (["choose", "RANKED", "--ids", " , ", "--out", "OUT"], 2, "names nothing"),
        (["choose", "DOCKET", "--ids", "A8", "--out", "OUT"], 2, "No repair belongs"),
        (["budget", "RANKED", "--amount", "-5", "--out", "OUT"], 2, "--amount"),
        (["budget", "RANKED", "--amount", "9", "--must", "S0001-L-0000", "--out", "OUT"], 2,
         "more than the amount"),
        (["budget", "RANKED", "--amount", "9", "--must", "S0001-L-0700", "--out", "OUT"], 2,
         "no candidate"),
        (["budget", "RANKED", "--amount", "9", "--cost", "share", "--out", "OUT"], 2, "no shares"),
        (["budget", "STACK", "--amount", "9", "--out", "OUT"], 3, "not a GeoPackage"),
    ],
)  # fmt: skip
def test_exit_codes_and_one_clear_line(
    ranked, stack, docket, tmp_path, monkeypatch, words, code, says, capsys
):
    monkeypatch.chdir(tmp_path)
    names = {"RANKED": ranked, "STACK": stack, "DOCKET": docket, "OUT": tmp_path / "out.gpkg"}
    capsys.readouterr()
    assert main([str(names.get(word, word)) for word in words]) == code
    said = capsys.readouterr()
    assert says in said.err
    assert said.out == ""
    assert not (tmp_path / "out.gpkg").exists()


def test_the_first_line_of_budget_counts_what_has_no_cost(ranked, tmp_path, capsys):
    out = tmp_path / "c.gpkg"
    arguments = ["--amount", "20000", "--never", "S0001-L-0000", "--must", "S0001-L-0500"]
    assert main(["budget", str(ranked), *arguments, "--out", str(out)]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first == (
        "5 candidates; left out: 1 named by --never; 1 best left alone; 1 without a cost."
    )
    sites = read_tables(out)["sites"]
    assert "S0001-L-0500" in set(sites["repair_id"])
    assert "S0001-L-0000" not in set(sites["repair_id"])
    assert sites["charge_usd"].sum() <= 20000.0
    assert set(SITES.names) == {c for c in sites.columns if c != "geometry"}


def test_budget_speaks_tons_of_2000_pounds(ranked_us, tmp_path, capsys):
    arguments = ["--amount", "4000", "--worth", "tons", "--out", str(tmp_path / "c.gpkg")]
    assert main(["budget", str(ranked_us), *arguments]) == 0
    # the best for 4000 dollars is the repair of 9 tonnes: 9 / 0.90718474 = 9.9 tons
    assert "worth 9.9 tons a year" in capsys.readouterr().out


def test_a_site_is_known_again_after_the_bank_was_drawn_a_little_otherwise(ranked, tmp_path):
    first, moved, second = (tmp_path / f"{n}.gpkg" for n in ("first", "moved", "second"))
    assert main(["choose", str(ranked), "--ids", "S0001-L-0000", "--out", str(first)]) == 0
    made.write_ranked_file(
        moved, banks=(made.Bank(reach=0, side="left", score=70.0, repair_m=50.0), made.COUNTY[1])
    )
    arguments = ["--ids", "S0001-L-0000,S0001-L-0100", "--sites", str(first), "--out", str(second)]
    assert main(["choose", str(moved), *arguments]) == 0
    old, new = read_tables(first)["sites"], read_tables(second)["sites"]
    kept = new[new["site_id"] == old["site_id"].iloc[0]].iloc[0]
    assert kept.geometry.equals(old.geometry.iloc[0])  # frozen: 40 m, not the new 50
    assert kept["length_m"] == 40.0
    assert len(new) == 2


def sites_like(ranked, *changes):
    """Return which repairs of a ranked file are a site, for lines changed in a known way."""
    opened = open_ranked(ranked)
    site = opened.repairs.head(1).assign(site_id="AAA-BBBB")
    book = SiteBook(site, 1.0)
    line = site.geometry.iloc[0]
    found = []
    for change, bank in changes:
        repairs = opened.repairs.head(1).assign(bank=bank)
        repairs = repairs.set_geometry([change(line)], crs=opened.crs)
        found.append(bool(book.of_repairs(repairs)))
    return found


def test_more_than_half_of_the_longer_line_on_the_same_side_is_the_same_site(ranked):
    """The site is 40 m long and runs south along the left bank."""

    def along(metres):
        return lambda line: shapely.affinity.translate(line, 0.0, metres)

    def across(metres):
        return lambda line: shapely.affinity.translate(line, metres, 0.0)

    def longer(line):
        return shapely.affinity.scale(line, 1.0, 2.1, origin="center")

    assert sites_like(ranked, (along(19.0), "left"), (along(21.0), "left")) == [True, False]
    assert sites_like(ranked, (across(4.0), "left"), (across(6.0), "left")) == [True, False]
    assert sites_like(ranked, (along(0.0), "right"), (longer, "left")) == [False, False]


def test_the_name_of_a_site_does_not_depend_on_what_else_is_chosen(ranked, tmp_path):
    one, two = tmp_path / "one.gpkg", tmp_path / "two.gpkg"
    assert main(["choose", str(ranked), "--ids", "S0001-R-0200", "--out", str(one)]) == 0
    ids = "S0001-L-0100,S0001-R-0200"
    assert main(["choose", str(ranked), "--ids", ids, "--out", str(two)]) == 0
    names = gpd.read_file(two, layer="sites").set_index("repair_id")["site_id"]
    assert gpd.read_file(one, layer="sites")["site_id"].tolist() == [names["S0001-R-0200"]]
    assert names.str.fullmatch("[0-9A-HJKMNP-TV-Z]{3}-[0-9A-HJKMNP-TV-Z]{4}").all()


def test_rules_are_printed_without_opening_anything():
    said = subprocess.run(
        [sys.executable, "-m", "reachrank", "screen", "--print-rules"],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONUTF8": "1"},
    )  # fmt: skip
    assert "least_score = 35.0" in said.stdout
    assert "[eligibility]" in said.stdout
