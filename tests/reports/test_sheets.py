"""Printed sheets: every unit once, blind ones blind, sizes that fit A4 and Letter."""

from __future__ import annotations

import dataclasses

import pytest

from reports.sheets import LABEL_SIZES, labels, record_sheet, shelf_map
from tests.reports.invented import four_mixes, renamed, two_mixes
from tests.reports.odd_words import NASTY
from tests.reports.page_reader import Page
from trials.reading.columns import bag_columns

SHEETS = {
    "labels": labels, "record sheet": record_sheet, "shelf map": shelf_map,
}  # fmt: skip


def _of(analysis, sheet, **options):
    return SHEETS[sheet](analysis.records.trial, analysis.records.layout, **options)


@pytest.fixture(scope="module")
def blind():
    return two_mixes()


@pytest.fixture(scope="module")
def seen():
    return four_mixes()


@pytest.mark.parametrize("size", LABEL_SIZES)
def test_every_unit_has_one_label(blind, size):
    page = Page(_of(blind, "labels", size=size))
    places = [text for tag, text in page.texts if tag == "p" and "place\u00a01" in text]
    assert places
    assert not [one for one in places if "place 1" in one]
    codes = [text for tag, text in page.texts if text in blind.records.layout.codes and tag == "p"]
    assert sorted(codes) == sorted(blind.records.layout.codes)
    assert len([attrs for attrs in page.all("svg") if attrs.get("role") == "img"]) == 32


@pytest.mark.parametrize("grid", LABEL_SIZES.values(), ids=LABEL_SIZES)
def test_labels_fit_both_papers(grid):
    """ISO 216: A4 is 210 x 297 mm; ANSI Letter is 215.9 x 279.4 mm; margins of 10 mm."""
    assert grid.columns >= 2
    assert grid.columns * grid.width <= 210 - 20
    assert grid.rows * grid.height + 4 <= 279.4 - 20
    assert 1 <= grid.first_rows <= grid.rows


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_blind_trial_shows_no_treatment(blind, seen, sheet):
    hidden = Page(_of(blind, sheet)).text
    names = [one.name for one in blind.records.trial.treatments]
    assert not any(name in hidden for name in names)
    shown = Page(_of(seen, sheet)).text
    if sheet == "labels":
        assert all(one.name in shown for one in seen.records.trial.treatments)
    if sheet == "shelf map":
        assert "Soya hulls 20 %" in shown


def test_no_code_of_a_treatment_stands_on_a_blind_record_sheet(blind):
    page = Page(_of(blind, "record sheet"))
    places = [text for tag, text in page.texts if tag == "span"]
    assert not any(text.strip().endswith((", B", ", O")) for text in places)


def test_an_unknown_size_is_refused(blind):
    with pytest.raises(ValueError, match="no label size"):
        _of(blind, "labels", size="1x1")


def test_the_record_sheet_has_the_columns_of_the_record_book(blind):
    trial = blind.records.trial
    text = Page(_of(blind, "record sheet")).text
    for column in bag_columns(trial):
        if not column.given:
            assert column.titled(trial.weights) in text


def test_the_record_sheet_has_a_row_a_unit_in_every_part(blind):
    page = Page(_of(blind, "record sheet"))
    rows = [attrs for attrs in page.all("th") if attrs.get("scope") == "row"]
    assert len(rows) == 2 * 32


def test_many_flushes_go_over_several_tables():
    analysis = two_mixes()
    trial = dataclasses.replace(analysis.records.trial, flushes=9)
    page = Page(record_sheet(trial, analysis.records.layout))
    assert len(page.all("table")) == 1 + 3
    assert "flush 9 (g)" in page.text


def test_the_map_shows_every_block_and_place_in_order(blind):
    text = Page(_of(blind, "shelf map")).text
    layout = blind.records.layout
    places = [text.index(code) for code in layout.codes]
    assert places == sorted(places)
    assert all(block in text for block in layout.blocks)


@pytest.mark.parametrize("sheet", SHEETS)
def test_sheets_need_nothing_from_elsewhere_and_are_marked(blind, sheet):
    page = Page(_of(blind, sheet))
    assert page.unclosed == []
    assert not page.all("script")
    assert not page.all("link")
    assert all("style" not in attrs for _, attrs in page.elements)
    assert "Invented data" in page.text
    assert "@page" in _of(blind, sheet)


def test_cautions_stand_where_they_are_due(blind):
    wet = Page(_of(blind, "record sheet")).text
    assert all(word in wet for word in ("Mould.", "Spores.", "Knives and wet floors."))
    assert "Lifting." in Page(_of(blind, "shelf map")).text


@pytest.mark.parametrize("name", NASTY.values(), ids=NASTY)
@pytest.mark.parametrize("sheet", SHEETS)
def test_whatever_the_grower_writes_is_only_text(name, sheet):
    analysis = renamed(four_mixes(), N=name)
    trial = dataclasses.replace(analysis.records.trial, title=name, unit=name)
    page = Page(SHEETS[sheet](trial, analysis.records.layout))
    assert page.unclosed == []
    assert not page.all("script")
