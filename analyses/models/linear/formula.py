"""Read the fixed part of a model, once for each text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from analyses.models.linear.arrays import FitError

__all__ = ["Terms", "random_words", "read_fixed"]

_NAME = r"[^\W\d]\w*"
_PLAIN = re.compile(rf"\s*{_NAME}(\s*[*:+]\s*{_NAME})*\s*")
_FACTOR = re.compile(rf"C\(\s*({_NAME})\s*\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """The terms of a fixed part.

    Attributes
    ----------
    intercept : bool
        Whether there is an overall level.
    terms : tuple of tuple of str
        The variables of each term, main effects first; the empty term is left out.
    variables : tuple of str
        Every variable or expression that a term names, in order of first use.
    as_factor : frozenset of str
        Variables that the text declares to be factors whatever their type.
    """

    intercept: bool
    terms: tuple[tuple[str, ...], ...]
    variables: tuple[str, ...]
    as_factor: frozenset[str] = frozenset()


@lru_cache(maxsize=256)
def read_fixed(text: str) -> Terms:
    """Read a fixed part in the notation of Wilkinson & Rogers (1973).

    Sums and crossings of plain names are read here, because a formula library costs more than
    the fit of a small trial; everything else is read by formulaic.

    Parameters
    ----------
    text : str
        For example "treatment * flush", "log(weight) + C(dose)", "1" or "" (only a mean).

    Returns
    -------
    Terms
        The terms in the order of their degree.

    Raises
    ------
    FitError
        If the text cannot be read.
    """
    if not text.strip() or text.strip() == "1":
        return Terms(intercept=True, terms=(), variables=())
    if _PLAIN.fullmatch(text):
        return _gather(_crossings(text), intercept=True)
    return _by_library(text)


def _crossings(text: str) -> list[tuple[str, ...]]:
    terms: list[tuple[str, ...]] = []
    for part in text.split("+"):
        made: list[tuple[str, ...]] = [()]
        for crossed in part.split("*"):
            names = tuple(name.strip() for name in crossed.split(":"))
            made += [*((*one, *names) for one in made)]
        terms += made[1:]
    return terms


def _by_library(text: str) -> Terms:
    from formulaic import Formula
    from formulaic.errors import FormulaicError

    try:
        formula = Formula(text)
        found = [tuple(factor.expr for factor in term.factors) for term in formula]
    except (FormulaicError, TypeError, AttributeError, SyntaxError) as error:
        message = f"the fixed part '{text}' cannot be read: {error}"
        raise FitError(message) from None
    intercept = ("1",) in found
    return _gather([term for term in found if term not in (("1",), ("0",))], intercept=intercept)


def _gather(terms: list[tuple[str, ...]], *, intercept: bool) -> Terms:
    """Drop repeats inside a term and among terms, and sort by degree, keeping the order."""
    as_factor = {name for term in terms for one in term for name in _FACTOR.findall(one)}
    clean: dict[frozenset[str], tuple[str, ...]] = {}
    for term in terms:
        names = tuple(dict.fromkeys(_FACTOR.sub(r"\1", name) for name in term))
        clean.setdefault(frozenset(names), names)
    ordered = tuple(sorted(clean.values(), key=len))
    variables = tuple(dict.fromkeys(name for term in ordered for name in term))
    return Terms(
        intercept=intercept, terms=ordered, variables=variables, as_factor=frozenset(as_factor)
    )


def random_words(terms: Sequence[str]) -> str:
    """Write the random terms behind the fixed part of a formula, in words.

    Parameters
    ----------
    terms : sequence of str

    Examples
    --------
    >>> "yield ~ treatment" + random_words(["block", "bag"])
    'yield ~ treatment; random: block and bag'
    """
    return f"; random: {' and '.join(terms)}" if terms else ""
