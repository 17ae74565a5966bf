"""Take the picture of the priority page: docs/images/map_page.png.

    python scripts/make_map_picture.py RANKED.gpkg DEM [PICTURE.png]

Makes the page of a ranked file, opens it in Chromium and chooses the first bank, as a person
would. Needs the extra [browser] and a Chromium: scripts/install_viewers.sh.
"""

import io
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

WIDTH_PX, HEIGHT_PX = 1440, 940
MOST_BYTES = 400_000
TITLE = "Ostermere County: failing stream banks"


def take(ranked: Path, dem: Path, picture: Path) -> None:
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        page_file = Path(folder) / "priority.html"
        subprocess.run(
            [sys.executable, "-m", "reachrank", "map", ranked, "--dem", dem, "--out", page_file,
             "--title", TITLE, "--progress", "none"],
            check=True,
        )  # fmt: skip
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_context(
            offline=True, viewport={"width": WIDTH_PX, "height": HEIGHT_PX}
        ).new_page()
        page.goto(page_file.as_uri())
        while not page.evaluate("window.ready === true && window.reachrank.state().hasRelief"):
            time.sleep(0.05)
        page.locator("#list .row").nth(1).click()
        time.sleep(1.5)  # the map moves there
        shot = page.screenshot()
        browser.close()
    image = Image.open(io.BytesIO(shot)).convert("RGB")
    picture.parent.mkdir(parents=True, exist_ok=True)
    for colours in (256, 128, 64):  # a palette keeps letters sharp and the file small
        image.quantize(colours, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
            picture, optimize=True
        )
        if picture.stat().st_size < MOST_BYTES:
            break


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    target = sys.argv[3] if len(sys.argv) == 4 else "docs/images/map_page.png"
    take(Path(sys.argv[1]), Path(sys.argv[2]), Path(target))
