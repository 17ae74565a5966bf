"""The list and the map lead to one another; filters, search, sorting, units and keys work.

What must be shown is worked out from the tables by pandas, apart from the page's own code.
"""

from __future__ import annotations

import re

import pandas as pd
import pytest

pytestmark = pytest.mark.browser
FOOT_M = 0.3048  # international foot, exact: NIST Special Publication 811 (2008), appendix B


def by_rank(tables):
    return tables["reaches"].sort_values(["rank", "reach_id"], ignore_index=True)


def ids_in_view(page):
    """Return the reach ids of the list's rows in view, from the top, by their order on screen."""
    page.until("document.querySelectorAll('#list .row').length > 0")
    script = """() => {
        const frame = document.getElementById("list").getBoundingClientRect();
        return [...document.querySelectorAll("#list .row")]
            .map((row) => [row.getBoundingClientRect().top, row.getAttribute("aria-posinset")])
            .filter(([top]) => top >= frame.top - 1).sort((a, b) => a[0] - b[0])
            .map(([, place]) => Number(place));
    }"""
    return page.page.evaluate(script)


def test_a_row_takes_the_map_there(opened, small_page, tables):
    page = opened(small_page)
    wanted = by_rank(tables).iloc[3]
    page.page.locator("#list .row[aria-posinset='4']").click()
    assert page.state()["chosen"] == wanted["reach_id"]
    page.until("window.reachrank.state().zoom > 14")
    place = tables["reaches"].to_crs(4326).set_index("reach_id").geometry[wanted["reach_id"]]
    middle = place.interpolate(0.5, normalized=True)
    page.until(f"Math.abs(window.reachrank.state().centre[0] - {middle.y}) < 0.001")
    latitude, longitude = page.state()["centre"]
    assert longitude == pytest.approx(middle.x, abs=0.001)  # about 80 m, within the window
    assert latitude == pytest.approx(middle.y, abs=0.001)


def test_a_line_lights_up_its_row(opened, small_page, tables):
    page = opened(small_page)
    far_down = by_rank(tables).iloc[120]["reach_id"]
    page.page.mouse.click(*page.page.evaluate(f"window.reachrank.place('{far_down}')"))
    assert page.state()["chosen"] == far_down
    row = page.page.locator("#list .row[aria-selected='true']")
    assert row.count() == 1
    assert row.get_attribute("aria-posinset") == "121"
    frame, box = page.page.locator("#list").bounding_box(), row.bounding_box()
    assert frame["y"] <= box["y"]
    assert box["y"] + box["height"] <= frame["y"] + frame["height"]


def test_a_click_on_empty_ground_changes_nothing(opened, small_page):
    page = opened(small_page)
    before = page.state()["chosen"]
    frame = page.page.locator("#map").bounding_box()
    page.page.mouse.click(frame["x"] + frame["width"] / 2, frame["y"] + frame["height"] - 60)
    assert page.state()["chosen"] == before


def test_filters_leave_what_the_tables_have(opened, small_page, tables):
    page = opened(small_page)
    reaches, repairs = by_rank(tables), tables["repairs"]
    page.page.locator("#more summary").click()

    page.page.locator("#classes label", has_text="quiet").click()
    page.page.locator("#classes label", has_text="keep an eye on").click()
    kept = reaches[reaches["priority_class"].isin(["first", "soon"])]
    page.until(f"window.reachrank.state().shown === {len(kept)}")
    assert page.state()["first"] == kept["reach_id"].iloc[0]

    page.page.locator("#clear").click()
    page.until(f"window.reachrank.state().shown === {len(reaches)}")

    page.page.locator("#stream").select_option(label="</script><script>window.hacked=1</script>")
    on_stream = reaches[reaches["stream_id"] == "S0002"]
    page.until(f"window.reachrank.state().shown === {len(on_stream)}")
    page.page.locator("#clear").click()

    page.page.locator("#kind").select_option(label="built by hand")
    by_hand = set(repairs.loc[repairs["path"] == "hand_built", "reach_ids"])
    assert 0 < len(by_hand) < len(repairs)
    page.until(f"window.reachrank.state().shown === {len(by_hand)}")
    page.page.locator("#kind").select_option(label="nothing found to repair")
    nothing = reaches[~reaches["reach_id"].isin(repairs["reach_ids"])]
    page.until(f"window.reachrank.state().shown === {len(nothing)}")
    page.page.locator("#clear").click()

    page.page.get_by_label("feet").check()
    page.set("#least", "200")
    long_ones = reaches[reaches["repair_length_m"].round(1) >= 200 * FOOT_M]
    assert 0 < len(long_ones) < len(reaches)
    page.until(f"window.reachrank.state().shown === {len(long_ones)}")


def test_search_by_id_and_by_stream_name(opened, small_page, tables):
    page = opened(small_page)
    page.set("#search", "s0003-r0017")
    assert page.state()["shown"] == 1
    assert page.state()["first"] == "S0003-R0017"
    page.set("#search", "hyperlink")
    assert page.state()["shown"] == 50
    page.set("#search", "no such stream")
    assert page.state()["shown"] == 0
    assert page.page.locator("#none").is_visible()


def test_sorting_by_length_of_repair(opened, small_page, tables):
    page = opened(small_page)
    page.set("#order", "repair")
    longest = by_rank(tables).assign(shown=lambda t: t["repair_length_m"].round(1))
    longest = longest.sort_values(["shown", "rank"], ascending=[False, True], kind="stable")
    assert page.state()["first"] == longest["reach_id"].iloc[0]
    texts = page.page.locator("#list .row .facts").all_inner_texts()
    lengths = [float(m.group(1)) for t in texts if (m := re.search(r"repair (\d+) m", t))]
    assert len(lengths) > 3
    assert max(lengths) == pytest.approx(longest["shown"].iloc[0], abs=0.5)


def test_feet_and_metres_say_the_same(opened, small_page, tables):
    page = opened(small_page)
    page.page.locator("#list .row[aria-posinset='1']").click()
    row = by_rank(tables).iloc[0]
    worse = row[f"{row['worst_bank']}_bank_height_m"]
    table = page.page.locator("#place table.banks")
    assert f"{worse:.1f} m" in table.inner_text()
    reason_m = page.page.locator("#place .reason").inner_text()
    page.page.get_by_label("feet").check()
    assert f"{worse / FOOT_M:.1f} ft" in table.inner_text()
    reason_ft = page.page.locator("#place .reason").inner_text()
    metres = float(re.search(r"([\d.]+) m high", reason_m).group(1))
    feet = float(re.search(r"([\d.]+) ft high", reason_ft).group(1))
    assert feet == pytest.approx(metres / FOOT_M, abs=0.05 + 1e-9)  # shown with one decimal
    assert " m " not in page.page.locator("#place table.banks").inner_text()


def test_the_list_by_keyboard_alone(opened, small_page, tables):
    page = opened(small_page)
    order = by_rank(tables)["reach_id"]
    page.page.locator("#list").focus()
    for key, place in (("Home", 0), ("ArrowDown", 1), ("ArrowDown", 2), ("ArrowUp", 1)):
        page.page.keyboard.press(key)
        assert page.state()["chosen"] == order[place]
    page.page.keyboard.press("End")
    assert page.state()["chosen"] == order.iloc[-1]
    active = page.page.locator("#list").get_attribute("aria-activedescendant")
    assert page.page.locator(f"#{active}").get_attribute("aria-selected") == "true"
    page.page.keyboard.press("Enter")
    assert page.page.evaluate("document.activeElement.id") == "place"
    page.page.keyboard.press("/")
    assert page.page.evaluate("document.activeElement.id") == "search"


def test_a_link_to_a_reach_opens_at_it(opened, small_page):
    page = opened(small_page, place="#S0002-R0009")
    assert page.state()["chosen"] == "S0002-R0009"
    assert page.page.locator("#list .row[aria-selected='true']").count() == 1


def test_the_panel_says_what_is_known(opened, small_page, tables):
    page = opened(small_page)
    by_hand = tables["repairs"].loc[tables["repairs"]["path"] == "hand_built", "reach_ids"]
    page.set("#search", by_hand.iloc[0])
    page.page.locator("#list .row").first.click()
    row = tables["reaches"].set_index("reach_id").loc[by_hand.iloc[0]]
    text = page.page.locator("#place").inner_text()
    assert row["reason"] in text
    assert f"between {row['rank_low']} and {row['rank_high']} in 9 of 10 draws" in text
    assert "US$ 1,000 to US$ 2,500" in text
    assert "2.0 to 4.0 tonnes, middle 3.0 tonnes" in text
    assert re.search(r"live stakes\s+120 to 240 stake", text)
    assert re.search(r"coir roll\s+30.5 m", text)
    assert "licensed engineer" in text
    page.page.get_by_label("feet").check()
    text = page.page.locator("#place").inner_text()
    assert re.search(r"coir roll\s+100 ft", text)  # 30.48 m are 100 feet exactly
    assert "2.2 to 4.4 tons" in text  # a short ton is 907.18474 kg


def test_cross_sections_can_be_stepped_through(opened, small_page, tables):
    page = opened(small_page)
    page.page.locator("#list .row[aria-posinset='1']").click()
    assert page.page.locator("#section-drawing svg .toe").count() == 2
    assert page.page.locator("#section-drawing svg .lip").count() == 2
    row = by_rank(tables).iloc[0]
    sections = tables["sections"]
    stations = sorted(sections.loc[sections["reach_id"] == row["reach_id"], "station_m"])
    seen = []
    for _ in stations:
        seen.append(page.page.locator("#section-at").inner_text())
        if page.page.locator("#section-up").is_enabled():
            page.page.locator("#section-up").click()
    assert seen == [
        f"{k + 1} of {len(stations)}, station {station:,.0f} m"
        for k, station in enumerate(stations)
    ]
    assert page.page.locator("#section-up").is_disabled()


def test_the_page_says_what_it_cannot_tell_and_what_was_found(opened, small_page, tables):
    page = opened(small_page)
    page.page.locator("#about-button").click()
    text = page.page.locator("#about").inner_text()
    assert "What is under water" in text
    assert f"Findings: {len(tables['findings'])}" in text
    assert "The channel is 3.0 m wide and four cells across." in text
    assert "1 May 2026, 09:00" in text
    assert "ranked.gpkg" in text
    page.page.keyboard.press("Escape")
    assert not page.page.locator("#about").is_visible()


def test_scrolling_shows_each_row_where_it_belongs(opened, small_page, tables):
    page = opened(small_page)
    page.page.locator("#list").evaluate("node => { node.scrollTop = 60 * 96; }")
    page.until("[...document.querySelectorAll('.row')].some(r => r.ariaPosInSet === '61')")
    places = ids_in_view(page)
    assert places == list(range(places[0], places[0] + len(places)))
    name = page.page.locator("#list .row[aria-posinset='63'] .rank b").inner_text()
    assert int(name) == by_rank(tables)["rank"].iloc[62]
    assert pd.Series(places).is_unique
