"""The county's callers and applications, from the telephone to the chosen sites."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import geopandas as gpd
import openpyxl
import pandas as pd
import pytest

from reachrank.__main__ import main

COUNTY = Path(__file__).resolve().parents[2] / "sample_data"
ADDRESSES = ["--addresses", str(COUNTY / "addresses.gpkg")]
PARCELS = ["--parcels", str(COUNTY / "parcels.gpkg")]
APPLICATIONS = str(COUNTY / "applications.csv")


@pytest.fixture(scope="module")
def docket_file(demo, tmp_path_factory):
    """Screen the county's stack by the demo rules."""
    home = tmp_path_factory.mktemp("docket")
    arguments = [str(demo[0]), APPLICATIONS, *PARCELS, *ADDRESSES, "--keep", "concern"]
    out = ["--out", str(home / "docket.gpkg"), "--xlsx", str(home / "docket.xlsx")]
    assert main(["screen", *arguments, *out]) == 0
    return home / "docket.gpkg"


@pytest.fixture(scope="module")
def docket(docket_file):
    return gpd.read_file(docket_file, layer="docket").set_index("source_row", drop=False)


def test_a_caller_at_a_house_beside_a_failing_bank(demo, capsys):
    """The distance is judged by the county's true tops of banks."""
    homes = gpd.read_file(COUNTY / "addresses.gpkg")
    tops = gpd.read_file(COUNTY / "truth.gpkg", layer="bank_tops")
    homes["away"] = homes.geometry.apply(lambda home: tops.distance(home).min())
    nearest = homes.sort_values("away").iloc[0]
    asked = nearest["address"].upper().replace(" ROAD", " RD").replace(" LANE", " LN.")
    assert main(["near", str(demo[0]), "--address", asked, *ADDRESSES, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    # banks are found to about a cell of 1 m, two where a lip is round
    assert told["distance_m"] == pytest.approx(nearest["away"], abs=2.0)
    assert len(told["questions"]) == 3
    assert told["rank_low"] <= told["rank"] <= told["rank_high"] <= told["banks_ranked"]
    assert told["structures"]
    assert told["structures"][0]["distance_m"] < 15.0


def test_an_address_that_is_not_settled_offers_candidates(demo, capsys):
    assert main(["near", str(demo[0]), "--address", "440 Lower Mill Road", *ADDRESSES]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert "439 Lower Mill Road" in said.err


def test_every_application_comes_out_once_with_a_reason(docket):
    asked = pd.read_csv(APPLICATIONS, dtype=str)
    assert docket["application_id"].tolist() == asked["application_id"].tolist()
    assert docket["reason"].str.endswith((".", "?")).all()
    assert docket["rules_hash"].str.startswith("demo-").all()
    assert docket["kept_concern"].tolist() == asked["concern"].tolist()
    assert not {"applicant", "kept_applicant"} & set(docket.columns)


def test_what_the_county_says_is_wrong_comes_out_as_a_screener_wants(docket):
    """The county's README lists the faults by row."""
    channels = gpd.read_file(COUNTY / "truth.gpkg", layer="channels")
    placed = {row: docket.loc[row, "placed_by"] for row in docket.index}
    assert "swapped" in placed[3]
    assert "swapped" in placed[5]
    assert "sign of the longitude" in placed[8]
    assert "survey feet" in placed[10]
    for row in (7, 17, 20, 26):
        assert "address point" in placed[row], row
    assert "rounded too coarsely" in placed[20]
    for row in (3, 5, 8, 10, 12, 14):  # applicants set their pins in or beside the stream
        assert channels.distance(docket.geometry[row]).min() < 40.0, row
    assert docket.loc[21, "state"] == "not_placed"
    assert docket.geometry[21] is None
    assert docket.loc[24, "state"] == "duplicate"
    assert docket.loc[4, "application_id"] in docket.loc[24, "reason"]
    assert docket.loc[25, "state"] == "too_far"
    # 26 repeats the address of 9 with coordinates of nothing
    assert docket.loc[26, "state"] == "duplicate"
    assert docket.loc[9, "application_id"] in docket.loc[26, "reason"]


def test_the_spreadsheet_holds_the_same_rows(docket_file, docket):
    """Judge: openpyxl, another library than the one that writes."""
    sheet = openpyxl.load_workbook(docket_file.with_suffix(".xlsx"))["docket"]
    rows = list(sheet.iter_rows(values_only=True))
    names = list(rows[0])
    assert len(rows) - 1 == len(docket)
    for name in ("application_id", "state", "reason"):
        assert [row[names.index(name)] for row in rows[1:]] == docket[name].tolist()
    kinds = {cell.data_type for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds  # no formula anywhere


def test_decisions_live_through_an_update(demo, docket_file, docket, tmp_path, capsys):
    old = tmp_path / "old.gpkg"
    shutil.copy(docket_file, old)
    chosen = docket.loc[docket["state"] == "eligible", "application_id"].iloc[0]
    decided = ("approved", "2025-11-03", chosen)
    with sqlite3.connect(old) as db:  # as a desktop GIS would
        triggers = db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'rtree_docket%'"
        ).fetchall()
        for (name,) in triggers:  # they call functions that only a GIS has
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("UPDATE docket SET decision = ?, decided_on = ? WHERE application_id = ?",
                   decided)  # fmt: skip
    db.close()
    rules = tmp_path / "rules.toml"
    rules.write_text("[program]\nname = 'Kiln Creek fund'\n[eligibility]\nleast_score = 50\n")
    out = tmp_path / "new.gpkg"
    arguments = [str(demo[0]), APPLICATIONS, *PARCELS, *ADDRESSES, "--rules", str(rules)]
    assert main(["screen", *arguments, "--update", str(old), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "Kiln Creek fund" in said
    assert "1 decision carried over" in said
    new = gpd.read_file(out, layer="docket").set_index("application_id")
    assert len(new) == len(docket)
    assert new.loc[chosen, "decision"] == "approved"
    assert new.loc[chosen, "decided_on"] == "2025-11-03"
    assert not new["rules_hash"].str.startswith("demo-").any()
    assert (new["state"] == "eligible").sum() < (docket["state"] == "eligible").sum()
    assert new["changed"].str.contains("rules").all()


def test_a_chosen_site_keeps_its_name_and_shape(demo, docket_file, docket, tmp_path, capsys):
    eligible = docket[docket["state"] == "eligible"]
    first = eligible["application_id"].iloc[0]
    out = tmp_path / "sites.gpkg"
    assert main(["choose", str(docket_file), "--ids", first, "--out", str(out)]) == 0
    site = gpd.read_file(out, layer="sites").iloc[0]
    repair = gpd.read_file(demo[0], layer="repairs").set_index("repair_id").loc[site["repair_id"]]
    assert site.geometry.wkb == repair.geometry.wkb
    named = gpd.read_file(out, layer="docket").set_index("application_id")
    assert named.loc[first, "site_id"] == site["site_id"]
    assert "kept_concern" in named.columns
    # chosen again from the ranking, with another one: the old site is known by its place
    more = tmp_path / "more.gpkg"
    others = gpd.read_file(demo[0], layer="repairs")
    other = others[others["repair_id"] != site["repair_id"]]["repair_id"].iloc[0]
    ids = f"{site['repair_id']},{other}"
    capsys.readouterr()
    arguments = ["--ids", ids, "--sites", str(out), "--out", str(more)]
    assert main(["choose", str(demo[0]), *arguments]) == 0
    assert f"is already site {site['site_id']}" in capsys.readouterr().out
    both = gpd.read_file(more, layer="sites")
    assert len(both) == 2
    assert site["site_id"] in set(both["site_id"])


def test_the_budget_buys_within_the_amount(demo, docket_file, docket, tmp_path, capsys):
    out, picture = tmp_path / "chosen.gpkg", tmp_path / "curve.png"
    arguments = ["--amount", "16000", "--out", str(out), "--plot", str(picture)]
    assert main(["budget", str(docket_file), *arguments]) == 0
    said = capsys.readouterr().out.splitlines()
    eligible = docket[docket["state"] == "eligible"]
    assert said[0].startswith(f"{eligible['repair_id'].nunique()} candidates")
    sites = gpd.read_file(out, layer="sites")
    assert 0 < sites["charge_usd"].sum() <= 16000
    assert set(sites["repair_id"]) <= set(eligible["repair_id"])
    assert picture.read_bytes().startswith(b"\x89PNG")
    # a ranked file has more candidates, and says how many have no cost or are left alone
    repairs = gpd.read_file(demo[0], layer="repairs")
    alone = int((repairs["path"] == "leave_alone").sum())
    second = tmp_path / "second.gpkg"
    arguments = ["--amount", "600000", "--worth", "tons", "--out", str(second)]
    assert main(["budget", str(demo[0]), *arguments]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith(f"{len(repairs) - alone} candidates")
    assert ("best left alone" in first) == bool(alone)
