"""What a cell says: weights, dates, counts and words, as growers and spreadsheets write them.

Each reader gives a `Reading`: the value, or what is wrong and how to mend it. Nothing is guessed:
what can be read in two ways is refused.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, wraps
from typing import Concatenate, Generic, ParamSpec, TypeAlias, TypeVar

from trials.measures import WeightUnit, grams, weight_unit
from trials.plan_reader import EARLIEST, LATEST, tidy_text
from trials.problems import nearest, one_of
from trials.reading.columns import FATE_WORDS
from trials.reading.slips import likely_fate, mend_weight

__all__ = [
    "Cell",
    "Reading",
    "is_blank",
    "read_count",
    "read_date",
    "read_fate",
    "read_weight",
]

Cell: TypeAlias = str | float | int | bool | dt.date | dt.time | dt.timedelta | None
Value = TypeVar("Value")
Words = ParamSpec("Words")

HEAVIEST_G = 1_000_000.0
_MOST_DIGITS = 40
_BLANKS = {"", "-", "–", "—", "n/a", "na", "nan", "none", "?"}
_LONGEST_BLANK = max(map(len, _BLANKS))
_SHORT = 40
_NUMBER = r"[+-]?\d+(?:[.,]\d+)*"
_WEIGHT = re.compile(rf"^(?P<number>{_NUMBER})\s*(?P<unit>[a-z]+\.?)?$", re.IGNORECASE)
_POUNDS_OUNCES = re.compile(
    rf"^(?P<lb>\d+)\s*(?:lbs?|pounds?)\.?\s*(?:and\s+)?(?P<oz>{_NUMBER})\s*(?:ozs?|ounces?)\.?$",
    re.IGNORECASE,
)
_ISO = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]00:00(?::00(?:\.0+)?)?)?$")
_NUMERIC_DATE = re.compile(r"^(\d{1,2})[./-](\d{1,2})[./-](\d{4})$")
_SHORT_DATE = re.compile(r"^\d{1,4}[./-]\d{1,2}(?:[./-]\d{1,2})?$")
_WORDED = re.compile(r"^(\d{1,2})\.?\s+([a-z]+)\.?,?\s+(\d{4})$", re.IGNORECASE)
_WORDED_US = re.compile(r"^([a-z]+)\.?\s+(\d{1,2}),?\s+(\d{4})$", re.IGNORECASE)
_NO_YEAR = re.compile(
    r"^(?:\d{1,2}(?:st|nd|rd|th|\.)?\s+(?P<after>[a-z]+)"
    r"|(?P<before>[a-z]+)\.?\s+\d{1,2}(?:st|nd|rd|th)?)\.?$",
    re.IGNORECASE,
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FULL_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august",
                "september", "october", "november", "december")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Generic[Value]):
    """A value read, or what is wrong with it.

    Parameters
    ----------
    value : object or None
        None when blank or wrong.
    what, mend : str
        What is wrong and how to mend it; empty when all is well.
    """

    value: Value | None = None
    what: str = ""
    mend: str = ""


def _remembered(
    read: Callable[Concatenate[Cell, Words], Reading[Value]],
) -> Callable[Concatenate[Cell, Words], Reading[Value]]:
    """Keep what each short text said: the same few stand in row after row."""
    kept = lru_cache(maxsize=50_000)(read)
    nothing: Reading[Value] = Reading()

    @wraps(read)
    def reading(cell: Cell, /, *words: Words.args, **named: Words.kwargs) -> Reading[Value]:
        if type(cell) is str and len(cell) <= _SHORT:
            return kept(cell, *words, **named)  # type: ignore[arg-type]
        if cell is None:
            return nothing
        return read(cell, *words, **named)

    return reading


def is_blank(cell: Cell) -> bool:
    """Whether a cell holds nothing, or a sign for nothing."""
    if cell is None:
        return True
    if type(cell) is str and cell.isalnum() and (len(cell) > _LONGEST_BLANK or cell[0].isdigit()):
        return False  # nearly all, and far quicker
    if isinstance(cell, float) and math.isnan(cell):
        return True
    return isinstance(cell, str) and tidy_text(cell).lower() in _BLANKS


@_remembered
def read_weight(cell: Cell, unit: WeightUnit) -> Reading[float]:
    """Read a weight in grams; a bare number is in `unit`.

    Examples
    --------
    >>> read_weight("1,5 kg", "g").value
    1500.0
    >>> read_weight("1,250", "g").what
    '“1,250” can be read as 1250 and as 1.25'
    """
    if is_blank(cell):
        return Reading()
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        bare = _float(cell)
        return _weight(bare, unit, f"{bare:g}")
    if not isinstance(cell, str):
        return Reading(what=f"“{_shown(cell)}” is not a weight", mend="Write the weight.")
    text = tidy_text(cell)
    both = _POUNDS_OUNCES.match(text)
    if both is not None:
        ounces = _number(both["oz"])
        if ounces.value is None:
            return ounces
        return _weight(float(both["lb"]) * 16 + ounces.value, "oz", text[:40])
    found = _WEIGHT.match(text)
    if found is None:
        return Reading(what=f"“{text[:40]}” is not a weight", mend=mend_weight(text, unit))
    named = weight_unit(found["unit"]) if found["unit"] else unit
    if named is None:
        what = f"“{text[:40]}” has a unit that is not known"
        return Reading(what=what, mend="Use g, kg, oz or lb.")
    number = _number(found["number"])
    return number if number.value is None else _weight(number.value, named, text[:40])


def _number(text: str) -> Reading[float]:
    """Read digits with a decimal point or comma; refuse what can be read in two ways."""
    if len(text) > _MOST_DIGITS:
        return Reading(what=f"“{text[:20]}...” has too many digits", mend="Write it shorter.")
    marks = [char for char in text if char in ".,"]
    if len(marks) > 1:
        mend = "Write it without marks for thousands, such as 1250 or 1250.5."
        return Reading(what=f"“{text}” has more than one mark", mend=mend)
    whole, _, decimals = text.replace(",", ".").partition(".")
    if marks == [","] and len(decimals) == 3 and whole.lstrip("+-").lstrip("0"):
        what = f"“{text}” can be read as {whole}{decimals} and as {float(f'{whole}.{decimals}'):g}"
        return Reading(what=what, mend=f"Write {whole}{decimals} or {whole}.{decimals[:2]}.")
    return Reading(value=float(text.replace(",", ".")))


def _weight(number: float, unit: WeightUnit, shown: str) -> Reading[float]:
    weight = grams(number, unit)
    if number < 0:
        return Reading(what=f"“{shown}” is less than nothing", mend="Weigh again, or write 0.")
    if not math.isfinite(weight) or weight > HEAVIEST_G:
        return Reading(what=f"“{shown}” is more than a tonne", mend="Check number and unit.")
    return Reading(value=weight)


@_remembered
def read_date(cell: Cell) -> Reading[dt.date]:
    """Read a day; refuse one that can be read in two ways.

    Examples
    --------
    >>> read_date("2026-03-02").value
    datetime.date(2026, 3, 2)
    >>> read_date("03/04/2026").what
    '“03/04/2026” can be read as 3 April and as 4 March'
    """
    if is_blank(cell):
        return Reading()
    if isinstance(cell, dt.datetime):
        return _plausible(cell.date())
    if isinstance(cell, dt.date):
        return _plausible(cell)
    mend = "Write it as year-month-day, such as 2026-03-02."
    serial = _serial_day(cell)
    if serial is not None:
        told = (
            f"It may be {serial}, shown as a number: give the cell a date format, or write it so."
        )
        return Reading(what=f"“{_shown(cell)}” is not a date", mend=told)
    if not isinstance(cell, str):
        return Reading(what=f"“{_shown(cell)}” is not a date", mend=mend)
    text = tidy_text(cell)
    for pattern, read in ((_ISO, _from_iso), (_WORDED, _from_words), (_WORDED_US, _from_words_us)):
        found = pattern.match(text)
        if found is not None:
            day = read(*found.groups())
            if day is None:
                return Reading(what=f"there is no day “{text}”", mend=mend)
            return _plausible(day)
    numeric = _NUMERIC_DATE.match(text)
    if numeric is not None:
        return _from_numbers(text, *(int(part) for part in numeric.groups()), mend=mend)
    if _SHORT_DATE.match(text) or _worded_without_year(text):
        return Reading(what=f"“{text}” has no year of four digits", mend=mend)
    return Reading(what=f"“{text[:40]}” is not a date", mend=mend)


def _float(number: float) -> float:
    """Give a number as a float; a whole one may be too large to become one as it is."""
    return float(max(-1e300, min(number, 1e300)))


def _serial_day(cell: Cell) -> dt.date | None:
    """Give the day that a spreadsheet means by a bare number, counted from 1900; None if none."""
    try:
        number = float(cell) if isinstance(cell, int | float | str) else math.nan
    except (ValueError, OverflowError):
        return None
    if isinstance(cell, bool) or not 36_526 <= number < 73_051:  # the years 2000 to 2099
        return None
    return dt.date(1899, 12, 30) + dt.timedelta(days=int(number))


def _from_iso(year: str, month: str, day: str) -> dt.date | None:
    return _day(int(year), int(month), int(day))


def _from_words(day: str, month: str, year: str) -> dt.date | None:
    number = _month(month)
    return _day(int(year), number, int(day)) if number else None


def _from_words_us(month: str, day: str, year: str) -> dt.date | None:
    return _from_words(day, month, year)


def _worded_without_year(text: str) -> bool:
    found = _NO_YEAR.match(text)
    return found is not None and _month(found["after"] or found["before"]) is not None


def _from_numbers(text: str, first: int, second: int, year: int, *, mend: str) -> Reading[dt.date]:
    day_first, month_first = _day(year, second, first), _day(year, first, second)
    if day_first and month_first and day_first != month_first:
        readings = f"{first} {_name(second)} and as {second} {_name(first)}"
        return Reading(what=f"“{text}” can be read as {readings}", mend=mend)
    day = day_first or month_first
    if day is None:
        return Reading(what=f"there is no day “{text}”", mend=mend)
    return _plausible(day)


def _name(month: int) -> str:
    return _FULL_MONTHS[month - 1].capitalize()


def _month(word: str) -> int | None:
    lower = word.lower()
    if lower == "sept":
        return 9
    for names in (_MONTHS, _FULL_MONTHS):
        if lower in names:
            return names.index(lower) + 1
    return None


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _plausible(day: dt.date) -> Reading[dt.date]:
    if not EARLIEST <= day.year <= LATEST:
        mend = "Check the year; a year of four digits is needed."
        return Reading(what=f"the year {day.year} cannot be meant", mend=mend)
    return Reading(value=day)


@_remembered
def read_count(cell: Cell) -> Reading[int]:
    """Read a whole number from 0.

    Examples
    --------
    >>> read_count("2").value
    2
    """
    if is_blank(cell):
        return Reading()
    number: float | None = None
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        number = _float(cell)
    elif isinstance(cell, str) and re.fullmatch(r"\d{1,9}(?:[.,]0+)?", tidy_text(cell)):
        number = float(tidy_text(cell).replace(",", "."))
    if number is None or number != number // 1 or not 0 <= number < 1e9:
        return Reading(what=f"“{_shown(cell)}” is not a whole number", mend="Write 1, 2, 3 ...")
    return Reading(value=int(number))


@_remembered
def read_fate(cell: Cell) -> Reading[str]:
    """Read the fate of a unit.

    Examples
    --------
    >>> read_fate("Still  Going").value
    'still going'
    """
    if is_blank(cell):
        return Reading()
    text = tidy_text(str(cell)).lower()
    if text in FATE_WORDS:
        return Reading(value=text)
    meant = nearest(text, FATE_WORDS) or likely_fate(text)
    hint = f"Did you mean “{meant}”? " if meant else ""
    return Reading(
        what=f"“{_shown(cell)}” is not a fate", mend=f"{hint}Allowed: {one_of(FATE_WORDS)}."
    )


def _shown(cell: Cell) -> str:
    if isinstance(cell, int) and abs(cell) > 10**15:
        return "a very large number"
    return tidy_text(str(cell)[:400])[:40]
