"""An estimate judged by the plan: a verdict word and its reasons, no sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analyses.companion import Companion
from analyses.estimate import Estimate
from trials.trial import Claim, Outcome

__all__ = ["BETTER_WHEN", "Check", "Finding", "Judgement", "Mean", "Verdict", "judge"]

Verdict: TypeAlias = Literal["shown", "shown, size open", "ruled out", "not settled", "withheld"]

BETTER_WHEN: dict[Outcome, Literal["higher", "lower"]] = {
    "yield": "higher",
    "contamination": "lower",
    "flush drop": "higher",
    "days to colonise": "lower",
    "days to pins": "lower",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """What the units of one treatment gave.

    Parameters
    ----------
    treatment : str
        Its code.
    estimand : str
        Over which units.
    value, low, high : float
        Adjusted mean and its interval in `unit`; the limits are NaN without inference.
    sd : float
        Standard deviation between units as recorded, in `unit`; NaN with fewer than two.
    n : int
        Units it rests on.
    unit : str
        ``g``, ``% biological efficiency``, ``bags in 100``.
    """

    treatment: str
    estimand: str
    value: float
    low: float
    high: float
    sd: float
    n: int
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """What becomes of a verdict when something is done another way.

    Parameters
    ----------
    name : str
        What was done, such as ``log scale`` or ``re-randomisation``.
    verdict : str
        The verdict then, or a plain result.
    agrees : bool
        Whether it is the verdict of the finding.
    detail : str
        Numbers for the statistician.
    """

    name: str
    verdict: str
    agrees: bool
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """A verdict with the facts that it rests on.

    Parameters
    ----------
    verdict : str
        One of `Verdict`.
    reasons : tuple of str
        The inequalities that decided, in symbols, for the statistician.
    """

    verdict: Verdict
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A judged estimate, with everything that its sentence and figure need.

    Parameters
    ----------
    id : str
        Stable, such as ``yield-started-O``.
    estimate : Estimate
        The number.
    claim : {"better", "no worse", "same"}
        What was asked of it; an explored outcome is asked "better".
    planned : bool
        Whether it is the aim of the locked plan.
    explored_because : str
        Why it counts as explored; empty when planned.
    verdict : str
        One of `Verdict`.
    reasons : tuple of str
        As in `Judgement`.
    worthwhile : float or None
        The margin in the unit of the estimate.
    p_rerandomised : float or None
        The re-randomisation p beside the model's.
    means : tuple of Mean
        Of the two treatments compared, control first.
    checks : tuple of Check
        How the verdict fares otherwise.
    p_holm : float or None
        Adjusted for all that was explored (Holm 1979); None for planned findings.
    companions : tuple of Companion
        The same comparison in other measures, for the statistician.
    """

    id: str
    estimate: Estimate
    claim: Claim
    planned: bool
    explored_because: str
    verdict: Verdict
    reasons: tuple[str, ...]
    worthwhile: float | None
    p_rerandomised: float | None
    means: tuple[Mean, ...]
    checks: tuple[Check, ...] = ()
    companions: tuple[Companion, ...] = ()
    p_holm: float | None = None


def judge(estimate: Estimate, *, claim: Claim, worthwhile: float | None) -> Judgement:
    """Judge an estimate by the claim and the smallest difference worth having.

    Parameters
    ----------
    estimate : Estimate
        Its interval is read in the good direction: more yield, fewer losses.
    claim : {"better", "no worse", "same"}
        What the plan claims.
    worthwhile : float or None
        The smallest difference worth having (the margin of "no worse" and "same"), in the
        unit of the estimate. None with "better" means that any gain is worth having.

    Returns
    -------
    Judgement
        "better": shown when l >= W (and l > 0), size open when 0 < l < W, ruled out when
        u < W or u <= 0. "no worse": shown when l > -M, ruled out when u < -M. "same": shown
        when -M < l and u < M, ruled out when l > M or u < -M. Otherwise not settled.

    Raises
    ------
    ValueError
        "no worse" or "same" without a margin.

    Notes
    -----
    Interval and margin as in the CONSORT extension for non-inferiority and equivalence trials
    (Piaggio et al. 2012, JAMA 308, 2594-2604).
    """
    if estimate.withheld or not math.isfinite(estimate.value):
        return Judgement(verdict="withheld", reasons=(estimate.withheld or "no estimate",))
    low, high = estimate.low, estimate.high
    if BETTER_WHEN[estimate.outcome] == "lower":
        low, high = -high, -low
    if claim == "better":
        return _judge_better(low, high, worthwhile or 0.0)
    if worthwhile is None:
        raise ValueError(f"the claim “{claim}” needs a margin")
    return (_judge_no_worse if claim == "no worse" else _judge_same)(low, high, worthwhile)


def _judge_better(low: float, high: float, worthwhile: float) -> Judgement:
    if low > 0 and low >= worthwhile:
        return Judgement(verdict="shown", reasons=(f"l = {low:.4g} >= W = {worthwhile:.4g}",))
    if high < worthwhile or high <= 0:
        return Judgement(verdict="ruled out", reasons=(f"u = {high:.4g} < W = {worthwhile:.4g}",))
    if low > 0:
        reason = f"0 < l = {low:.4g} < W = {worthwhile:.4g}"
        return Judgement(verdict="shown, size open", reasons=(reason,))
    reason = f"l = {low:.4g} <= 0 and u = {high:.4g} >= W = {worthwhile:.4g}"
    return Judgement(verdict="not settled", reasons=(reason,))


def _judge_no_worse(low: float, high: float, margin: float) -> Judgement:
    if low > -margin:
        return Judgement(verdict="shown", reasons=(f"l = {low:.4g} > -M = {-margin:.4g}",))
    if high < -margin:
        return Judgement(verdict="ruled out", reasons=(f"u = {high:.4g} < -M = {-margin:.4g}",))
    reason = f"l = {low:.4g} <= -M = {-margin:.4g} <= u = {high:.4g}"
    return Judgement(verdict="not settled", reasons=(reason,))


def _judge_same(low: float, high: float, margin: float) -> Judgement:
    inside = f"[{low:.4g}, {high:.4g}] against ±{margin:.4g}"
    if -margin < low and high < margin:
        return Judgement(verdict="shown", reasons=(inside,))
    if low > margin or high < -margin:
        return Judgement(verdict="ruled out", reasons=(inside,))
    return Judgement(verdict="not settled", reasons=(inside,))
