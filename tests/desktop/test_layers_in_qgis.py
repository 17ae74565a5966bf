"""A ranked file opened in QGIS: every layer styled, titles with units, nothing clicked.

Judge: QGIS itself (Debian's package), run by the system's Python.
"""

from __future__ import annotations

from collections import Counter

import geopandas as gpd
import numpy as np
import pytest
from PIL import Image

from reachrank.description import description
from reachrank.page.looks import LOOKS
from reachrank.schema import LAYERS, PUBLIC_LAYERS
from reachrank.settings.priority import PrioritySettings
from reachrank.write.styles_qml import REPAIR


@pytest.fixture(scope="module", params=["metric", "us"])
def seen(request, ranked_stream, open_in_qgis, tmp_path_factory):
    """Give what QGIS shows of a ranked stream, the file, and the pictures."""
    path = ranked_stream(request.param)
    picture = tmp_path_factory.mktemp("qgis") / "map.png"
    return open_in_qgis(path, picture), path, picture, request.param == "us"


def one(seen, name):
    return next(layer for layer in seen[0]["layers"] if layer["name"] == name)


def test_layers_are_listed_in_our_order_and_hold_their_rows(seen):
    told, path, _, _ = seen
    names = list(dict.fromkeys(layer["name"] for layer in told["layers"]))
    spatial = [name for name in PUBLIC_LAYERS if LAYERS[name].geometry != "None"]
    assert [name for name in names if name in spatial] == spatial
    assert "layer_styles" not in names
    assert all(layer["valid"] for layer in told["layers"])
    assert one(seen, "banks")["rows"] == len(gpd.read_file(path, layer="banks"))


def test_every_layer_with_geometry_has_its_own_style(seen):
    expected = {
        "reaches": "categorizedSymbol", "banks": "graduatedSymbol", "findings": "RuleRenderer"
    }  # fmt: skip
    for layer in seen[0]["layers"]:
        if layer["spatial"]:
            assert layer["renderer"] == expected.get(layer["name"], "singleSymbol"), layer["name"]
    # QGIS gives a layer without a style a colour by chance; ours are ours
    assert one(seen, "repairs")["colours"] == [REPAIR]


def test_reaches_have_one_sign_for_each_class_the_first_on_top(seen):
    reaches = one(seen, "reaches")
    looks = [*reversed(LOOKS[:-1]), LOOKS[-1]]
    assert reaches["colours"] == [look.colour for look in looks]
    assert [text.partition(":")[0] for text in reaches["legend"]] == [look.name for look in looks]
    assert reaches["labels"]


def test_banks_change_colour_where_the_classes_begin(seen):
    first, last = one(seen, "banks")["legend"][0], one(seen, "banks")["legend"][-1]
    breaks = PrioritySettings().class_breaks
    assert first == f"first: score {breaks[-1]:g} to 100"
    assert last == f"quiet: score 0 to {breaks[0]:g}"


def test_every_column_shows_its_title_with_the_unit(seen):
    told, _, _, us = seen
    for layer in told["layers"]:
        schema = LAYERS[layer["name"]]
        titles = {d.column: d.title for d in (description(c, us=us) for c in schema)}
        shown = {k: v for k, v in layer["titles"].items() if k != "fid"}
        assert shown == titles, layer["name"]
    height = "bank_height_ft" if us else "bank_height_m"
    assert one(seen, "banks")["titles"][height] == f"Bank height ({'ft' if us else 'm'})"


def colours(path):
    with Image.open(path) as picture:
        pixels = np.asarray(picture.convert("RGB")).reshape(-1, 3)
    return Counter(map(tuple, pixels))


def rgb(colour):
    return tuple(int(colour[k : k + 2], 16) for k in (1, 3, 5))


def test_the_map_shows_the_classes_and_close_up_the_repairs(seen):
    _, path, picture, _ = seen
    drawn = colours(picture)
    reaches = gpd.read_file(path, layer="reaches")
    for look in LOOKS[:-1]:
        if (reaches["priority_class"] == look.name).any():
            assert drawn[rgb(look.colour)] > 20, look.name
    near = colours(picture.with_name("map_near.png"))
    assert near[rgb(REPAIR)] > 20
