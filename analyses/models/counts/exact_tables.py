"""Two-by-two tables given their margins: Fisher's exact test and the conditional odds ratio."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

from analyses.models.counts.one_share import Bound, check_counts, check_level
from analyses.models.numerics.bracketing import find_root

__all__ = ["ConditionalOdds", "Margins", "conditional_odds", "margins_of", "odds_from_margins"]

Array: TypeAlias = npt.NDArray[np.float64]

# Tables whose chance exceeds that of the observed one by rounding alone count as equally unlikely.
_TIE = 1 + 1e-7
_FAR = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """The events that a first group can have, given the margins of one or several tables.

    Attributes
    ----------
    events : ndarray
        The possible counts, in steps of one.
    log_weights : ndarray
        Logarithms of the number of ways, up to a constant: chances at an odds ratio of one.
    """

    events: Array
    log_weights: Array

    def chances(self, log_odds_ratio: npt.ArrayLike = 0.0) -> Array:
        """Give the chance of each count at each log odds ratio (rows), counts in columns."""
        theta = np.asarray(log_odds_ratio, float)[..., None]
        steps = self.events - self.events[0]
        logs = self.log_weights + steps * theta
        weights = np.exp(logs - logs.max(axis=-1, keepdims=True))
        return np.asarray(weights / weights.sum(axis=-1, keepdims=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionalOdds:
    """The conditional odds ratio of one table or common to several, with exact inference.

    Attributes
    ----------
    value, low, high : float
        The conditional maximum likelihood estimate and its exact limits, from 0 to infinity; the
        value is nan when the margins leave only one table possible.
    level : float
        Confidence of the interval, or of the one-sided bound.
    bound : {"both", "lower", "upper"}
        Which limits carry the error.
    p : float
        Two-sided p value of an odds ratio of one: the chance of all tables no likelier than this.
    p_less, p_greater : float
        One-sided p values: the chance of so few, or so many, events in the first group.
    p_mid : float
        Twice the smaller one-sided mid-p value.
    method : str
        The name of the test.
    """

    value: float
    low: float
    high: float
    level: float
    bound: Bound
    p: float
    p_less: float
    p_greater: float
    p_mid: float
    method: str


def margins_of(x1: int, n1: int, x2: int, n2: int) -> Margins:
    """Give the conditional distribution of the first group's events, given all margins.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    """
    check_counts(x1, n1), check_counts(x2, n2)
    total = x1 + x2
    events = np.arange(max(0, total - n2), min(n1, total) + 1.0)
    others = total - events
    logs = -gammaln(events + 1) - gammaln(n1 - events + 1)
    logs = logs - gammaln(others + 1) - gammaln(n2 - others + 1)
    return Margins(events=events, log_weights=logs - logs.max())


def _joined(first: Margins, second: Margins) -> Margins:
    """Give the distribution of the sum of two independent counts."""
    weights = np.convolve(np.exp(first.log_weights), np.exp(second.log_weights))
    with np.errstate(divide="ignore"):
        logs = np.log(weights)
    start = first.events[0] + second.events[0]
    return Margins(
        events=start + np.arange(len(weights), dtype=float), log_weights=logs - logs.max()
    )


def odds_from_margins(
    tables: Sequence[Margins],
    observed: int,
    level: float = 0.95,
    *,
    bound: Bound = "both",
    mid: bool = False,
    method: str = "exact conditional",
) -> ConditionalOdds:
    """Give the common odds ratio of tables from their conditional distributions.

    Parameters
    ----------
    tables : sequence of Margins
        One for each stratum.
    observed : int
        Events of the first group, summed over the strata.
    level : float
        Confidence of the interval, or of the one-sided bound.
    bound : {"both", "lower", "upper"}
        One-sided bounds put all the error on one side.
    mid : bool
        Mid-p limits, shorter but no longer guaranteed to cover, in place of the exact ones.
    method : str
        The name to carry on the result.

    Notes
    -----
    Cornfield (1956), Proc. 3rd Berkeley Symp. 4, 135-148, solved to full precision; common to
    strata, Gart (1970), Biometrika 57, 471-475, by convolution.
    """
    joint = reduce(_joined, tables)
    at = joint.events == observed
    if not at.any():
        raise ValueError(f"{observed} events cannot occur under these margins")
    tail = (1 - check_level(level)) / (2 if bound == "both" else 1)
    low, high = _limits(joint, observed, tail, half=0.5 if mid else 0.0)
    chances = joint.chances()
    own = float(chances[at][0])
    less = float(chances[joint.events < observed].sum())
    more = float(chances[joint.events > observed].sum())
    return ConditionalOdds(
        value=_most_likely(joint, observed),
        low=0.0 if bound == "upper" else low,
        high=float("inf") if bound == "lower" else high,
        level=level,
        bound=bound,
        p=min(1.0, float(chances[chances <= own * _TIE].sum())),
        p_less=min(1.0, less + own),
        p_greater=min(1.0, more + own),
        p_mid=min(1.0, 2 * (min(less, more) + own / 2)),
        method=method + (" (mid-p)" if mid else ""),
    )


def _most_likely(joint: Margins, observed: int) -> float:
    first, last = joint.events[0], joint.events[-1]
    if first == last:
        return float("nan")
    if observed == first:
        return 0.0
    if observed == last:
        return float("inf")

    def excess(theta: Array) -> Array:
        return np.asarray(joint.chances(theta) @ joint.events - observed)

    return float(np.exp(find_root(excess, -_FAR, _FAR)))


def _limits(joint: Margins, observed: int, tail: float, half: float) -> tuple[float, float]:
    above = (joint.events > observed) + (1 - half) * (joint.events == observed)
    below = (joint.events < observed) + (1 - half) * (joint.events == observed)

    # Logarithms make the tail a nearly straight line, which the search follows in few steps.
    def low_excess(theta: Array) -> Array:
        return np.asarray(np.log(joint.chances(theta) @ above + 1e-300) - np.log(tail))

    def high_excess(theta: Array) -> Array:
        return np.asarray(np.log(joint.chances(theta) @ below + 1e-300) - np.log(tail))

    low = 0.0 if observed == joint.events[0] else float(np.exp(find_root(low_excess, -_FAR, _FAR)))
    if observed == joint.events[-1]:
        return low, float("inf")
    return low, float(np.exp(find_root(high_excess, -_FAR, _FAR)))


def conditional_odds(
    x1: int,
    n1: int,
    x2: int,
    n2: int,
    level: float = 0.95,
    *,
    bound: Bound = "both",
    mid: bool = False,
) -> ConditionalOdds:
    """Give Fisher's exact test with the conditional odds ratio and its exact interval.

    Parameters
    ----------
    x1, n1, x2, n2 : int
        Events and totals of the two groups.
    level : float
        Confidence of the interval, or of the one-sided bound.
    bound : {"both", "lower", "upper"}
        One-sided bounds put all the error on one side.
    mid : bool
        Mid-p limits in place of the exact ones.

    Notes
    -----
    Fisher (1935), The Design of Experiments; limits of Cornfield (1956). The p values equal those
    of scipy.stats.fisher_exact and the odds ratio that of scipy.stats.contingency.odds_ratio; they
    are computed here from one distribution, which strata share, without the import of scipy.stats.

    Examples
    --------
    >>> tea = conditional_odds(3, 4, 1, 4)
    >>> round(tea.p_greater, 4), round(tea.value, 3)
    (0.2429, 6.408)
    """
    table = margins_of(x1, n1, x2, n2)
    return odds_from_margins([table], x1, level, bound=bound, mid=mid, method="Fisher's exact test")
