"""A shuffle that gives the same order for a seed on every machine and NumPy.

NumPy promises the raw stream of a bit generator for good, but not what is made of it (NEP 19), so
that the last step, the shuffle of Fisher and Yates (Durstenfeld 1964, CACM 7, 420), is our own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

__all__ = ["Lot"]

Item = TypeVar("Item")
_WORDS = 2**64


class Lot:
    """A source of lots drawn with equal chances.

    Parameters
    ----------
    seed : int
        0 or more.

    Examples
    --------
    >>> Lot(41).shuffled("ABCD")
    ['A', 'C', 'B', 'D']
    """

    def __init__(self, seed: int) -> None:
        self._bits = np.random.PCG64(seed)

    def below(self, bound: int) -> int:
        """Draw a whole number from 0 to `bound` - 1, each equally likely."""
        # Words past the largest multiple of the bound are thrown away: no remainder bias.
        limit = _WORDS - _WORDS % bound
        while True:
            word = int(self._bits.random_raw())
            if word < limit:
                return word % bound

    def shuffled(self, items: Sequence[Item]) -> list[Item]:
        """Give the items in an order drawn by lot, every order equally likely."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            chosen = self.below(last + 1)
            order[last], order[chosen] = order[chosen], order[last]
        return order
