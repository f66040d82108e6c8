"""Pages in Chromium: phone to desk, light and dark, on paper, without a script or a request."""

from __future__ import annotations

import shutil

import pytest

from reports.page import to_html
from reports.report import write_report
from reports.sheets import LABEL_SIZES, labels, record_sheet, shelf_map
from tests.reports.invented import four_mixes, one_batch_a_side, renamed, shortcut, two_mixes

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe_api = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe")

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None
)
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed"),
]
QUIET = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync")  # fmt: skip
WIDTHS = (360, 820, 1280)


def _long():
    return renamed(
        two_mixes(title="<b>" + "w" * 200, question="bran " * 80, unit="grow bucket"),
        O="b" * 300, B="נסורת 🍄 " * 20,
    )  # fmt: skip


REPORTS = {
    "two mixes": two_mixes, "four mixes": four_mixes, "one batch": one_batch_a_side,
    "shortcut": shortcut, "long names": _long,
}  # fmt: skip


def _sheet(sheet, **options):
    analysis = four_mixes()
    return sheet(analysis.records.trial, analysis.records.layout, **options)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    made = {name: to_html(write_report(trial())) for name, trial in REPORTS.items()}
    made |= {f"labels {size}": _sheet(labels, size=size) for size in LABEL_SIZES}
    made |= {"record sheet": _sheet(record_sheet), "shelf map": _sheet(shelf_map)}
    for name, html in made.items():
        (folder / f"{name}.html").write_text(html, encoding="utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in made}


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield chromium
        chromium.close()


NAMES = [*REPORTS, "labels 38x21", "record sheet", "shelf map"]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", NAMES)
def test_the_page_fits_and_is_silent(browser, pages, name, width):
    page = browser.new_page(viewport={"width": width, "height": 800})
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(pages[name])
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    wide = page.evaluate("document.documentElement.scrollWidth")
    page.close()
    assert wide <= width
    assert said == []
    assert asked == [pages[name]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_serious_fault(browser, pages, name, scheme):
    # The page forbids all script; the checker's own is let past the policy.
    context = browser.new_context(color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(pages[name])
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    found = axe_api.Axe().run(page).response["violations"]
    context.close()
    grave = [
        f"{one['id']}: {one['nodes'][0]['html'][:200]}"
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
    assert grave == []


def test_the_keyboard_reaches_answer_contents_and_details(browser, pages):
    # The browser follows a key in its own time: each step waits until its outcome is seen.
    page = browser.new_page(viewport={"width": 820, "height": 800})
    page.goto(pages["two mixes"])
    page.keyboard.press("Tab")
    page.wait_for_function("document.activeElement.className == 'skip'")
    page.wait_for_function("document.activeElement.getBoundingClientRect().left >= 0")
    page.keyboard.press("Enter")
    page.wait_for_function("location.hash == '#answer'")
    page.keyboard.press("Tab")
    page.wait_for_function("document.activeElement.tagName == 'SUMMARY'")
    page.keyboard.press("Enter")
    page.wait_for_function(
        "document.querySelector('.contents details').open"
        " && document.querySelector('.contents details a').getBoundingClientRect().height > 0"
    )
    page.keyboard.press("Tab")
    page.wait_for_function("document.activeElement.hash == '#picture'")
    page.keyboard.press("Enter")
    page.wait_for_function("location.hash == '#picture'")
    page.close()


def test_dark_pages_are_dark_pictures_too(browser, pages):
    context = browser.new_context(color_scheme="dark")
    page = context.new_page()
    page.goto(pages["two mixes"])
    paper, sheet = (
        page.evaluate(f"getComputedStyle(document.querySelector('{part}')).{value}")
        for part, value in (("body", "backgroundColor"), ("svg path", "fill"))
    )
    context.close()
    assert paper == sheet == "rgb(22, 24, 27)"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", NAMES)
def test_it_prints(browser, pages, name, paper):
    page = browser.new_page()
    page.goto(pages[name])
    pdf = page.pdf(format=paper)
    page.close()
    assert pdf.startswith(b"%PDF")
    assert len(pdf) > 5000


@pytest.mark.parametrize("name", REPORTS)
def test_no_picture_is_wider_or_higher_than_a_printed_page(browser, pages, name):
    # What is left of A4 by Letter inside the page's margins: 180 mm by 245 mm.
    wide, high = 180 * 96 / 25.4, 245 * 96 / 25.4
    page = browser.new_page(viewport={"width": int(wide), "height": int(high)})
    page.goto(pages[name])
    page.emulate_media(media="print")
    boxes = page.evaluate(
        "[...document.querySelectorAll('figure')].map(one => one.getBoundingClientRect())"
        ".map(box => [box.right, box.height])"
    )
    page.close()
    assert boxes
    assert all(right <= wide + 1 and height <= high for right, height in boxes)


@pytest.mark.parametrize("size", LABEL_SIZES)
def test_labels_are_as_large_as_they_say_and_hold_their_words(browser, pages, size):
    page = browser.new_page(viewport={"width": 1000, "height": 800})
    page.goto(pages[f"labels {size}"])
    page.emulate_media(media="print")
    boxes = page.evaluate(
        "[...document.querySelectorAll('.label')].map(one => { const box = "
        "one.getBoundingClientRect(), code = one.querySelector('.code').getBoundingClientRect();"
        "return [box.width, box.height, box.right - code.right, code.width] })"
    )
    page.close()
    grid, dots = LABEL_SIZES[size], 96 / 25.4
    assert len(boxes) == 24
    for width, height, spare, code in boxes:
        assert width == pytest.approx(grid.width * dots, abs=0.6)
        assert height == pytest.approx(grid.height * dots, abs=0.6)
        assert spare >= 0
        assert code > 0
