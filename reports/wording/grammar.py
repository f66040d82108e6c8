"""Small English: plurals, lists, counts, the first letter of a sentence."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from trials.plurals import counted, plural

__all__ = [
    "be",
    "capital",
    "counted",
    "full_stop",
    "in_words",
    "listed",
    "odds",
    "on_or_in",
    "plural",
    "tied",
]

_WORDS = (
    "none", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_TIE = re.compile(r"(?<=\d) (?=(?:g|kg|oz|lb|mm|litres?|days?|°[CF])\b|%)")
_STOOD_ON = ("shelf", "rack", "table", "bench", "day", "floor", "row", "trolley", "bed")


def in_words(number: int) -> str:
    """Give a count in words up to twelve, in figures beyond.

    Examples
    --------
    >>> in_words(0), in_words(6), in_words(40)
    ('none', 'six', '40')
    """
    return _WORDS[number] if 0 <= number < len(_WORDS) else str(number)


_APART = re.compile(r"\([^)]*\)|“[^”]*”")
"""What stands in brackets or quotes is read apart from the list."""


def listed(words: Iterable[str], *, last: str = "and") -> str:
    """List words as one says them; where one holds a comma or “and” itself, semicolons part them.

    Examples
    --------
    >>> listed(["yield", "losses", "price"]), listed(["hot, bran", "cold, bran", "cold, okara"])
    ('yield, losses and price', 'hot, bran; cold, bran; and cold, okara')
    >>> listed(["straw", "straw and coffee grounds"])
    'straw; and straw and coffee grounds'
    """
    all_words = list(words)
    if len(all_words) < 2:
        return "".join(all_words)
    bare = [_APART.sub("", word) for word in all_words]
    if any("," in word for word in all_words) or any(f" {last} " in word for word in bare):
        return f"{'; '.join(all_words[:-1])}; {last} {all_words[-1]}"
    return f"{', '.join(all_words[:-1])} {last} {all_words[-1]}"


def be(number: int) -> str:
    """Give “was” for one or none of something, “were” for more.

    Examples
    --------
    >>> be(0), be(1), be(3)
    ('was', 'was', 'were')
    """
    return "were" if number > 1 else "was"


def capital(text: str) -> str:
    """Begin with a capital, leaving the rest as it is.

    Examples
    --------
    >>> capital("oat bran gave more.")
    'Oat bran gave more.'
    """
    return text[:1].upper() + text[1:]


def full_stop(text: str) -> str:
    """Make a sentence of a remark: a capital before, a full stop behind.

    Examples
    --------
    >>> full_stop("one batch a side")
    'One batch a side.'
    """
    tidy = text.strip()
    if tidy and tidy[-1] not in ".?!":
        tidy += "."
    return capital(tidy)


def odds(level: float) -> str:
    """Say a confidence as how many times in how many.

    Examples
    --------
    >>> odds(0.95), odds(0.9), odds(0.99), odds(0.935)
    ('19 times in 20', '9 times in 10', '99 times in 100', 'about 94 times in 100')
    """
    share = Fraction(level).limit_denominator(10_000)
    for whole in (10, 20, 40, 100):
        times = share * whole
        if times.denominator == 1:
            return f"{times.numerator} times in {whole}"
    return f"about {level * 100:.0f} times in 100"


def on_or_in(block: str) -> str:
    """Give the little word that goes before a block: on a shelf, in a room.

    Examples
    --------
    >>> on_or_in("shelf"), on_or_in("room")
    ('on', 'in')
    """
    return "on" if block.lower().split(" ")[-1] in _STOOD_ON else "in"


def tied(text: str) -> str:
    r"""Tie numbers to their units, so that no line breaks between them.

    Parameters
    ----------
    text : str
        Plain text; what comes out is still to be escaped.

    Examples
    --------
    >>> tied("60 g or 15 % more")
    '60\xa0g or 15\xa0% more'
    """
    return _TIE.sub("\N{NO-BREAK SPACE}", text)
