"""Weights given as words of a command: “14 oz”, or a number in the unit that the plan weighs in."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trials.trial import Trial

__all__ = ["grams_given"]


def grams_given(word: str | None, trial: Trial | None) -> float | None:
    """Read a weight given with a command.

    Parameters
    ----------
    word : str or None
        As given.
    trial : Trial or None
        Its plan says what a bare number is in; grams without one.

    Returns
    -------
    float or None
        Grams; None where nothing was given.

    Raises
    ------
    Refused
        It is no weight.
    """
    if word is None:
        return None
    from trials.problems import Refused
    from trials.reading.cells import read_weight

    reading = read_weight(word, trial.weights if trial else "g")
    if not reading.value:
        raise Refused(f"“{word[:40]}” is no weight above 0: write for example 400 g or 14 oz.")
    return reading.value
