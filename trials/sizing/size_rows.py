"""Answers to one question of size for several ways in which bags may vary."""

from __future__ import annotations

from dataclasses import dataclass

from trials.measures import WeightUnit
from trials.sizing.size_question import SizeAnswer

__all__ = ["SizeRow", "Sizing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRow:
    """One way in which bags may vary, and what follows.

    Parameters
    ----------
    name : str
        Such as ``usual`` or ``as your bags did``.
    answer : SizeAnswer
    """

    name: str
    answer: SizeAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizing:
    """All that is told about the size of a trial.

    Parameters
    ----------
    rows : tuple of SizeRow
    main : int
        The row that the answer is given by.
    unit, block : str
        The grower's words for a bag and for a block; `block` is empty where there are none.
    mean : float or None
        Grams of a bag of the control, where it is known.
    sources : tuple of str
        Where the numbers come from, in plain sentences.
    varies : str
        What the rows differ in; empty where it is how bags vary, or how many are lost.
    weights : {"g", "kg", "oz", "lb"}
        What the grower weighs in.
    """

    rows: tuple[SizeRow, ...]
    main: int
    unit: str
    block: str
    mean: float | None
    sources: tuple[str, ...]
    varies: str = ""
    weights: WeightUnit = "g"

    @property
    def answer(self) -> SizeAnswer:
        """The answer of the main row."""
        return self.rows[self.main].answer
