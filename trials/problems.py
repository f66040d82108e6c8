"""Problems in a grower's files, and the one tree of errors.

A `Problem` says where it is, what is wrong and how to mend it. Problems are gathered and
told together, so that nobody mends one only to meet the next.

- `PinsetError`: the root of everything that pinset raises on purpose.
- `Problems`: a grower's files hold mistakes; carries all of them.
- `Refused`: the request cannot be carried out as it stands (a second draw, say).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal, TypeAlias

__all__ = [
    "MOST_MISTAKES",
    "PinsetError",
    "Problem",
    "Problems",
    "Refused",
    "Weight",
    "nearest",
    "one_of",
    "too_many",
]

MOST_MISTAKES = 2000
"""So many mistakes are gathered; with more in a file the rows after them are not read."""

_LONGEST_WORD = 80

Weight: TypeAlias = Literal["mistake", "doubt"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing that is wrong, or doubtful, in a file of the grower.

    Parameters
    ----------
    file : str
        The name of the file, as the grower sees it.
    what : str
        What is wrong, in a sentence without a full stop at the end.
    mend : str
        How to put it right; empty only where `what` says all.
    key : str
        The place in a plan, such as ``treatments[2].code``; counted from 1.
    row : int or None
        The row in a table, as a spreadsheet numbers it (the heading is row 1).
    column : str
        The heading of the column.
    weight : {"mistake", "doubt"}
        A mistake stops the work; a doubt is told and the work goes on.
    """

    file: str
    what: str
    mend: str = ""
    key: str = ""
    row: int | None = None
    column: str = ""
    weight: Weight = "mistake"

    @property
    def where(self) -> str:
        """The place in words: file, row, column or key."""
        parts = [self.file]
        if self.key:
            parts.append(self.key)
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(f"column “{self.column}”")
        return ", ".join(parts)

    def __str__(self) -> str:
        mend = f" {self.mend}" if self.mend else ""
        return f"{self.where}: {self.what}.{mend}"

    def to_dict(self) -> dict[str, object]:
        """Give the machine's form."""
        return asdict(self)


class PinsetError(Exception):
    """The root of everything that pinset raises on purpose."""


class Refused(PinsetError):
    """A request that cannot be carried out as it stands; the message says what to do."""


class Problems(PinsetError):
    """The grower's files hold mistakes.

    Parameters
    ----------
    problems : iterable of Problem
        All of them, mistakes and doubts.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def unless_clean(cls, problems: Iterable[Problem]) -> tuple[Problem, ...]:
        """Give back the doubts, or raise when there is a mistake among the problems."""
        gathered = tuple(problems)
        if any(problem.weight == "mistake" for problem in gathered):
            raise cls(gathered)
        return gathered


def too_many(problems: list[Problem], file: str, row: int) -> bool:
    """Whether reading on is of no use; if so, one last problem says where it stopped.

    Parameters
    ----------
    problems : list of Problem
        Gathered so far.
    file : str
    row : int
        The row that would be read next.
    """
    if len(problems) < MOST_MISTAKES:
        return False
    mend = "Mend those above first: often one cause made them all."
    problems.append(
        Problem(file=file, row=row, what="was not read, nor were later rows", mend=mend)
    )
    return True


def nearest(word: str, allowed: Iterable[str], *, closeness: float = 0.6) -> str | None:
    """Give the allowed word that a misspelt one most likely meant, or None.

    Examples
    --------
    >>> nearest("complet blocks", ["complete blocks", "latin square"])
    'complete blocks'
    """
    if len(word) > _LONGEST_WORD:
        return None
    by_lower = {one.lower(): one for one in allowed}
    found = difflib.get_close_matches(word.lower(), list(by_lower), n=1, cutoff=closeness)
    return by_lower[found[0]] if found else None


def one_of(words: Iterable[str], *, quoted: bool = True) -> str:
    """List words as a grower would: “a”, “b” or “c”.

    Examples
    --------
    >>> one_of(["yes", "no"], quoted=False)
    'yes or no'
    """
    listed = [f"“{word}”" if quoted else word for word in words]
    if len(listed) < 2:
        return "".join(listed)
    return f"{', '.join(listed[:-1])} or {listed[-1]}"
