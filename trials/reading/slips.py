"""What was most likely meant by a cell that cannot be read: said as advice, never taken as read."""

from __future__ import annotations

import re

from trials.measures import WeightUnit

__all__ = ["likely_fate", "mend_weight"]

_EXAMPLES: dict[WeightUnit, str] = {
    "g": "412 or 412 g",
    "kg": "0.41 or 0.41 kg",
    "oz": "14.5 or 14.5 oz",
    "lb": "0.9 or 0.9 lb",
}
_NOTHING = {"nothing", "nil", "zero", "empty", "no"}
_FRACTION = re.compile(r"^(?:(\d{1,4})[ -])?(\d{1,2})/(\d{1,2})\s*(oz|ounces?|lbs?|pounds?)?\.?$")
_SHORT_UNIT = {"o": "oz", "l": "lb", "p": "lb"}
# One number only: of two, as in “12 or 13” and “12 + 3”, nobody can say which was meant.
_NUMBER_AND_WORDS = re.compile(r"^(\d{1,6}(?:\.\d{1,3})?)\s*(g|kg|oz|lb)?\b[\s,;(]+\D+$")
_TURNED_ROUND = {"not", "no", "never", "without", "yet"}
_FATES = {
    "contaminated": ("mould", "mold", "contam", "trich", "sour", "green", "infected"),
    "lost otherwise": ("lost", "drop", "torn", "tore", "eaten", "mice", "slug", "broke", "thrown"),
    "finished": ("done", "ok", "fine", "picked", "complete", "spent"),
    "still going": ("growing", "going", "fruiting", "open", "running", "standing"),
}


def mend_weight(text: str, unit: WeightUnit) -> str:
    """Say how to write a weight that could not be read.

    Parameters
    ----------
    text : str
        As written, tidied.
    unit : WeightUnit
        What a bare number would be in.

    Examples
    --------
    >>> mend_weight("13 1/4", "oz")
    'Write it as 13.25.'
    >>> mend_weight("2 1/4 pounds", "oz")
    'Write it as 2.25 lb.'
    >>> mend_weight("10.5 (small ones left)", "oz")
    'Write 10.5 alone, and the words into the column “note”.'
    """
    if text.lower().rstrip(".!") in _NOTHING:
        return "Write 0 if you looked and there was nothing; leave it blank if it was not weighed."
    fraction = _FRACTION.match(text.lower())
    if fraction is not None and int(fraction[3]):
        amount = int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3])
        unit_too = f" {_SHORT_UNIT[fraction[4][0]]}" if fraction[4] else ""
        return f"Write it as {amount:.4g}{unit_too}."
    worded = _NUMBER_AND_WORDS.match(text)
    if worded is not None:
        number = f"{worded[1]} {worded[2]}" if worded[2] else worded[1]
        return f"Write {number} alone, and the words into the column “note”."
    return (
        f"Write one number, such as {_EXAMPLES[unit]}. Leave it blank if it was not weighed, and "
        "write 0 if you looked and there was nothing."
    )


def likely_fate(text: str) -> str | None:
    """Give the fate that a grower's own word most likely stands for, or None.

    Parameters
    ----------
    text : str
        In small letters.

    Examples
    --------
    >>> likely_fate("green mould"), likely_fate("no mould")
    ('contaminated', None)
    """
    words = re.findall(r"[a-z]+", text)
    if _TURNED_ROUND.intersection(words):
        return None
    for fate, starts in _FATES.items():
        if any(word.startswith(starts) for word in words):
            return fate
    return None
