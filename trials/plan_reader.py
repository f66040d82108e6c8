"""Read one table of a plan, key by key, and gather every mistake on the way."""

from __future__ import annotations

import datetime as dt
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from trials.problems import Problem, nearest, one_of

__all__ = ["EARLIEST", "LATEST", "PlanTable", "tidy_text"]

EARLIEST, LATEST = 1950, 2200
"""Years between which a trial can take place."""

_MOST_MARKS = 30
_LONGEST_KEY = 60
_LARGEST = 10**15
_MOST_STRANGERS = 20

Word = TypeVar("Word", bound=str)
Value = TypeVar("Value")
Number = TypeVar("Number", int, float)


def tidy_text(text: str) -> str:
    r"""Make free text safe to keep: composed letters, no control or direction marks, one line.

    Notes
    -----
    A letter keeps 30 accents, as in the Stream-Safe Text Format of Unicode Standard Annex 15:
    composing takes a time that grows as the square of their number (CVE-2026-3276).

    Examples
    --------
    >>> tidy_text(" shelf\t3\x00 ")
    'shelf 3'
    """
    if text.isascii() and text.isprintable():  # nearly all, and far quicker
        return " ".join(text.split())
    composed = unicodedata.normalize("NFC", _few_marks(text))
    kept = (
        " " if char.isspace() else char
        for char in composed
        if char.isspace()
        or unicodedata.category(char) not in {"Cc", "Cf", "Cs", "Co", "Cn"}
        or char == "\u200d"
    )
    return " ".join("".join(kept).split())


def _few_marks(text: str) -> str:
    kept, run = [], 0
    for char in text:
        run = run + 1 if unicodedata.combining(char) else 0
        if run <= _MOST_MARKS:
            kept.append(char)
    return "".join(kept)


class PlanTable:
    """One table of the plan, with its place in the file.

    Each reading method returns the clean value, or None when the key is missing or wrong; what
    is wrong is added to `problems`.

    Parameters
    ----------
    table : mapping
        As the TOML reader gave it.
    place : str
        Its place in the file, such as ``treatments[2]``.
    file : str
        The name of the file.
    problems : list of Problem
        Where mistakes are gathered.
    """

    def __init__(
        self, table: Mapping[str, object], place: str, file: str, problems: list[Problem]
    ) -> None:
        self._table = table
        self._place = place
        self._file = file
        self._problems = problems
        self._known: list[str] = []

    def key(self, name: str) -> str:
        """Give the place of a key in the file."""
        shown = tidy_text(name[:_LONGEST_KEY]) or "“”"
        return f"{self._place}.{shown}" if self._place else shown

    def wrong(self, name: str, what: str, mend: str) -> None:
        """Note a mistake at a key."""
        self._problems.append(Problem(file=self._file, key=self.key(name), what=what, mend=mend))

    def _find(self, name: str, *, needed: bool, mend: str) -> object | None:
        self._known.append(name)
        if name in self._table:
            return self._table[name]
        if needed:
            self.wrong(name, "is missing", mend)
        return None

    def _find_as(
        self,
        name: str,
        kind: type[Value] | tuple[type[Value], ...],
        said: str,
        *,
        mend: str,
        needed: bool = False,
    ) -> Value | None:
        """Find a value of a kind; true and false are no numbers."""
        found = self._find(name, needed=needed, mend=mend)
        if found is None:
            return None
        if isinstance(found, kind) and (kind is bool or not isinstance(found, bool)):
            return found
        self.wrong(name, f"should be {said} but is {_said(found)}", mend)
        return None

    def _within(
        self, name: str, found: Number, low: float, high: float, mend: str
    ) -> Number | None:
        """Give a number back that lies within its bounds."""
        # A whole number may be too large for a float: it is compared before it becomes one.
        if low <= found <= high:
            return found
        self.wrong(name, f"{_figure(found)} is out of range", mend)
        return None

    def text(
        self, name: str, *, needed: bool = False, longest: int = 300, example: str = ""
    ) -> str | None:
        """Read a line of text, at most `longest` characters."""
        shown = f'Write it as {name} = "{example or "..."}".'
        found = self._find_as(name, str, "text", needed=needed, mend=shown)
        if found is None:
            return None
        clean = tidy_text(found)
        if needed and not clean:
            self.wrong(name, "is empty", shown)
            return None
        if len(clean) > longest:
            self.wrong(
                name,
                f"is {len(clean)} characters long",
                f"Shorten it to {longest} characters or fewer.",
            )
            return None
        return clean

    def choice(
        self,
        name: str,
        allowed: Iterable[Word],
        *,
        needed: bool = False,
        meaning: Callable[[str], Word | None] | None = None,
    ) -> Word | None:
        """Read a word out of a list, or one that means one of them."""
        words = list(allowed)
        listed = f"Allowed: {one_of(words)}."
        found = self._find_as(name, str, "a word", needed=needed, mend=listed)
        if found is None:
            return None
        clean = tidy_text(found).lower()
        for word in words:
            if word.lower() == clean:
                return word
        same = meaning(clean) if meaning else None
        if same is not None:
            return same
        meant = nearest(clean, words)
        hint = f"Did you mean “{meant}”? {listed}" if meant else listed
        self.wrong(name, f"“{clean[:60]}” is not known here", hint)
        return None

    def whole(self, name: str, *, low: int, high: int, needed: bool = False) -> int | None:
        """Read a whole number between `low` and `high`."""
        mend = f"Give a whole number from {low} to {high}."
        found = self._find_as(name, int, "a whole number", needed=needed, mend=mend)
        return None if found is None else self._within(name, found, low, high, mend)

    def number(self, name: str, *, low: float, high: float, needed: bool = False) -> float | None:
        """Read a number between `low` and `high`."""
        mend = f"Give a number from {low:g} to {high:g}."
        found = self._find_as(name, (int, float), "a number", needed=needed, mend=mend)
        inside = None if found is None else self._within(name, found, low, high, mend)
        return None if inside is None else float(inside)

    def yes_or_no(self, name: str) -> bool | None:
        """Read true or false."""
        mend = f"Write {name} = true or {name} = false."
        return self._find_as(name, bool, "true or false", mend=mend)

    def date(self, name: str) -> dt.date | None:
        """Read a day, as TOML writes it: 2026-03-02 without quotes."""
        mend = f"Write it as {name} = 2026-03-02, without quotes."
        found = self._find_as(name, dt.date, "a date", mend=mend)
        if found is None:
            return None
        day = found.date() if isinstance(found, dt.datetime) else found
        if EARLIEST <= day.year <= LATEST:
            return day
        self.wrong(name, f"the year {day.year} cannot be meant", "Check the year.")
        return None

    def parsed(
        self, name: str, read: Callable[[object], Value | None], *, mend: str, needed: bool = False
    ) -> Value | None:
        """Read a value through a function that gives None when it cannot."""
        found = self._find(name, needed=needed, mend=mend)
        if found is None:
            return None
        value = read(found)
        if value is None:
            self.wrong(name, f"{_said(found)} cannot be read here", mend)
        return value

    def has(self, name: str) -> bool:
        """Whether a key stands in the table; asking makes it known."""
        self._known.append(name)
        return name in self._table

    def wholes(self, name: str, *, low: int, high: int) -> tuple[int, ...] | None:
        """Read one whole number or a list of them, each between `low` and `high`."""
        mend = f"Give a whole number from {low} to {high}, or a list such as [4, 4, 3]."
        found = self._find(name, needed=False, mend=mend)
        if found is None:
            return None
        listed = found if isinstance(found, list) else [found]
        numbers = [one for one in listed if isinstance(one, int) and not isinstance(one, bool)]
        if not listed or len(numbers) != len(listed):
            self.wrong(name, f"should be whole numbers but is {_said(found)}", mend)
            return None
        outside = [one for one in numbers if not low <= one <= high]
        if outside:
            self.wrong(name, f"{_figure(outside[0])} is out of range", mend)
            return None
        return tuple(numbers)

    def texts(self, name: str, *, longest: int = 60) -> tuple[str, ...] | None:
        """Read a list of different texts."""
        mend = f'Write it as {name} = ["...", "..."], each once.'
        found = self._find(name, needed=False, mend=mend)
        if found is None:
            return None
        clean = [tidy_text(one) for one in found if isinstance(one, str)] if isinstance(
            found, list
        ) else []  # fmt: skip
        if not clean or not isinstance(found, list) or len(clean) != len(found):
            self.wrong(name, f"should be a list of texts but is {_said(found)}", mend)
            return None
        twice = len({one.casefold() for one in clean}) < len(clean)
        if twice or not all(clean) or max(map(len, clean)) > longest:
            self.wrong(name, "a text in it is empty, too long or stands twice", mend)
            return None
        return tuple(clean)

    def pairs(self, name: str, *, longest: int = 60) -> tuple[tuple[str, str], ...] | None:
        """Read a table of names and texts, such as { heat = "short", mix = "bran" }."""
        mend = f'Write it as {name} = {{ heat = "short", mix = "bran" }}.'
        found = self._find(name, needed=False, mend=mend)
        if found is None:
            return None
        if not isinstance(found, Mapping) or not found:
            self.wrong(name, f"should be a table but is {_said(found)}", mend)
            return None
        read = []
        for inner, value in found.items():
            clean = tidy_text(value) if isinstance(value, str) else ""
            if not clean or not tidy_text(inner) or len(inner) > longest or len(clean) > longest:
                self.wrong(f"{name}.{tidy_text(inner)[:longest]}",
                           f"should be a short text but is {_said(value)}", mend)  # fmt: skip
                return None
            read.append((tidy_text(inner), clean))
        return tuple(read)

    def table(self, name: str, *, needed: bool = False) -> PlanTable | None:
        """Read a table inside this one."""
        mend = f"Begin it with a line [{self.key(name)}]."
        found = self._find(name, needed=needed, mend=mend)
        if found is None:
            return None
        if not isinstance(found, Mapping):
            self.wrong(name, f"should be a table but is {_said(found)}", mend)
            return None
        return PlanTable(found, self.key(name), self._file, self._problems)

    def tables(self, name: str, *, needed: bool = False) -> list[PlanTable]:
        """Read a list of tables, such as [[treatments]]."""
        mend = f"Begin each one with a line [[{self.key(name)}]]."
        found = self._find(name, needed=needed, mend=mend)
        if found is None:
            return []
        if not isinstance(found, list) or not all(isinstance(one, Mapping) for one in found):
            self.wrong(name, f"should be a list of tables but is {_said(found)}", mend)
            return []
        return [
            PlanTable(one, f"{self.key(name)}[{number}]", self._file, self._problems)
            for number, one in enumerate(found, start=1)
        ]

    def named_tables(self) -> list[tuple[str, PlanTable]]:
        """Read every table inside this one, whatever its name, as for [recipes.bran]."""
        read = []
        for name in self._table:
            inner = self.table(name)
            if inner is not None:
                read.append((tidy_text(name), inner))
        return read

    def refuse_unknown(self) -> None:
        """Note every key that nothing has asked for, with the one it most likely meant."""
        allowed = one_of(sorted(self._known))
        strangers = [name for name in self._table if name not in self._known]
        for name in strangers[:_MOST_STRANGERS]:
            meant = nearest(name, self._known)
            hint = f"Did you mean “{meant}”? " if meant else ""
            self.wrong(name, "is not a word of the plan", f"{hint}Allowed here: {allowed}.")
        if len(strangers) > _MOST_STRANGERS:
            what = f"and {len(strangers) - _MOST_STRANGERS} more words here are not of the plan"
            self.wrong(strangers[_MOST_STRANGERS], what, f"Allowed here: {allowed}.")


def _said(value: object) -> str:
    """Say a wrong value back, short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text “{tidy_text(value)[:60]}”"
    if isinstance(value, int | float):
        return f"the number {_figure(value)}"
    if isinstance(value, dt.date | dt.time):
        return f"the date {value.isoformat()}"
    return "a list" if isinstance(value, list) else "a table"


def _figure(number: float) -> str:
    """Write a number short; a whole one may have more digits than can be written at all."""
    if isinstance(number, int):
        return f"{number}" if abs(number) < _LARGEST else "a number far too large"
    return f"{number:g}"
