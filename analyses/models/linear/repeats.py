"""Rows that were probably entered twice."""

from __future__ import annotations

import numpy as np

from analyses.models.linear.arrays import Array, Codes
from analyses.models.linear.groups import Grouping

__all__ = ["note_repeats"]

_MANY = 20_000  # rows from which looking for repeats would cost more than the fit


def note_repeats(response: Array, cells: Codes | None, random: tuple[Grouping, ...]) -> list[str]:
    """Say how many rows repeat another one in the response and in every label.

    Nothing is said where several rows with the same labels are the rule, as in one-way layouts:
    there two equal values are no sign of a slip.

    Parameters
    ----------
    response : array, shape (n,)
        The response.
    cells : array of int, shape (n,), or None
        Combination of fixed factors of each row; None where there are covariates.
    random : tuple of Grouping
        The random terms.
    """
    if cells is None or not random or len(response) > _MANY:
        return []
    codes = cells
    for term in random:
        codes = codes * term.count + term.codes
    order = np.lexsort((response, codes))
    sorted_codes, sorted_response = codes[order], response[order]
    same_place = sorted_codes[1:] == sorted_codes[:-1]
    if same_place.sum() > len(response) / 5:
        return []
    count = int((same_place & (sorted_response[1:] == sorted_response[:-1])).sum())
    if not count:
        return []
    rows = "1 row repeats" if count == 1 else f"{count} rows repeat"
    return [f"{rows} another row in every label and in the response: entered twice?"]
