"""The plural of a grower's word for a unit."""

from __future__ import annotations

__all__ = ["counted", "plural"]

_ODD = {"shelf": "shelves", "loaf": "loaves", "half": "halves"}


def plural(word: str) -> str:
    """Give the plural of a grower's word for a unit.

    Examples
    --------
    >>> [plural(word) for word in ("bag", "box", "batch", "tray", "shelf", "nursery")]
    ['bags', 'boxes', 'batches', 'trays', 'shelves', 'nurseries']
    """
    stem, _, last = word.rpartition(" ")
    lead = f"{stem} " if stem else ""
    low = last.lower()
    if low in _ODD:
        return lead + last[0] + _ODD[low][1:]
    if low.endswith(("s", "x", "z", "ch", "sh")):
        return lead + last + "es"
    if low.endswith("y") and low[-2:-1] not in tuple("aeiou"):
        return lead + last[:-1] + "ies"
    return lead + last + "s"


def counted(number: int, word: str) -> str:
    """Give a count with its word, in the singular or plural.

    Examples
    --------
    >>> counted(1, "bag"), counted(48, "bag"), counted(0, "box")
    ('1 bag', '48 bags', '0 boxes')
    """
    return f"{number} {word if number == 1 else plural(word)}"
