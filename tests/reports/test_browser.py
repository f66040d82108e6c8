"""Pages in Chromium: phone to desk, light and dark, on paper, without a script or a request.

The real pages of all stories, one whose texts are as bad as can be, and the sheets. A page is
loaded once for each kind of test. Nothing is looked at right after a key or a new width: a test
waits for the outcome, since the browser follows in its own time.
"""

from __future__ import annotations

import re

import pytest

from reports.page import to_html
from reports.report import write_report
from reports.sheets import LABEL_SIZES, labels, record_sheet, shelf_map
from tests.reports.accessible import grave_faults, grave_faults_of_every_text
from tests.reports.chromium import NEEDS_CHROMIUM, chromium
from tests.reports.invented import four_mixes, renamed, two_mixes
from tests.reports.stories import STORIES, invented_report, story_report

pytestmark = NEEDS_CHROMIUM
WIDTHS = (360, 820, 1280)


def _long():
    return renamed(
        two_mixes(title="<b>" + "w" * 200, question="bran " * 80, unit="grow bucket"),
        O="b" * 300, B="נסורת 🍄 " * 20,
    )  # fmt: skip


REPORTS = {
    **{name: (lambda name=name: story_report(name)) for name in STORIES},
    "one batch": lambda: invented_report("one_batch_a_side"),
    "long names": lambda: write_report(_long()),
}  # fmt: skip
NAMES = [*REPORTS, "labels 38x21", "record sheet", "shelf map"]
UNFOLD = "document.querySelectorAll('details').forEach(one => one.open = true)"


def _sheet(sheet, **options):
    analysis = four_mixes()
    return sheet(analysis.records.trial, analysis.records.layout, **options)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    made = {name: to_html(report()) for name, report in REPORTS.items()}
    made |= {f"labels {size}": _sheet(labels, size=size) for size in LABEL_SIZES}
    made |= {"record sheet": _sheet(record_sheet), "shelf map": _sheet(shelf_map)}
    for name, html in made.items():
        (folder / f"{name}.html").write_text(html, encoding="utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in made}


@pytest.fixture(scope="module")
def browser():
    with chromium() as started:
        yield started


@pytest.fixture
def page(browser):
    """A page that is closed again; patient, as many tests may run at once."""
    context = browser.new_context(viewport={"width": 820, "height": 800})
    context.set_default_timeout(60_000)
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("name", NAMES)
def test_the_page_fits_every_width_and_is_silent(page, pages, name):
    said, asked = [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(pages[name])
    page.evaluate(UNFOLD)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        page.wait_for_function("wide => window.innerWidth === wide", arg=width)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert said == []
    assert asked == [pages[name]]


@pytest.fixture
def open_page(browser):
    """A page with all policy of scripts set aside: it forbids all, the checker's own included."""
    context = browser.new_context(bypass_csp=True)
    context.set_default_timeout(60_000)
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_serious_fault_in_light_or_dark(open_page, pages, name):
    open_page.goto(pages[name])
    open_page.evaluate(UNFOLD)
    assert grave_faults(open_page) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_serious_fault_at_any_text(open_page, pages, name):
    open_page.goto(pages[name])
    open_page.evaluate(UNFOLD)
    assert grave_faults_of_every_text(open_page) == []


def test_axe_sees_one_pale_text_among_all(open_page, pages):
    """Two cells of a table have the colour of a rule, too pale for words, in one scheme each."""
    open_page.goto(pages["one batch"])
    open_page.evaluate(UNFOLD)
    for place, scheme in enumerate(("light", "dark"), start=1):
        pale = f".pale-{scheme} {{ color: var(--rule) }}"
        open_page.add_style_tag(content=f"@media (prefers-color-scheme: {scheme}) {{ {pale} }}")
        words = "[...document.querySelectorAll('td')].filter(one => one.innerText.length > 3)"
        open_page.evaluate(f"{words}.at({-3 * place}).classList.add('pale-{scheme}')")
    first, second = grave_faults(open_page)
    assert first.startswith("light color-contrast: <td")
    assert second.startswith("dark color-contrast: <td")


def test_the_keyboard_reaches_answer_contents_and_details(page, pages):
    page.goto(pages[STORIES[0]])
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


@pytest.mark.parametrize("name", STORIES)
def test_the_keyboard_reaches_everything_in_order(page, pages, name):
    """Every link, every unfolding part and every table that scrolls, by Tab alone."""
    page.goto(pages[name])
    page.evaluate(UNFOLD)
    # Each is numbered in the order of the page; the browser says when focus has come to it.
    count = page.evaluate(
        "[...document.querySelectorAll('a[href], summary, [tabindex]')]"
        ".map((one, place) => one.setAttribute('data-place', place)).length"
    )
    assert count > 15
    for place in range(count):
        page.keyboard.press("Tab")
        page.wait_for_function(
            "place => document.activeElement.getAttribute('data-place') == place", arg=place
        )


def test_every_part_unfolds_and_folds_by_key(page, pages):
    page.goto(pages[STORIES[0]])
    for part in page.query_selector_all("main > section > details > summary"):
        part.focus()
        for key, state in (("Enter", "true"), ("Space", "false")):
            page.keyboard.press(key)
            page.wait_for_function(f"one => one.parentElement.open === {state}", arg=part)


@pytest.mark.parametrize("name", STORIES)
def test_dark_pages_are_dark_pictures_too_and_their_words_can_be_read(page, pages, name):
    """Contrast of 4.5 to 1 (WCAG 2.2, 1.4.3), which axe does not look at inside pictures.

    Words in the colour of the paper stand on shapes; those are held in test_figures.
    """
    page.goto(pages[name])
    for scheme, paper in (("dark", "rgb(22, 24, 27)"), ("light", None)):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_function(f"matchMedia('(prefers-color-scheme: {scheme})').matches")
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        sheet = page.evaluate("getComputedStyle(document.querySelector('svg path')).fill")
        assert ground == sheet == (paper or ground)
        inks = page.evaluate(
            "[...new Set([...document.querySelectorAll('svg text')]"
            ".filter(one => /[\\p{L}\\d]/u.test(one.textContent))"
            ".map(one => getComputedStyle(one).fill))]"
        )
        assert len(inks) >= 2
        assert [ink for ink in inks if ink != ground and _contrast(ink, ground) < 4.5] == []


def _contrast(first, second):
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour):
    """Relative luminance, as WCAG 2.2 defines it."""
    shares = [int(one) / 255 for one in re.findall(r"\d+", colour)[:3]]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in shares]
    return sum(weight * one for weight, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_it_prints_on_both_papers(page, pages, name):
    page.goto(pages[name])
    for paper in ("A4", "Letter"):
        pdf = page.pdf(format=paper)
        assert pdf.startswith(b"%PDF")
        assert len(pdf) > 5000


@pytest.mark.parametrize("name", REPORTS)
def test_no_picture_is_clipped_on_a_printed_page(page, pages, name):
    """Each fits what is left of A4 by Letter inside the margins, and is kept on one page."""
    wide, high = 180 * 96 / 25.4, 245 * 96 / 25.4
    page.set_viewport_size({"width": int(wide), "height": int(high)})
    page.goto(pages[name])
    page.emulate_media(media="print")
    page.wait_for_function("matchMedia('print').matches")
    boxes = page.evaluate(
        "[...document.querySelectorAll('figure')].map(one => { const box = "
        "one.getBoundingClientRect(), inner = one.querySelector('svg').getBoundingClientRect();"
        "return [box.right, box.height, inner.right - box.right, inner.bottom - box.bottom,"
        " getComputedStyle(one).breakInside] })"
    )
    assert boxes
    for right, height, spill, below, kept in boxes:
        assert right <= wide + 1
        assert height <= high
        assert max(spill, below) <= 0.5
        assert kept == "avoid"


@pytest.mark.parametrize("size", LABEL_SIZES)
def test_labels_are_as_large_as_they_say_and_hold_their_words(page, pages, size):
    page.set_viewport_size({"width": 1000, "height": 800})
    page.goto(pages[f"labels {size}"])
    page.emulate_media(media="print")
    boxes = page.evaluate(
        "[...document.querySelectorAll('.label')].map(one => { const box = "
        "one.getBoundingClientRect(), code = one.querySelector('.code').getBoundingClientRect();"
        "return [box.width, box.height, box.right - code.right, code.width] })"
    )
    grid, dots = LABEL_SIZES[size], 96 / 25.4
    assert len(boxes) == 24
    for width, height, spare, code in boxes:
        assert width == pytest.approx(grid.width * dots, abs=0.6)
        assert height == pytest.approx(grid.height * dots, abs=0.6)
        assert spare >= 0
        assert code > 0
