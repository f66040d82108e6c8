"""Cells: what growers write is read, what can be read in two ways is refused."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trials.reading.cells import is_blank, read_count, read_date, read_fate, read_weight


@pytest.mark.parametrize(
    ("cell", "unit", "grams"),
    [
        (412, "g", 412.0),
        (0, "g", 0.0),
        ("0", "g", 0.0),
        ("412 g", "oz", 412.0),
        ("0,41 kg", "g", 410.0),
        ("1,5", "kg", 1500.0),
        ("1.5kg", "g", 1500.0),
        ("0,250", "kg", 250.0),
        ("1.250", "kg", 1250.0),
        # NIST Handbook 44, appendix C: 1 oz = 28.349523125 g, 1 lb = 453.59237 g.
        ("2 oz", "g", 56.69904625),
        ("1 lb", "g", 453.59237),
        ("1 lb 3 oz", "g", 453.59237 + 3 * 28.349523125),
        ("2 lbs and 1.5 ounces", "g", 2 * 453.59237 + 1.5 * 28.349523125),
        (" 12 Ounces ", "g", 12 * 28.349523125),
    ],
)
def test_weights_are_read(cell: object, unit: str, grams: float) -> None:
    reading = read_weight(cell, unit)
    assert reading.what == ""
    assert reading.value == pytest.approx(grams, rel=1e-12)


@pytest.mark.parametrize("cell", [None, "", "  ", "-", "–", "n/a", float("nan"), "\t\u200b"])
def test_blank_is_not_zero(cell: object) -> None:
    assert is_blank(cell)
    assert read_weight(cell, "g").value is None
    assert read_weight(cell, "g").what == ""
    assert read_date(cell).value is None


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("about 400", "not a weight"),
        ("400?", "not a weight"),
        ("-5", "less than nothing"),
        (-5, "less than nothing"),
        ("1,250", "two ways|can be read as 1250 and as 1.25"),
        ("1.234.567", "more than one mark"),
        ("5 stone", "unit that is not known"),
        ("2000 kg", "more than a tonne"),
        (float("inf"), "more than a tonne"),
        ("1e3", "not a weight|unit that is not known"),
        (True, "not a weight"),
        (dt.date(2026, 3, 1), "not a weight"),
        ("=2+3", "not a weight"),
    ],
)
def test_weights_that_are_refused(cell: object, said: str) -> None:
    reading = read_weight(cell, "g")
    assert reading.value is None
    assert any(one in reading.what for one in said.split("|"))
    assert reading.mend


@pytest.mark.parametrize(
    "cell",
    [
        dt.date(2026, 3, 2),
        dt.datetime(2026, 3, 2, 0, 0),
        "2026-03-02",
        "2026-3-2",
        "2026-03-02 00:00:00",
        "2 Mar 2026",
        "2 March 2026",
        "2. march 2026",
        "March 2, 2026",
    ],
)
def test_dates_are_read(cell: object) -> None:
    assert read_date(cell).value == dt.date(2026, 3, 2)


@pytest.mark.parametrize(
    ("cell", "day"), [("13/04/2026", 13), ("04/13/2026", 13), ("13.4.2026", 13), ("4/4/2026", 4)]
)
def test_a_date_with_one_reading_is_read(cell: str, day: int) -> None:
    assert read_date(cell).value == dt.date(2026, 4, day)


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("03/04/2026", "can be read as 3 April and as 4 March"),
        ("3.4.2026", "can be read as"),
        ("03-04-26", "no year of four digits"),
        ("12/5", "no year of four digits"),
        ("2026-02-30", "there is no day"),
        ("31/31/2026", "there is no day"),
        (46084, "not a date"),
        ("46084", "not a date"),
        ("soon", "not a date"),
        ("2 Mrz 2026", "there is no day"),
        ("1026-03-02", "the year 1026"),
        (dt.datetime(1900, 1, 3), "the year 1900"),
        (True, "not a date"),
    ],
)
def test_dates_that_are_refused(cell: object, said: str) -> None:
    reading = read_date(cell)
    assert reading.value is None
    assert said in reading.what
    assert reading.mend


def test_counts_and_fates() -> None:
    assert read_count("3").value == read_count(3.0).value == read_count("3,0").value == 3
    assert read_count("3.5").what
    assert read_count(-1).what
    assert read_fate(" Contaminated").value == "contaminated"
    assert "Did you mean “contaminated”?" in read_fate("contaminatd").mend
    assert "Allowed" in read_fate("eaten by mice").mend


@given(st.one_of(st.text(max_size=60), st.floats(), st.integers(), st.booleans(), st.dates(),
                 st.datetimes(), st.times(), st.timedeltas()))  # fmt: skip
def test_any_cell_is_read_or_refused_in_words(cell: object) -> None:
    for read in (lambda one: read_weight(one, "g"), read_date, read_count, read_fate):
        reading = read(cell)
        assert reading.value is None or not reading.what
        assert bool(reading.what) == bool(reading.mend)
