"""Sheets on paper: the last line of a table or map stands inside the paper's margin."""

from __future__ import annotations

import pytest

from reports.sheets import record_sheet, shelf_map
from reports.sheets.calendar_sheet import calendar_sheet
from tests.reports.chromium import NEEDS_CHROMIUM, chromium
from tests.reports.invented import two_mixes

pytestmark = NEEDS_CHROMIUM

SHEETS = {
    "record sheet": lambda trial, layout: record_sheet(trial, layout),
    "map": lambda trial, layout: shelf_map(trial, layout),
    "calendar": lambda trial, layout: calendar_sheet(trial),
}


@pytest.fixture(scope="module")
def page():
    with chromium() as browser:
        one = browser.new_page(viewport={"width": 700, "height": 1000})
        one.emulate_media(media="print")
        yield one


@pytest.mark.parametrize("name", SHEETS)
def test_no_line_stands_where_the_margin_begins(page, name, tmp_path):
    records = two_mixes().records
    place = tmp_path / "sheet.html"
    place.write_text(SHEETS[name](records.trial, records.layout), encoding="utf-8")
    page.goto(place.as_uri())
    rights = page.evaluate(
        "[...document.querySelectorAll('table, .shelf ol')]"
        ".map(one => one.getBoundingClientRect().right)"
    )
    assert rights
    # A collapsed border stands half outside its table: 0.35 mm are 1.3 dots.
    assert max(rights) <= 700 - 1
