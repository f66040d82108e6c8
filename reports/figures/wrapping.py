"""Breaking text into lines that fit a width in a drawing, without measuring any font."""

from __future__ import annotations

import textwrap
import unicodedata

from reports.wording.grammar import tied

__all__ = ["wrapped"]

# Mean advance of a letter in ems: DejaVu Sans, the widest type a reader is likely to have.
_EM_REGULAR, _EM_BOLD = 0.57, 0.65
_POINTS_PER_INCH = 72.0
_UNBROKEN = 16
"""A word so long has to be broken inside; in one of prose, light letters make up for heavy ones."""
_BROAD, _NARROW = "mwMW@%—", "fijlrtI.,:;'|!"


def wrapped(
    text: str, inches: float, points: float, *, bold: bool = False, most: int = 2
) -> list[str]:
    """Break a text into lines.

    Parameters
    ----------
    text : str
        One line of printable text.
    inches : float
        Width to fill.
    points : float
        Size of the type.
    bold : bool
        Whether the type is bold, and so wider.
    most : int
        At most so many lines; what does not fit is cut with an ellipsis.

    Returns
    -------
    list of str
        At least one line.

    Examples
    --------
    >>> wrapped("Okara gave more than wheat bran", 1.5, 10)
    ['Okara gave more', 'than wheat bran']
    """
    em = _EM_BOLD if bold else _EM_REGULAR
    columns = max(8, int(inches * _POINTS_PER_INCH / (points * em * _heavy(text))))
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    if wide:
        columns = max(6, int(columns * len(text) / (len(text) + wide)))
    lines = textwrap.wrap(
        tied(text), columns, max_lines=most, placeholder="…", break_on_hyphens=False
    )
    return lines or [""]


def _heavy(text: str) -> float:
    """Say how much wider than usual the letters of the longest unbroken word are; at least 1."""
    word = max(text.split(), key=len, default="")
    if len(word) < _UNBROKEN:
        return 1.0
    broad = sum(letter in _BROAD or letter.isupper() for letter in word)
    narrow = sum(letter in _NARROW for letter in word)
    return max(1.0, (1.12 * len(word) + 0.55 * broad - 0.4 * narrow) / len(word))
