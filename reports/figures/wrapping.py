"""Breaking text into lines that fit a width in a drawing, without measuring any font."""

from __future__ import annotations

import textwrap
import unicodedata

from reports.wording.grammar import tied

__all__ = ["wrapped"]

# Mean advance of a letter in ems: DejaVu Sans, the widest type a reader is likely to have.
_EM_REGULAR, _EM_BOLD = 0.57, 0.65
_POINTS_PER_INCH = 72.0


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
    columns = max(8, int(inches * _POINTS_PER_INCH / (points * em)))
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    if wide:
        columns = max(6, int(columns * len(text) / (len(text) + wide)))
    lines = textwrap.wrap(
        tied(text), columns, max_lines=most, placeholder="…", break_on_hyphens=False
    )
    return lines or [""]
