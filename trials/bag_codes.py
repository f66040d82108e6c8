"""Codes for labels: short, easy to write with a marker pen, safe against a slip of the pen.

A code is a letter, digits and a check character by ISO/IEC 7064, MOD 37,36 (by way of
`stdnum.iso7064.mod_37_36`), which catches every single wrong character and nearly every swap of
neighbours. Characters that a hand mistakes for another (0 O Q, 1 I L, 2 Z, 5 S, 6 G, 8 B) occur
in one form only, so that the other form can be read as the one that was meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from itertools import islice, product

from stdnum.iso7064 import mod_37_36

__all__ = ["bag_codes", "is_sound", "likely_codes", "tidy_code"]

LETTERS = "ACDEFHJKMNPRTUVWXY"
DIGITS = "23456789"
ALPHABET = LETTERS + DIGITS
_MEANT = str.maketrans({"Z": "2", "S": "5", "G": "6", "B": "8"})
_LONGEST = 7


def bag_codes(count: int, *, start: int = 0) -> tuple[str, ...]:
    """Give `count` codes, all of one length, the shortest that suffices.

    Parameters
    ----------
    count : int
        How many.
    start : int
        Where in the ring of codes to begin, so that two trials need not share codes.

    Returns
    -------
    tuple of str

    Raises
    ------
    ValueError
        More codes than there are.

    Examples
    --------
    >>> bag_codes(4)
    ('A2U', 'A6M', 'A7K', 'C2M')
    """
    for digits in range(1, _LONGEST - 1):
        ring = tuple(_ring(digits))
        if len(ring) >= count:
            first = start % len(ring)
            return tuple(islice(ring[first:] + ring[:first], count))
    raise ValueError(f"there are no codes for {count} units")


def _ring(digits: int) -> Iterator[str]:
    for letter, *tail in product(LETTERS, *[DIGITS] * digits):
        body = letter + "".join(tail)
        check = mod_37_36.calc_check_digit(body)
        if check in ALPHABET:
            yield body + check


def tidy_code(written: str) -> str:
    """Give a code as it was meant: capitals, no spaces or hyphens, look-alikes resolved.

    Examples
    --------
    >>> tidy_code(" a-zu ")
    'A2U'
    """
    return "".join(char for char in written.upper() if char.isalnum()).translate(_MEANT)


def is_sound(code: str) -> bool:
    """Whether a code carries the right check character.

    Examples
    --------
    >>> is_sound("A2U"), is_sound("A2V")
    (True, False)
    """
    return set(code) <= set(ALPHABET) and len(code) > 2 and bool(mod_37_36.is_valid(code))


def likely_codes(written: str, codes: Iterable[str]) -> tuple[str, ...]:
    """Give the codes that are one slip away: a wrong, missing, extra or swapped character.

    Parameters
    ----------
    written : str
        What stands in the records.
    codes : iterable of str
        The codes of the layout.

    Returns
    -------
    tuple of str
        In order; empty where none is near.

    Examples
    --------
    >>> likely_codes("A2V", bag_codes(4))
    ('A2U',)
    """
    code = tidy_code(written)
    if not code or len(code) > _LONGEST + 1:
        return ()
    among = codes if isinstance(codes, Set | Mapping) else frozenset(codes)
    return tuple(sorted(one for one in _one_slip(code) if one in among))


def _one_slip(code: str) -> set[str]:
    halves = [(code[:cut], code[cut:]) for cut in range(len(code) + 1)]
    missing = {left + char + right for left, right in halves for char in ALPHABET}
    extra = {left + right[1:] for left, right in halves if right}
    wrong = {left + char + right[1:] for left, right in halves if right for char in ALPHABET}
    swapped = {left + right[1] + right[0] + right[2:] for left, right in halves if len(right) > 1}
    return missing | extra | wrong | swapped
