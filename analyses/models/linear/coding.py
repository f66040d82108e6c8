"""Which columns a factor gets in each term, so that no column repeats another."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from itertools import combinations

from analyses.models.linear.formula import Terms

__all__ = ["Block", "code_terms"]

Block = tuple[tuple[str, bool], ...]
"""Variables multiplied together, each with a column for every level (True) or for all but one."""


def code_terms(terms: Terms, covariates: AbstractSet[str]) -> tuple[Block, ...]:
    """Turn terms into blocks of columns under treatment coding.

    A term stands for every combination of its factors; combinations that earlier terms hold
    already are left out, and what remains is written with as few blocks as possible (Chambers &
    Hastie 1992, Statistical Models in S, section 2.4.1, in the form that patsy and formulaic
    give it).

    Parameters
    ----------
    terms : Terms
        The fixed part; the overall level counts as held when it has one.
    covariates : set of str
        Variables that are measured and have their columns as they are.
    """
    held: dict[frozenset[str], set[frozenset[str]]] = {}
    if terms.intercept:
        held[frozenset()] = {frozenset()}
    blocks: list[Block] = []
    for term in terms.terms:
        factors = [name for name in term if name not in covariates]
        known = held.setdefault(frozenset(term) - frozenset(factors), set())
        new = [
            frozenset(some)
            for size in range(len(factors) + 1)
            for some in combinations(factors, size)
            if frozenset(some) not in known
        ]
        known.update(new)
        for coded in _merge([{name: False for name in factors if name in one} for one in new]):
            used = [name for name in term if name in covariates or name in coded]
            blocks.append(tuple((name, coded.get(name, True)) for name in used))
    return tuple(blocks)


def _merge(parts: list[dict[str, bool]]) -> list[dict[str, bool]]:
    """Let a longer part take in one that lacks a single factor, which then keeps all levels."""
    for at, short in enumerate(parts):
        for place in range(at + 1, len(parts)):
            extra = _only_extra(short, parts[place])
            if extra is not None:
                taken = parts[place] | {extra: True}
                return _merge([*parts[:at], *parts[at + 1 : place], taken, *parts[place + 1 :]])
    return parts


def _only_extra(short: dict[str, bool], long: dict[str, bool]) -> str | None:
    more = [name for name in long if name not in short]
    if len(more) != 1 or long[more[0]]:
        return None
    rest = {name: whole for name, whole in long.items() if name != more[0]}
    return more[0] if rest == short else None
