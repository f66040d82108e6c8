"""The rule of the plan worked out anew from the limits: verdict, direction, advice, units."""

from __future__ import annotations

import math

from scipy.stats import norm, t

from analyses.finding import BETTER_WHEN

__all__ = ["expected", "right_advice", "way"]


def expected(finding):
    """Give the verdict that the rule of the plan asks for, from the limits."""
    if finding.estimate.withheld or math.isnan(finding.estimate.low):
        return "withheld"
    if not finding.planned:
        return "explored"
    low, high = finding.estimate.low, finding.estimate.high
    if BETTER_WHEN[finding.estimate.outcome] == "lower":
        low, high = -high, -low
    return {"better": _better, "no worse": _no_worse, "same": _same}[finding.claim](
        low, high, finding.worthwhile
    )


def _better(low, high, worth):
    worth = worth or 0.0
    if low > 0:
        if high < worth:
            return "apart, small"
        return ("enough" if worth else "apart") if low >= worth else "size open"
    if high < 0:
        return "apart"
    if high < worth or (not worth and high <= 0):
        if not worth:
            return "no gain"
        return "small" if low > -worth else "not enough"
    return "better open"


def _no_worse(low, high, margin):
    if low > -margin:
        return "apart" if low > 0 else "allowed" if high < 0 else "bounded"
    if high < -margin:
        return "not allowed"
    return "worse, open" if high < 0 else "no worse open"


def _same(low, high, margin):
    apart = low > 0 or high < 0
    if -margin < low and high < margin:
        return "apart, small" if apart else "small"
    if low > margin or high < -margin:
        return "enough"
    return "apart, open" if apart else "same open"


def way(estimate):
    return 1 if estimate.low > 0 else -1 if estimate.high < 0 else 0


_ACTIONS = {
    "enough": "adopt", "bounded": "adopt", "allowed": "adopt", "apart, small": "choose",
    "small": "choose", "not enough": "stop", "no gain": "stop", "not allowed": "stop",
    "withheld": "redesign", "explored": "note",
}  # fmt: skip


def right_advice(finding, trial, said, numbers):
    kind, estimate = expected(finding), finding.estimate
    good = way(estimate) * (1 if BETTER_WHEN[estimate.outcome] == "higher" else -1)
    if kind in ("apart", "enough"):
        return said.action == ("adopt" if good > 0 else "stop")
    if kind in _ACTIONS:
        return said.action == _ACTIONS[kind]
    needed = _needed(finding, good)
    if said.now != estimate.units:
        return False
    if said.action == "too many":
        return needed > 10 * estimate.units
    step = len(trial.treatments) * trial.design.units_per_treatment
    return (
        said.action == "repeat" and needed <= 10 * estimate.units + 1
        and all(needed - 1 <= one <= needed + step + 1 for one in numbers) and len(numbers) == 1
    )  # fmt: skip


def _needed(finding, good):
    """Units with which 8 of 10 trials would decide, were the truth where the estimate is."""
    del good
    estimate, margin = finding.estimate, finding.worthwhile or 0.0
    value = estimate.value * (1 if BETTER_WHEN[estimate.outcome] == "higher" else -1)
    ways = {
        "better": [value, margin - value] if estimate.low <= 0 <= estimate.high else
        [abs(value - margin)],
        "no worse": [abs(value + margin)], "same": [abs(abs(value) - margin)],
    }  # fmt: skip
    distance = max(ways[finding.claim])
    if distance <= 0:
        return math.inf
    half, alone = (estimate.high - estimate.low) / 2, (estimate.high_alone - estimate.low_alone) / 2
    share_ = (1 + estimate.level) / 2
    quantile = norm.ppf(share_) if estimate.df is None else t.ppf(share_, estimate.df)
    needed = ((half + norm.ppf(0.8) * alone / quantile) / distance) ** 2
    return max(1.0, needed) * estimate.units
