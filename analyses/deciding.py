"""How far an open finding is from being decided."""

from __future__ import annotations

from analyses.finding import BETTER_WHEN, Finding

__all__ = ["OFTEN", "distance_to_decide"]

OFTEN = 0.8416212335729143
"""Standard normal quantile of 0.8: a larger trial is to settle a question in 8 of 10 tries."""


def distance_to_decide(finding: Finding) -> float:
    """Give how far the estimate lies from the value that would decide it first.

    Parameters
    ----------
    finding : Finding
        One that is not settled, or whose size is open.

    Returns
    -------
    float
        In the unit of the estimate, never below 0 where something could decide.
    """
    margin = finding.worthwhile or 0.0
    sign = 1.0 if BETTER_WHEN[finding.estimate.outcome] == "higher" else -1.0
    value = sign * finding.estimate.value
    if finding.claim == "no worse":
        return abs(value + margin)
    if finding.claim == "same":
        return abs(margin - abs(value))
    if finding.verdict == "shown, size open":
        return abs(value - margin)
    # Not settled: a gain would show (l > 0), or a worthwhile one be ruled out (u < W).
    return max(value, margin - value)
