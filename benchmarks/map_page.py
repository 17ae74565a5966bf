"""How large the page is, how long it takes to make, how soon it can be used.

    python benchmarks/map_page.py                        20,000 made reaches
    python benchmarks/map_page.py RANKED.gpkg [DEM...]   a ranked file

The browser's part is left out where Playwright or Chromium is missing.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
from ranked_tables import ranked_tables

from reachrank.page import make_page
from reachrank.page.places import working_crs
from reachrank.read.tables import read_tables
from reachrank.resume import inputs_of, open_dem
from reachrank.write.run_info import value_of

MANY = 20_000
LONGEST_S = 2.0  # where all reaches are of one stream, nothing is left out


def make(arguments: list[str], path: Path) -> None:
    began = time.perf_counter()
    ground = None
    if arguments:
        tables = read_tables(arguments[0])
        if arguments[1:]:
            inputs = inputs_of(value_of(tables["run_info"], "inputs"))
            inputs = replace(inputs, dem=tuple(arguments[1:]))
            ground = open_dem(inputs, working_crs(tables), jobs=1)
    else:
        tables = ranked_tables(MANY)
    print(f"tables               {time.perf_counter() - began:8.2f} s")
    began = time.perf_counter()
    page = make_page(tables, source_name="ranked.gpkg", made="today", ground=ground)
    path.write_text(page.html, encoding="utf-8")
    print(f"page                 {time.perf_counter() - began:8.2f} s")
    print(f"reaches              {page.reaches:8,}, {page.in_detail:,} in detail")
    print(f"pictures of ground   {page.tiles:8,} of {page.tiles_wanted:,}")
    print(f"size                 {page.size_bytes / 1e6:8.2f} MB")


def look(path: Path) -> None:
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415  (may be missing)
    except ImportError:
        chromium = None
    if chromium is None:
        print("no Chromium or Playwright: not opened")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        took = []
        for _ in range(3):
            page = browser.new_context(offline=True).new_page()
            began = time.perf_counter()
            page.goto(path.as_uri())
            while not page.evaluate("window.ready === true"):
                time.sleep(0.01)
            took.append(time.perf_counter() - began)
        print(f"usable in a browser  {min(took):8.2f} s (least of 3)")
        name = page.locator("#list .row .name b").first.inner_text()
        began = time.perf_counter()
        page.locator("#order").select_option("height")
        page.locator("#search").fill(name)
        while page.locator("#clear").is_hidden() and time.perf_counter() - began < LONGEST_S:
            time.sleep(0.01)
        print(f"sorting and search   {time.perf_counter() - began:8.2f} s")
        browser.close()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "page.html"
        make(sys.argv[1:], target)
        look(target)
