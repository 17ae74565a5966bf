"""The hazard stage on built tables: sources of width, what counts, what decides."""

import numpy as np
import pandas as pd
import pytest
from bank_tables import Reach, Side, context, quick, tables
from shapely.geometry import box

from reachrank.curves import curve
from reachrank.errors import SettingsError
from reachrank.hazard import run
from reachrank.hazard.side_frame import SideFrame

BEND = Reach(radius_m=10.0, right=Side(height_m=2.0, angle_deg=50.0))


def hazard(reaches, ctx=None, change=None, **more):
    made = tables(reaches, **more)
    for name, edit in (change or {}).items():
        made[name] = edit(made[name].copy())
    return run(made, ctx or context())


def _set(**values):
    return lambda table: table.assign(**values)


def test_width_from_curve_attribute_field_else_top():
    used = "bieger-appalachian-highlands"
    with_width = {"edges": _set(attribute_width_m=7.0)}
    field = quick(hazard={"field_bankfull_width_m": 5.0})
    cases = {
        "top_width": (hazard([BEND]), 4.0),
        "curve": (hazard([BEND], context(curve=used)), float(curve(used).width_m(20.0))),
        "attribute": (hazard([BEND], context(curve=used), with_width), 7.0),
        "field": (hazard([BEND], context(field, curve=used), with_width), 5.0),
    }
    for word, (result, width) in cases.items():
        reach, bend = result["reaches"].iloc[0], result["bends"].iloc[0]
        assert reach["width_source"] == word
        assert reach["radius_width_ratio"] == pytest.approx(10.0 / width)
        assert bend["radius_width_ratio"] == pytest.approx(10.0 / width)
        known = word != "top_width"
        assert (
            (reach["bankfull_width_m"] == pytest.approx(width))
            if known
            else np.isnan(reach["bankfull_width_m"])
        )


def test_height_is_held_against_the_greatest_depth_of_the_curve():
    used = curve("bieger-appalachian-highlands")
    reach = hazard([BEND], context(curve=used.name))["reaches"].iloc[0]
    # Bieger et al. 2015: D = 0.26 A^0.287, A = 20 km2; a parabola is 1.5 times that in its middle
    mean = 0.26 * 20**0.287
    assert reach["bankfull_depth_m"] == pytest.approx(mean)
    assert reach["bank_height_ratio"] == pytest.approx(2.0 / (1.5 * mean))


def test_own_curve():
    own = quick(hazard={"own_curve_width": (2.0, 0.5), "own_curve_depth": (0.2, 0.3)})
    reach = hazard([Reach(area_km2=16.0)], context(own, curve="own"))["reaches"].iloc[0]
    assert reach["bankfull_width_m"] == pytest.approx(8.0)  # 2 * 4
    with pytest.raises(SettingsError, match="width or its depth"):
        hazard([Reach()], context(quick(), curve="own"))


def test_area_beyond_the_curve_is_one_finding_per_stream():
    ctx = context(curve="bieger-interior-highlands")
    hazard([Reach(area_km2=5.0), Reach(area_km2=6.0)], ctx)
    assert [row["code"] for row in ctx.findings.rows] == ["curve_beyond_fit"]
    assert "5 to 6 km²" in ctx.findings.rows[0]["text"]


def test_outside_bank_alone_carries_the_bend():
    banks = hazard([Reach(radius_m=8.0, outside="right")])["banks"].set_index("bank")
    assert banks.loc["right", "hazard_score"] > banks.loc["left", "hazard_score"] + 20
    # 4 m wide, radius 8 m: 2.00 widths is 4 in the published table; no number on the inside
    assert banks.loc["right", "near_bank_stress_number"] == 4
    assert pd.isna(banks.loc["left", "near_bank_stress_number"])


def test_lag_moves_the_wear_downstream():
    lag = quick(hazard={"bend_lag_widths": 10.0})  # 10 widths of 4 m
    rows = [Reach(), Reach(radius_m=8.0), Reach()]  # the first is downstream
    sections = hazard(rows, context(lag))["sections"].set_index("station_m")
    worn = sections.index[sections["right_hazard_score"] > sections["left_hazard_score"]]
    assert (worn.min(), worn.max()) == (65.0, 155.0)  # bend 100 to 200, moved by 40 m


def test_peaked_rule_scores_a_very_tight_bend_less():
    rows = [Reach(radius_m=12.0), Reach(radius_m=4.0)]  # 3 widths and 1 width
    monotone = hazard(rows)["reaches"]["hazard_score"]
    peaked = hazard(rows, context(quick(hazard={"bend_rule": "peaked"})))["reaches"]["hazard_score"]
    assert monotone[1] > monotone[0]
    assert peaked[1] < peaked[0]


def test_the_section_at_the_quantile_decides():
    def heights(sections):
        return sections.assign(left_bank_height_m=np.linspace(1.0, 1.9, 10)[::-1])

    result = hazard([Reach()], change={"sections": heights})
    rows = result["factors"].query("bank_id == 'mill-000-L' and factor == 'bank_height_absolute'")
    # sorted: 1.0 ... 1.9; number ceil(0.8 * 9) = 8 from 0 is 1.8 m, second from the mouth
    assert rows["value"].item() == pytest.approx(1.8)
    assert rows["section_id"].item() == "mill-00015.0"


def test_crossings_ponds_and_gaps_do_not_count():
    def flagged(sections):
        flags = np.array([""] * 10, object)
        flags[[2, 5, 7]] = "coarse crossing", "pond", "gap"
        height = np.ones(10)
        height[[2, 5, 7]] = 9.0
        return sections.assign(flags=flags, left_bank_height_m=height)

    result = hazard([Reach()], change={"sections": flagged})
    sections, bank = result["sections"], result["banks"].iloc[0]
    assert sections["left_hazard_score"].isna().tolist() == [i in (2, 5, 7) for i in range(10)]
    clean = hazard([Reach()])["banks"].iloc[0]
    assert bank["hazard_score"] == pytest.approx(clean["hazard_score"])
    assert bank["hazard_confidence_frac"] == pytest.approx(0.7 * clean["hazard_confidence_frac"])


def test_side_without_a_top_has_no_score_and_the_other_has():
    result = hazard([Reach(left=Side(height_m=None, angle_deg=None)), Reach()])
    sections, banks = result["sections"], result["banks"].set_index("bank_id")
    assert sections["left_hazard_score"].iloc[:10].isna().all()
    assert sections["right_hazard_score"].notna().all()
    assert np.isnan(banks.loc["mill-000-L", "hazard_score"])
    assert result["reaches"]["hazard_score"].iloc[0] == banks.loc["mill-000-R", "hazard_score"]


def test_soil_and_cap_shares_are_stated():
    ctx = context()
    result = hazard([Reach(), Reach()], ctx, soils=[("sand", 0, 100), ("clay", 100, 200)])
    banks = result["banks"].set_index("bank_id")["hazard_score"]
    assert banks["mill-000-L"] > banks["mill-001-L"]
    assert "soil 50 %" in ctx.facts["factor_cap_share"]
    assert "cover" in ctx.facts["factors_absent"]


def test_second_opinion_names_what_it_does_not_know():
    steep = Reach(left=Side(is_lower_bound=True), right=Side(angle_deg=61.0))
    banks = hazard([steep], context(curve="bieger-usa"))["banks"].set_index("bank")
    never = "root depth, root density, surface protection"
    assert banks.loc["left", "second_opinion_missing"] == f"bank angle, {never}"
    assert banks.loc["right", "second_opinion_missing"] == never
    # an angle of 61 degrees adds the 4.0 printed for it
    points = banks["second_opinion_known_points"]
    assert points["right"] - points["left"] == pytest.approx(4.0)
    nothing = hazard([steep])["banks"].set_index("bank")
    assert np.isnan(nothing.loc["left", "second_opinion_known_points"])


def test_power_needs_a_depth_and_flat_water_has_none():
    ctx = context(curve="bieger-usa")
    rows = hazard([Reach(fall=0.0)], ctx)["factors"].set_index(["bank_id", "factor"])
    assert rows.loc[("mill-000-L", "unit_stream_power"), "value"] == pytest.approx(0.0, abs=1e-6)
    bare = context()
    hazard([Reach()], bare)
    assert "unit_stream_power" in bare.facts["factors_absent"]


def test_frame_cannot_be_written_to():
    from reachrank.testing import example_frame

    frame = example_frame()
    assert isinstance(frame, SideFrame)
    with pytest.raises(ValueError, match="read-only"):
        frame.bank_height_m[0, 0] = 1.0


def test_curve_is_not_used_where_the_catchment_leaves_the_ground():
    ctx = context(curve="bieger-usa")
    rows = [Reach(), Reach()]
    result = hazard(rows, ctx, {"edges": lambda edges: edges.assign(is_area_cut=[True, False])})
    reaches = result["reaches"]
    assert reaches["width_source"].tolist() == ["top_width", "curve"]
    assert np.isnan(reaches["bankfull_depth_m"].iloc[0])
    assert [row["code"] for row in ctx.findings.rows] == ["curve_area_cut"]
    confidence = result["banks"].set_index("bank_id")["hazard_confidence_frac"]
    assert confidence["mill-000-L"] < confidence["mill-001-L"]


def test_curve_narrower_than_the_water_is_a_finding():
    ctx = context(curve="bieger-usa")
    hazard([Reach()], ctx, {"sections": lambda sections: sections.assign(toe_width_m=40.0)})
    # Bieger et al. 2015: 2.70 * 20^0.352 = 7.75 m, and 40 / 7.75 = 5.2
    assert [row["code"] for row in ctx.findings.rows] == ["curve_too_small"]
    assert "5.2 times" in ctx.findings.rows[0]["text"]


def test_each_bank_has_the_soil_of_its_own_side():
    def only_east(soils):
        return soils.set_geometry([box(500_000, 4_000_000, 500_050, 4_000_100)])

    made = tables([Reach()], soils=[("sand", 0, 100)])
    made["soils"] = only_east(made["soils"])
    rows = run(made, context())["factors"].set_index(["factor", "bank_id"])
    # running south, left is east
    assert rows.loc[("soil", "mill-000-L"), "state"] == "measured"
    assert rows.loc[("soil", "mill-000-R"), "state"] == "missing"
