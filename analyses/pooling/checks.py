"""What becomes of the group's verdict when something is done another way."""

from __future__ import annotations

import math
from dataclasses import replace

from analyses.comparison import Comparison, Sample
from analyses.estimate import Estimate
from analyses.finding import Check, Finding
from analyses.judged_again import judged_again, numbers
from analyses.models.linear.arrays import FitError
from analyses.models.pooled import PooledEffect, pool
from analyses.pooling.differences import differences
from analyses.pooling.one_stage import fit_rows, one_stage
from analyses.pooling.own import Own
from analyses.pooling.rows import group_terms, scale_of
from trials.trial import Trial

__all__ = ["group_checks"]

_MOST_SPREADS = 12


def group_checks(
    finding: Finding,
    comparison: Comparison,
    trial: Trial,
    *,
    pooled: PooledEffect | None,
    owns: tuple[Own, ...],
    lean: str,
    late: frozenset[str],
) -> tuple[Check, ...]:
    """Try the verdict in other ways.

    Parameters
    ----------
    finding : Finding
        Of the one-stage model.
    comparison : Comparison
        What it came from.
    trial : Trial
        The plan of the group.
    pooled : PooledEffect or None
        The two-stage companion.
    owns : tuple of Own
        Own answers that have a variance.
    lean : str
        Key of the grower that the answer leans on most; empty for none.
    late : frozenset of str
        Keys of growers whose plan was not locked before their first result.

    Returns
    -------
    tuple of Check
        Those that apply.
    """
    sample = comparison.sample
    if finding.estimate.withheld or sample is None:
        return ()
    tried = [
        _two_stages(finding, pooled),
        _own_spreads(finding, sample, trial),
        _in_per_cent(finding, owns),
        _without(finding, sample, trial, {lean}, "without the grower it leans on most"),
        _without(finding, sample, trial, late, "only growers whose plan was locked beforehand"),
    ]
    return tuple(one for one in tried if one is not None)


def _check(name: str, finding: Finding, again: Estimate) -> Check:
    return judged_again(finding, name, again, f"{numbers(again)} {again.unit}")


def _two_stages(finding: Finding, pooled: PooledEffect | None) -> Check | None:
    if pooled is None:
        return None
    again = replace(finding.estimate, value=pooled.value, low=pooled.low, high=pooled.high)
    return _check("from each grower's own answer", finding, again)


def _own_spreads(finding: Finding, sample: Sample, trial: Trial) -> Check | None:
    """Let bags vary more at one grower than at another."""
    if sample.frame["grower"].nunique() > _MOST_SPREADS:
        return None
    codes = [trial.control.code, finding.estimate.treatment]
    pair = _only(sample, codes)
    try:
        fit = fit_rows(pair, codes, residual_by="grower")
        found = differences(fit, codes, scale_of(sample), finding.estimate.level)
    except FitError:
        return None
    low, high = float(found.low[0]), float(found.high[0])
    if not math.isfinite(low + high):
        return None
    again = replace(finding.estimate, value=float(found.value[0]), low=low, high=high)
    return _check("bags vary differently at each grower", finding, again)


def _in_per_cent(finding: Finding, owns: tuple[Own, ...]) -> Check | None:
    """Pool what each grower gained in per cent of the own control."""
    rated = [one for one in owns if one.log_variance > 0 and math.isfinite(one.log_ratio)]
    control = finding.means[0].value if finding.means else math.nan
    if len(rated) < 2 or finding.estimate.outcome != "yield" or not control > 0:
        return None
    found = pool(
        [one.log_ratio for one in rated],
        [one.log_variance for one in rated],
        level=finding.estimate.level,
    )
    value, low, high = (100 * math.expm1(part) for part in (found.value, found.low, found.high))
    again = replace(finding.estimate, value=value, low=low, high=high, unit="%")
    margin = None if finding.worthwhile is None else 100 * finding.worthwhile / control
    asked = replace(finding, worthwhile=margin)
    return _check("in per cent of each grower's control", asked, again)


def _without(
    finding: Finding, sample: Sample, trial: Trial, keys: set[str] | frozenset[str], name: str
) -> Check | None:
    gone = sample.frame["grower"].isin(keys)
    if not gone.any() or sample.frame.loc[~gone, "grower"].nunique() < 2:
        return None
    frame = sample.frame[~gone].reset_index(drop=True)
    left = replace(sample, frame=frame, random=group_terms(frame))
    again = one_stage(left, trial, level=finding.estimate.level)
    for one in again.estimates:
        if one.treatment == finding.estimate.treatment and not one.withheld:
            return _check(name, finding, one)
    return None


def _only(sample: Sample, codes: list[str]) -> Sample:
    frame = sample.frame[sample.frame["treatment"].isin(codes)].reset_index(drop=True)
    return replace(sample, frame=frame, random=group_terms(frame))
