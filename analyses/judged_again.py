"""A verdict held against another reasonable way of doing the same."""

from __future__ import annotations

from analyses.estimate import Estimate
from analyses.finding import Check, Finding, judge

__all__ = ["dealt_again", "judged_again", "numbers", "told_apart"]


def judged_again(finding: Finding, name: str, again: Estimate, detail: str = "") -> Check:
    """Judge another estimate of the same difference by the same rule.

    Parameters
    ----------
    finding : Finding
        With the claim and the worthwhile difference, in the unit of the other estimate.
    name : str
        What was done.
    again : Estimate
        What it gave.
    detail : str
        For the statistician; the numbers when empty.
    """
    verdict = judge(again, claim=finding.claim, worthwhile=finding.worthwhile).verdict
    return Check(
        name=name,
        verdict=verdict,
        agrees=verdict == finding.verdict,
        detail=detail or numbers(again),
    )


def told_apart(finding: Finding, name: str, p: float, detail: str) -> Check:
    """Say whether a p value tells the two apart where the comparison by itself does.

    Parameters
    ----------
    finding : Finding
    name : str
        What was done.
    p : float
        Of no difference.
    detail : str
        For the statistician.
    """
    one = finding.estimate
    apart = p < 1 - one.level
    return Check(
        name=name,
        verdict="told apart" if apart else "not told apart",
        agrees=apart == (one.low_alone > 0 or one.high_alone < 0),
        detail=detail,
    )


def dealt_again(
    finding: Finding, before: str = "", after: str = " over the layouts that could have been drawn"
) -> Check | None:
    """Say what dealing the labels out again tells; None where that was not done.

    Parameters
    ----------
    finding : Finding
    before, after : str
        What stands around the p value in the detail.
    """
    p = finding.p_rerandomised
    if p is None:
        return None
    detail = f"{before}p {p:.3g}{after}"
    return told_apart(finding, "by dealing the labels out again", p, detail)


def numbers(one: Estimate) -> str:
    """Write an estimate with its limits, or why it has none."""
    if one.withheld:
        return one.withheld
    return f"{one.value:.4g} ({one.low:.4g} to {one.high:.4g})"
