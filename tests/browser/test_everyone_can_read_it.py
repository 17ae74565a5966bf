"""Names for all controls, contrast, keyboard, phone, print.

The judge of names, roles and contrast is axe-core, by the rules of WCAG 2.1, levels A and AA.
"""

from __future__ import annotations

import re

import pytest

pytestmark = pytest.mark.browser
LETTER_PX = 816 - 2 * 45  # US Letter at 96 px to the inch, less the margins of 12 mm


def faults(page, where=None):
    from axe_playwright_python.sync_playwright import Axe

    options = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}
    found = Axe().run(page.page, context=where, options=options).response["violations"]
    return [
        f"{fault['id']}: {node['target']} {node['failureSummary']}"
        for fault in found
        for node in fault["nodes"]
    ]


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1024, 768), (390, 800)])
def test_axe_finds_no_fault(opened, small_page, width, height):
    page = opened(small_page, width=width, height=height)
    page.page.locator("#more summary").click()
    page.page.locator("#list .row").first.click()
    for view in ("list", "map", "place"):
        if width < 700:
            page.page.locator(f".views button[data-to={view}]").click()
        assert faults(page) == []


def test_axe_finds_no_fault_in_what_it_says_of_itself(opened, small_page):
    page = opened(small_page)
    page.page.locator("#about-button").click()
    assert faults(page, "#about") == []


def test_every_control_is_reached_by_the_tab_key(opened, small_page):
    page = opened(small_page)
    page.page.locator("#more summary").click()
    page.page.evaluate("document.activeElement.blur()")
    wanted = page.page.evaluate(
        """() => [...document.querySelectorAll(
            "button, input, select, summary, a[href], [tabindex='0']")]
            .filter((n) => n.checkVisibility({ visibilityProperty: true }) && !n.disabled)
            .filter((n) => n.type !== "radio" || n.checked)
            .map((n, i) => { n.dataset.stop = i; return i; })"""
    )
    seen = set()
    for _ in range(len(wanted) + 10):
        page.page.keyboard.press("Tab")
        stop = page.page.evaluate("document.activeElement && document.activeElement.dataset.stop")
        if stop is not None:
            seen.add(int(stop))
            width = page.page.evaluate(
                """() => { const n = document.activeElement;
                    const shown = n.matches(".switch input") ? n.nextElementSibling
                        : n.matches(".chip input") ? n.parentElement : n;
                    return parseFloat(getComputedStyle(shown).outlineWidth); }"""
            )
            assert width >= 2  # one sees where one is
    assert seen == set(wanted)


def test_on_a_phone_one_thing_fills_the_screen(opened, small_page):
    page = opened(small_page, width=390, height=800, has_touch=True, is_mobile=True)
    assert page.page.evaluate("document.documentElement.scrollWidth") <= 390
    page.page.locator("#list .row").nth(2).tap()
    assert page.page.locator("#place h2").is_visible()
    page.page.locator(".views button[data-to=map]").tap()
    assert not page.page.locator("#place h2").is_visible()
    chosen = page.state()["chosen"]
    page.until("document.getElementById('map').clientHeight > 300")
    page.page.locator("#peek").tap()
    assert page.page.locator("#place h2").is_visible()
    page.page.get_by_role("button", name="Back to the list").tap()
    assert page.page.locator("#list").is_visible()
    assert page.state()["chosen"] == chosen
    for selector in (".views button", "#list .row"):
        box = page.page.locator(selector).first.bounding_box()
        assert box["height"] >= 44  # a thumb's width, WCAG 2.1 target size (enhanced)


def test_a_finger_need_not_hit_the_line_itself(opened, small_page):
    page = opened(small_page, width=390, height=800, has_touch=True, is_mobile=True)
    page.page.locator("#list .row").first.tap()
    page.page.locator(".views button[data-to=map]").tap()
    page.until("document.getElementById('map').clientHeight > 300")
    page.until("window.reachrank.state().zoom > 14")
    wanted = page.state()["chosen"]
    page.page.locator(".leaflet-control-zoom-in").tap()
    page.until("true")
    x, y = page.page.evaluate(f"window.reachrank.place('{wanted}')")
    page.page.touchscreen.tap(x, y + 14)
    assert page.state()["chosen"] == wanted


def test_print_fits_the_paper(opened, small_page):
    page = opened(small_page, width=LETTER_PX)
    page.page.emulate_media(media="print")
    page.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    too_wide = page.page.evaluate(
        f"""() => [...document.querySelectorAll("body *")]
            .filter((n) => n.checkVisibility() && !n.closest("#map, dialog, .unseen"))
            .filter((n) => n.getBoundingClientRect().right > {LETTER_PX} + 1)
            .map((n) => n.tagName + "." + n.className)"""
    )
    assert too_wide == []
    rows = page.page.locator("#sheet tbody tr").count()
    assert rows == 40
    assert "110 more are not printed" in page.page.locator("#sheet").inner_text()
    assert not page.page.locator("#filters").is_visible()
    assert page.page.locator("#map").bounding_box()["width"] <= LETTER_PX
    page.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.page.locator("#sheet tbody tr").count() == 0


def test_the_printed_sheet_is_a_few_pages(opened, small_page):
    page = opened(small_page)
    sheet = page.page.pdf(format="Letter")
    pages = len(re.findall(rb"/Type\s*/Page\b", sheet))
    assert 2 <= pages <= 8
    assert page.complaints == []
