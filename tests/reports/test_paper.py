"""The page on paper: how many sheets it takes, and nothing cut off."""

from __future__ import annotations

import re

import pytest

from reports.page import to_html
from tests.reports.chromium import NEEDS_CHROMIUM, chromium
from tests.reports.stories import story_report

pytestmark = NEEDS_CHROMIUM
STORIES = ("mixes", "shortcut", "flushes")
MOST, MOST_BEFORE_NUMBERS = 14, 9
INNER = 180 * 96 / 25.4
"""What is left of the width of A4 between the margins, in dots of the style sheet."""


@pytest.fixture(scope="module")
def browser():
    with chromium() as started:
        yield started


@pytest.fixture(scope="module", params=STORIES)
def page(request, browser, tmp_path_factory):
    place = tmp_path_factory.mktemp("paper") / f"{request.param}.html"
    place.write_text(to_html(story_report(request.param)), encoding="utf-8")
    page = browser.new_page(viewport={"width": int(INNER), "height": 1000})
    page.goto(place.as_uri())
    yield page
    page.close()


def sheets(page):
    return len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format="A4")))


def test_nothing_is_wider_than_the_paper(page):
    page.emulate_media(media="print")
    wide = page.evaluate(
        "[...document.querySelectorAll('figure, table, svg, p, li, aside')]"
        ".map(one => [one.tagName, one.getBoundingClientRect().right])"
        ".filter(([, right]) => right > innerWidth + 1)"
    )
    page.emulate_media(media="null")
    assert wide == []


def test_a_figure_and_its_caption_stay_on_one_sheet(page):
    page.emulate_media(media="print")
    kept = page.evaluate(
        "[...document.querySelectorAll('figure')].map(one => getComputedStyle(one).breakInside)"
    )
    page.emulate_media(media="null")
    assert set(kept) == {"avoid"}


def test_it_takes_few_sheets_and_the_numbers_come_after_the_main_part(page):
    assert sheets(page) <= MOST
    page.evaluate(
        "for (const id of ['statistician', 'cautions']) document.getElementById(id)?.remove()"
    )
    assert sheets(page) <= MOST_BEFORE_NUMBERS
