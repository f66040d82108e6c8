"""Take the pictures of the README: run from the top of the checkout, needs Chromium.

Runs the demos `mixes` and `group` into a folder that is thrown away, and photographs what a reader
sees first: a sheet of labels, the record sheet, and the answers on the two pages.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from pinset.cli import main as run

HERE = Path(__file__).resolve().parent
CHROMIUM = next(found for name in ("chromium", "chromium-browser") if (found := shutil.which(name)))
SHOTS = {  # picture: page in the folder of the demos, width, height in CSS pixels
    "labels": ("mixes/print/labels-63x38.html", 900, 400),
    "answer": ("mixes/report/report.html", 900, 1260),
    "group": ("group/group-report/report.html", 900, 1420),
}


def main() -> None:
    """Run the demos and write the pictures beside this file."""
    with tempfile.TemporaryDirectory() as made:
        for story in ("mixes", "group"):
            run(["demo", f"{made}/{story}", "--story", story])
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            for name, (where, width, height) in SHOTS.items():
                page = browser.new_page(viewport={"width": width, "height": height})
                page.goto((Path(made) / where).as_uri())
                save(page.screenshot(), HERE / f"{name}.png")
            browser.close()


def save(shot: bytes, path: Path) -> None:
    """Write a picture in 128 colours, which flat pages do not miss."""
    picture = Image.open(io.BytesIO(shot)).convert("RGB").quantize(128, dither=Image.Dither.NONE)
    picture.save(path, optimize=True)


if __name__ == "__main__":
    main()
