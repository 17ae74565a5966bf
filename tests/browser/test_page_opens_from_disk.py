"""The page opens from disk, fetches nothing, and takes no text for markup, script or formula."""

from __future__ import annotations

import csv
import io

import pytest
from ranked_tables import HOSTILE_NAMES, ranked_tables, save_page

pytestmark = pytest.mark.browser


def test_it_opens_without_a_complaint_and_without_a_request(opened, small_page):
    page = opened(small_page)
    page.until("document.querySelectorAll('#list .row').length > 3")
    assert page.complaints == []
    asked = [url for url in page.requests if not url.startswith("data:")]
    assert asked == [small_page.as_uri()]


def test_a_script_that_the_page_does_not_name_is_not_run(opened, small_page):
    page = opened(small_page)
    page.page.evaluate(
        """() => {
            const script = document.createElement("script");
            script.textContent = "window.intruder = 1";
            document.body.append(script);
            const image = document.createElement("div");
            image.innerHTML = "<img src=x onerror='window.intruder = 1'>";
            document.body.append(image);
        }"""
    )
    page.until("true")
    assert page.page.evaluate("window.intruder") is None
    assert any("Content Security Policy" in text for text in page.complaints)


def test_a_harmful_name_is_shown_as_the_text_it_is(opened, tmp_path, tables):
    path = save_page(tables, tmp_path / "page.html", title="<img src=x onerror=window.hacked=1>")
    page = opened(path)
    for name in HOSTILE_NAMES[:3]:
        page.set("#search", name)
        assert page.page.locator("#list .row .name b").first.inner_text() == name
        page.page.locator("#list .row").first.click()
        assert page.page.locator("#place h2 span").first.inner_text() == name
    page.set("#search", "")
    options = page.page.locator("#stream option").all_text_contents()
    assert set(HOSTILE_NAMES[:3]) <= set(options)
    assert page.page.locator("#title").inner_text() == "<img src=x onerror=window.hacked=1>"
    assert page.page.locator("#list img, #place img, header img").count() == 0
    assert page.page.evaluate("window.hacked") is None
    assert page.complaints == []


def test_the_copied_list_is_csv_that_a_spreadsheet_takes_for_text(browser, opened, small_page):
    page = opened(small_page, permissions=["clipboard-read", "clipboard-write"])
    page.set("#search", HOSTILE_NAMES[2])
    page.page.locator("#copy").click()
    page.until("document.getElementById('said').textContent.includes('copied')")
    rows = list(csv.DictReader(io.StringIO(page.page.evaluate("navigator.clipboard.readText()"))))
    assert len(rows) == page.state()["shown"] == 50  # reaches by stream
    assert {row["stream_name"] for row in rows} == {"'" + HOSTILE_NAMES[2]}
    assert [int(row["rank"]) for row in rows] == sorted(int(row["rank"]) for row in rows)
    assert all(row["reason"].startswith("Outside of a bend") for row in rows)


def test_no_harm_from_ids_findings_and_materials(opened, tmp_path):
    harm = "</script><img src=x onerror=window.hacked=1>"
    tables = ranked_tables(60, names=(harm,))
    tables["findings"]["text"] = harm
    tables["materials"]["item"] = harm
    tables["reaches"]["reason"] = harm
    tables["exposures"]["structure_class"] = harm
    tables["repairs"]["path_reasons"] = harm
    page = opened(save_page(tables, tmp_path / "page.html"))
    page.set("#kind", "0") if page.page.locator("#kind").is_visible() else None
    page.page.locator("#list .row").nth(1).click()
    page.page.locator("#about-button").click()
    assert harm in page.page.locator("#about").inner_text()
    assert harm in page.page.locator("#place").inner_text()
    assert page.page.evaluate("window.hacked") is None
    assert page.complaints == []
