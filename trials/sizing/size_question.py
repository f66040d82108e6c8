"""How large a trial must be: the question, and its answer three ways round."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from scipy.special import nctdtr, stdtr

from trials.sizes import Precision, batch_sd, smallest_difference, units_needed
from trials.sizing.batch_sizes import (
    expected_batch_width,
    power_batches_differ,
    power_batches_no_worse,
)
from trials.sizing.control_sizes import against_control_point
from trials.sizing.mean_sizes import expected_width, power_same
from trials.sizing.share_sizes import (
    expected_share_width,
    power_share_margin,
    power_shares_differ,
    power_shares_same,
)
from trials.sizing.size_rounds import Rounds
from trials.trial import Claim

__all__ = ["SizeAnswer", "SizeQuestion", "answer_size", "cv_started", "power_of", "reach_curve"]

_MOST_TIMES = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeQuestion:
    """What is asked.

    Parameters
    ----------
    outcome : {"yield", "contamination"}
    claim : {"better", "no worse", "same"}
    treatments : int
        The control among them.
    rounds : Rounds
        The design.
    cv : float
        For yield: standard deviation of bags that are alike, over the control's mean.
    cv_batch : float
        The same of batches, where whole batches are treated.
    lost : float
        Share of the bags that is lost, 0 to below 1.
    correlation : float
        Intracluster correlation of losses within a batch.
    worthwhile : float or None
        The smallest difference worth having, or the margin: a share of the control's mean for
        yield, a share of the bags for contamination.
    power : float
        Chance that is asked for, between 0 and 1.
    confidence : float
        For all comparisons with the control together.
    """

    outcome: str
    claim: Claim
    treatments: int
    rounds: Rounds
    cv: float = math.nan
    cv_batch: float = 0.0
    lost: float = 0.0
    correlation: float = 0.0
    worthwhile: float | None = None
    power: float = 0.8
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeAnswer:
    """What a trial of a size can see; differences as in `SizeQuestion`.

    Parameters
    ----------
    question : SizeQuestion
    bags : int
        Bags as planned.
    df : float
        Degrees of freedom as planned; infinite where shares are compared.
    reach : float or None
        The smallest difference (or margin) with the power asked for; None where none would do.
    power_now : float or None
        Power for the worthwhile difference as planned; None without one.
    rounds_needed, bags_needed : int or None
        For the worthwhile difference; None without one, or where nothing is enough.
    width : float
        Width of the interval that is expected.
    """

    question: SizeQuestion
    bags: int
    df: float
    reach: float | None
    power_now: float | None
    rounds_needed: int | None
    bags_needed: int | None
    width: float


def cv_started(cv: float, lost: float) -> float:
    """Give the coefficient of variation over all bags started, lost ones giving nothing.

    Parameters
    ----------
    cv : float
        Of the bags that are not lost.
    lost : float
        Share lost.

    Notes
    -----
    E(X^2) / E(X)^2 = (1 + cv^2) / (1 - lost) when a lost bag gives 0.

    Examples
    --------
    >>> round(cv_started(0.20, 0.05), 3)
    0.308
    """
    return math.sqrt((cv**2 + lost) / (1 - lost))


def answer_size(question: SizeQuestion) -> SizeAnswer:
    """Answer three ways round: difference for the size, power for both, size for the difference.

    Parameters
    ----------
    question : SizeQuestion

    Returns
    -------
    SizeAnswer

    Notes
    -----
    Power of one comparison, judged by the interval that the analysis uses: Dunnett's for yield,
    Bonferroni's for losses, two-sided also for "no worse" and "same".
    """
    rounds, wanted = question.rounds, question.worthwhile
    now = float(rounds.planned)
    needed: int | None = None
    if wanted is not None:
        needed = _rounds_for(question, wanted)
    return SizeAnswer(
        question=question,
        bags=rounds.planned * rounds.bags,
        df=rounds.precision(now).df if _is_t(question) else math.inf,
        reach=_reach(question, now),
        power_now=None if wanted is None else power_of(question, wanted, now),
        rounds_needed=needed,
        bags_needed=None if needed is None else needed * rounds.bags,
        width=_width(question, now),
    )


def reach_curve(question: SizeQuestion, most: int) -> list[tuple[int, float]]:
    """Give bags and the smallest difference seen with them, for growing sizes.

    Parameters
    ----------
    question : SizeQuestion
    most : int
        The largest number of bags.
    """
    first = question.rounds.least
    last = max(first, most // question.rounds.bags)
    steps = sorted({round(first * (last / first) ** (n / 39)) for n in range(40)})
    found = ((count * question.rounds.bags, _reach(question, count)) for count in steps)
    return [(bags, reach) for bags, reach in found if reach is not None]


def power_of(question: SizeQuestion, difference: float, rounds: float) -> float:
    """Give the power for a difference, or a margin, with a number of rounds.

    Parameters
    ----------
    question : SizeQuestion
    difference : float
        As `SizeQuestion.worthwhile`.
    rounds : float
        Fractions are allowed, for the exact size behind a whole one.
    """
    if difference <= 0:
        return 0.0
    if question.outcome == "yield":
        return _yield_power(question, difference, rounds)
    size = (1 - question.confidence) / (question.treatments - 1)
    units = question.rounds.each * rounds
    if question.rounds.bags_per_unit > 1:
        return _batch_power(question, difference, units, size)
    return _bag_power(question, difference, units, size)


def _is_t(question: SizeQuestion) -> bool:
    return question.outcome == "yield" or question.rounds.bags_per_unit > 1


def _yield_sd(question: SizeQuestion) -> float:
    cv = cv_started(question.cv, question.lost)
    if question.rounds.bags_per_unit > 1:
        return batch_sd(question.cv_batch, cv, question.rounds.bags_per_unit)
    return cv


def _yield_power(question: SizeQuestion, difference: float, rounds: float) -> float:
    precision = question.rounds.precision(rounds)
    if precision.df <= 0:
        return 0.0
    sd, point = _yield_sd(question), _point(question, precision)
    if question.claim == "same":
        return power_same(0.0, difference, sd, precision, size=float(stdtr(precision.df, -point)))
    # "No worse" asks whether a true zero stands clear of the margin: the same distance.
    shift = difference / (sd * math.sqrt(precision.factor))
    return float(nctdtr(precision.df, -shift, -point) + nctdtr(precision.df, shift, -point))


def _point(question: SizeQuestion, precision: Precision) -> float:
    """Give the t that decides when all comparisons with the control are made together."""
    return _joint_point(question.treatments - 1, precision.df, question.confidence)


@lru_cache(maxsize=4096)
def _joint_point(others: int, df: float, confidence: float) -> float:
    # A search for a difference asks for the same point again and again, and it is an integral.
    return against_control_point([1.0] * others, 1.0, df, size=1 - confidence)


def _tail(question: SizeQuestion, precision: Precision) -> float:
    """Give the chance beyond each limit of the interval that holds for all comparisons."""
    return float(stdtr(precision.df, -_point(question, precision)))


def _bag_power(question: SizeQuestion, difference: float, units: float, size: float) -> float:
    lost = question.lost
    if question.claim == "better":
        if difference > lost:
            return 0.0
        return power_shares_differ(lost - difference, units, lost, size=size)
    if question.claim == "no worse":
        return power_share_margin(lost, units, lost, margin=difference, size=size / 2)
    return power_shares_same(lost, units, lost, margin=difference, size=size / 2)


def _batch_power(question: SizeQuestion, difference: float, units: float, size: float) -> float:
    lost, bags, alike = question.lost, question.rounds.bags_per_unit, question.correlation
    if units <= 1:
        return 0.0
    if question.claim == "better":
        if difference > lost:
            return 0.0
        return power_batches_differ(
            lost - difference, lost, units, bags, alike, confidence=1 - size
        )
    one_sided = power_batches_no_worse(
        lost, lost, units, bags, alike, margin=difference, confidence=1 - size / 2
    )
    # Two one-sided tests of equal shares miss at most twice as often as one of them.
    return one_sided if question.claim == "no worse" else max(0.0, 2 * one_sided - 1)


def _reach(question: SizeQuestion, rounds: float) -> float | None:
    largest = math.inf
    if question.outcome == "contamination":
        largest = question.lost if question.claim == "better" else 1 - question.lost - 1e-9
    if _is_t(question) and question.rounds.precision(rounds).df <= 0:
        return None
    try:
        return smallest_difference(
            lambda difference: power_of(question, difference, rounds), question.power, largest
        )
    except ValueError:
        return None


def _rounds_for(question: SizeQuestion, difference: float) -> int | None:
    def power(rounds: float) -> float:
        return power_of(question, difference, rounds)

    least = max(question.rounds.least, 1)
    try:
        found = units_needed(power, question.power, least)
    except ValueError:
        return None
    return found if found <= _MOST_TIMES * question.rounds.planned else None


def _width(question: SizeQuestion, rounds: float) -> float:
    precision = question.rounds.precision(rounds)
    if question.outcome == "yield":
        if precision.df <= 0:
            return math.inf
        tail = _tail(question, precision)
        return expected_width(_yield_sd(question), precision, 1 - 2 * tail)
    size = (1 - question.confidence) / (question.treatments - 1)
    units = question.rounds.each * rounds
    if question.rounds.bags_per_unit > 1:
        if units <= 1:
            return math.inf
        bags = question.rounds.bags_per_unit
        return expected_batch_width(
            question.lost, units, bags, question.correlation, confidence=1 - size
        )
    return expected_share_width(question.lost, units, question.lost, confidence=1 - size)
