"""Arrays carried together with their first and second derivatives.

Every quantity of a nested model is a rational function of its variance ratios. Written as a jet,
it brings along the derivatives that the search and the small-sample corrections need, so the
formulas in the code stay those of the criterion itself (forward differentiation; Griewank &
Walther 2008, Evaluating Derivatives, chapter 13).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["Array", "Jet", "logarithm", "parameter", "product", "reciprocal"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Jet:
    """A value with its derivatives; what is not listed is zero.

    Parameters
    ----------
    value
        The array itself.
    first
        First derivatives by parameter number.
    second
        Second derivatives by pairs of parameter numbers (i <= j).
    """

    value: Array
    first: dict[int, Array] = field(default_factory=dict)
    second: dict[tuple[int, int], Array] = field(default_factory=dict)

    def through(self, linear: Callable[[Array], Array]) -> Jet:
        """Carry the jet through a linear map, the same for the value and each derivative."""
        return Jet(
            linear(self.value),
            {i: linear(d) for i, d in self.first.items()},
            {ij: linear(d) for ij, d in self.second.items()},
        )

    def plus(self, number: float) -> Jet:
        """Add a constant."""
        return Jet(self.value + number, self.first, self.second)

    def first_order(self) -> Jet:
        """Forget the second derivatives."""
        return Jet(self.value, self.first)


def parameter(value: Array, number: int) -> Jet:
    """Start a jet from the parameter with this number, `value` in shape (trials,)."""
    return Jet(value, {number: np.ones(1)})


def _add(sums: dict[int, Array] | dict[tuple[int, int], Array], key: object, term: Array) -> None:
    """Add a term into the entry `key`."""
    entries: dict[object, Array] = sums  # type: ignore[assignment]
    entries[key] = entries[key] + term if key in entries else term


def product(a: Jet, b: Jet, order: int = 2) -> Jet:
    """Multiply two jets by the product rule, up to derivatives of `order` 1 or 2."""
    first: dict[int, Array] = {}
    second: dict[tuple[int, int], Array] = {}
    for i, da in a.first.items():
        _add(first, i, da * b.value)
    for i, db in b.first.items():
        _add(first, i, a.value * db)
    if order < 2:
        return Jet(a.value * b.value, first)
    for ij, dda in a.second.items():
        _add(second, ij, dda * b.value)
    for ij, ddb in b.second.items():
        _add(second, ij, a.value * ddb)
    for i, da in a.first.items():
        for j, db in b.first.items():
            cross = da * db
            _add(second, (min(i, j), max(i, j)), 2 * cross if i == j else cross)
    return Jet(a.value * b.value, first, second)


def _chain(a: Jet, value: Array, slope: Array, bend: Array) -> Jet:
    """Give f(a) from f, f' and f'' at the value of `a`."""
    first = {i: slope * da for i, da in a.first.items()}
    second = {ij: slope * dda for ij, dda in a.second.items()}
    for i, da in a.first.items():
        for j, db in a.first.items():
            if i <= j:
                _add(second, (i, j), bend * da * db)
    return Jet(value, first, second)


def reciprocal(a: Jet) -> Jet:
    """Give 1 / a."""
    value = 1.0 / a.value
    square = value * value
    return _chain(a, value, -square, 2.0 * square * value)


def logarithm(a: Jet) -> Jet:
    """Give the natural logarithm of a."""
    slope = 1.0 / a.value
    return _chain(a, np.log(a.value), slope, -slope * slope)
