"""What the page holds: every reach, its limit of size, its colours, its policy."""

from __future__ import annotations

import base64
import hashlib
import json
import re

import numpy as np
import pandas as pd
import pytest
from ranked_tables import ranked_tables

from reachrank.errors import InputError, OutputError
from reachrank.page import make_page
from reachrank.page.compose import NEEDED
from reachrank.page.looks import LOOKS
from reachrank.schema import LAYERS
from reachrank.units import to_metric, to_us
from reachrank.write.ranked import in_us_units


def content_of(html: str, element: str = "content") -> dict:
    found = re.search(rf'<script type="application/json" id="{element}">(.*?)</script>', html, re.S)
    return json.loads(found.group(1))


def page_of(tables, **more):
    return make_page(tables, source_name="ranked.gpkg", made="1 May 2026", **more)


@pytest.fixture(scope="module")
def tables():
    return ranked_tables(120)


def test_every_reach_is_there_in_the_order_of_rank(tables):
    rows = content_of(page_of(tables).html)["rows"]
    assert sorted(rows["id"]) == sorted(tables["reaches"]["reach_id"])
    assert rows["rank"] == sorted(rows["rank"])
    assert {len(values) for values in rows.values()} == {120}


def test_numbers_are_those_of_the_file(tables):
    rows = content_of(page_of(tables).html)["rows"]
    reaches = tables["reaches"].set_index("reach_id").loc[rows["id"]]
    np.testing.assert_allclose(np.array(rows["score"]) / 10, reaches["priority_score"], atol=0.0501)
    np.testing.assert_allclose(
        np.array(rows["repair"]) / 10, reaches["repair_length_m"], atol=0.0501
    )
    worst = np.where(
        reaches["worst_bank"] == "left",
        reaches["left_bank_height_m"],
        reaches["right_bank_height_m"],
    )
    np.testing.assert_allclose(np.array(rows["height"]) / 100, worst, atol=0.00501)


def test_lines_stay_within_the_tolerance_of_thinning(tables):
    import geopandas as gpd
    import shapely

    from reachrank.page.encode import decode_lines

    content = content_of(page_of(tables).html)
    drawn = [shapely.LineString(points) for points in decode_lines(content["lines"])]
    back = gpd.GeoSeries(drawn, crs=4326).to_crs(26916)
    true = tables["reaches"].set_index("reach_id").geometry[content["rows"]["id"]]
    off = [shapely.hausdorff_distance(a, b) for a, b in zip(back, true, strict=True)]
    assert max(off) <= content["about"]["tolerance_m"] + 0.2  # and the rounding of degrees


def test_a_file_in_us_units_makes_the_same_page(tables):
    us = {name: in_us_units(table) for name, table in tables.items()}
    back = {name: to_metric(table, LAYERS[name].names) for name, table in us.items()}
    info = back["run_info"]
    back["run_info"] = info.assign(
        value=info["value"].where(info["key"] != "written_units", "us: feet")
    )
    ours, theirs = content_of(page_of(tables).html), content_of(page_of(back).html)
    for name in ("rank", "from", "height", "repair", "near", "class"):
        assert ours["rows"][name] == theirs["rows"][name]
    assert theirs["us"] is True

    def reasons(content, which):
        parts = content["clauses"]
        return ["".join(p if isinstance(p := parts[k], str) else p[which] for k in why)
                for why in content["rows"]["why"]]  # fmt: skip

    assert reasons(ours, 1) == reasons(theirs, 1)  # as the file in feet has them
    assert re.search(r"\d m high", reasons(theirs, 0)[0])


def test_the_same_file_makes_the_same_page(tables):
    shuffled = dict(tables)
    shuffled["reaches"] = tables["reaches"].sample(frac=1.0, random_state=1)
    assert page_of(tables).html == page_of(shuffled).html


def test_the_inputs_are_not_changed(tables):
    before = {name: table.copy() for name, table in tables.items()}
    page_of(tables)
    for name, table in tables.items():
        pd.testing.assert_frame_equal(pd.DataFrame(table), pd.DataFrame(before[name]))


def test_details_are_those_of_the_worst_banks(tables):
    content = content_of(page_of(tables, detail=10).html)
    banks = tables["banks"]
    worst = set(banks.nsmallest(10, "rank", keep="all")["reach_id"])
    assert {content["rows"]["id"][int(row)] for row in content["details"]} == worst
    assert content_of(page_of(tables, detail=0).html)["details"] == {}


def test_it_keeps_to_its_limit_of_size(tables):
    whole = page_of(tables)
    limit = whole.size_bytes - 60_000
    smaller = page_of(tables, most_bytes=limit)
    assert smaller.size_bytes <= limit
    assert smaller.in_detail < whole.in_detail
    assert smaller.reaches == 120
    with pytest.raises(OutputError, match="larger than"):
        page_of(tables, most_bytes=310_000)


def test_only_scripts_and_styles_that_are_named_may_run(tables):
    html = page_of(tables).html
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html).group(1)
    policy = policy.replace("&#39;", "'")
    assert "unsafe-inline" not in policy
    assert "default-src 'none'" in policy
    assert "http" not in policy
    for element, rule in (("script", "script-src"), ("style", "style-src")):
        named = re.search(rf"{rule} ([^;]*)", policy).group(1).split()
        texts = re.findall(rf"<{element}>(.*?)</{element}>", html, re.S)
        # W3C Content Security Policy 3, 8.4: base64 of SHA-256 of the element's text in UTF-8
        digests = [hashlib.sha256(text.encode()).digest() for text in texts]
        assert [f"'sha256-{base64.b64encode(d).decode()}'" for d in digests] == named


def test_nothing_is_fetched(tables):
    html = page_of(tables).html
    markup = re.sub(r"<(script|style).*?</\1>|<!--.*?-->", "", html, flags=re.S)
    assert not re.search(r"(src|href)=\"(?!data:|#)", markup)
    styles = "".join(re.findall(r"<style>(.*?)</style>", html, re.S))
    assert "url(" not in styles
    assert "@import" not in styles


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.1."""
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# Machado, Oliveira & Fernandes 2009 (doi 10.1109/TVCG.2009.113), severity 1.0, from memory
SEEN_BY = {
    "everyone": np.eye(3),
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                   [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                     [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                   [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


@pytest.mark.parametrize("who", SEEN_BY)
def test_classes_grow_darker_for_every_kind_of_colour_vision(who):
    lightness = []
    for look in LOOKS[:-1]:
        parts = np.array([int(look.colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        y = float(np.clip(np.array(SEEN_BY[who]) @ linear, 0, 1) @ [0.2126, 0.7152, 0.0722])
        lightness.append(116 * np.cbrt(y) - 16 if y > 0.008856 else 903.3 * y)  # CIE 1976 L*
    # 10 of L* is far more than the just noticeable difference, about 2.3 (common practice)
    assert (np.diff(lightness) < -10.0).all()


def test_letters_can_be_read_and_lines_be_seen():
    for look in LOOKS:
        assert contrast(look.ink, look.colour) >= 4.5  # WCAG 2.1, 1.4.3
        seen = max(contrast(look.colour, "#f7f6f1"), contrast(look.edge, "#f7f6f1"))
        assert seen >= 3.0  # WCAG 2.1, 1.4.11
    assert len({look.letter for look in LOOKS}) == len(LOOKS)
    widths = [look.width_px for look in LOOKS[:-1]]
    assert widths == sorted(widths)


def test_a_file_without_a_layer_is_refused(tables):
    for name in NEEDED:
        with pytest.raises(InputError, match=name):
            page_of({key: table for key, table in tables.items() if key != name})


def test_materials_in_both_units(tables):
    content = content_of(page_of(tables).html)
    rolls = [item for items in content["materials"].values() for item in items if item[1] == "m"]
    assert rolls
    assert all(item[1:7] == ["m", 30.48, 30.48, "ft", 100, 100] for item in rolls)
    assert to_us(tables["materials"])["unit"].isin(["ft", "stake"]).all()
