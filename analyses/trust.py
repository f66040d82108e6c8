"""Whether a verdict survives when the analysis is done another reasonable way.

Each check repeats the comparison with one thing changed and judges it by the same rule. Post hoc
power is not among them (Hoenig & Heisey 2001, The American Statistician 55, 19-24).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analyses.comparison import DF_METHOD, Comparison, Sample
from analyses.estimate import Estimate
from analyses.finding import Check, Finding
from analyses.fit_again import fit_again
from analyses.judged_again import dealt_again, judged_again, numbers, told_apart
from analyses.layouts.growers import CELL, GROWER
from analyses.models.contrasts import infer
from analyses.models.linear.arrays import FitError
from analyses.models.numerics.growth import rise
from trials.trial import Trial

if TYPE_CHECKING:
    from analyses.models.mixed import MixedFit

__all__ = ["yield_checks"]

MOST_ROWS_LEFT_OUT = 20_000
"""Rows up to which any one unit or block is left out: of more, one changes nothing."""

MOST_LEFT_OUT = 30
"""Units of the two treatments compared that are tried: those with the largest residuals."""


def yield_checks(
    findings: Sequence[Finding], sample: Sample, answer: Comparison, trial: Trial
) -> list[tuple[Check, ...]]:
    """Try the findings of one comparison in other ways.

    Parameters
    ----------
    findings : sequence of Finding
        All about yield, from the one comparison.
    sample : Sample
        The rows that they rest on.
    answer : Comparison
        The comparison that they come from.
    trial : Trial

    Returns
    -------
    list of tuple of Check
        For each finding: without the most influential unit, without any one block, on the log
        scale, by ranks, with unequal spread allowed, by re-randomisation; those that do not
        apply are left out.
    """
    refits = _Refits(sample)
    return [
        () if one.estimate.withheld or answer.fit is None else _checks(one, sample, trial, refits)
        for one in findings
    ]


def _checks(finding: Finding, sample: Sample, trial: Trial, refits: _Refits) -> tuple[Check, ...]:
    tried = (
        _without_units(finding, sample, refits),
        _without_blocks(finding, sample, trial, refits),
        _on_log_scale(finding, sample),
        _by_ranks(finding, sample, trial),
        _with_unequal_spread(finding, sample),
        _by_rerandomisation(finding),
    )
    return tuple(check for check in tried if check is not None)


class _Refits:
    """The model fitted again to some of the rows, once for all comparisons that ask for it."""

    def __init__(self, sample: Sample) -> None:
        self._sample = sample
        self._fits: dict[tuple[str, object], MixedFit | None] = {}

    def without(self, column: str, value: object) -> MixedFit | None:
        """Leave out the rows with a value in a column; None when too little is left."""
        key = (column, value)
        if key not in self._fits:
            frame = self._sample.frame
            kept = (frame.index if column == "index" else frame[column]) != value
            self._fits[key] = fit_again(replace(self._sample, frame=frame[kept]))
        return self._fits[key]


def _again(finding: Finding, fit: MixedFit | None) -> Estimate:
    """Read the comparison off another fit, widened for its family as it was before."""
    before = finding.estimate
    nothing = replace(
        before, value=math.nan, low=math.nan, high=math.nan, withheld="too little is left"
    )
    if fit is None:
        return nothing
    try:
        pair = fit.basis.rows({"treatment": [before.treatment, before.control]})
    except FitError:
        return nothing
    found = infer(fit, pair[:1] - pair[1:], ["pair"], df=DF_METHOD, confidence=before.level)
    value, low, high = (float(one[0]) for one in (found.estimate, found.low, found.high))
    if not math.isfinite(value + low + high):
        return nothing
    wider = (before.high - before.low) / (before.high_alone - before.low_alone)
    return replace(
        before,
        value=value,
        low=value - wider * (value - low),
        high=value + wider * (high - value),
    )


def _most_different(finding: Finding, tries: list[tuple[str, Estimate]]) -> tuple[str, Estimate]:
    """Pick the try that changes the verdict, or else the one that moves the estimate most."""
    changed = [one for one in tries if not judged_again(finding, "", one[1]).agrees]
    return max(changed or tries, key=lambda one: abs(one[1].value - finding.estimate.value))


def _without_units(finding: Finding, sample: Sample, refits: _Refits) -> Check | None:
    frame = sample.frame
    if sample.counted == "batch" or not 4 <= len(frame) <= MOST_ROWS_LEFT_OUT:
        return None
    compared = [finding.estimate.treatment, finding.estimate.control]
    left = (frame["response"] - _fitted(frame)).abs()[frame["treatment"].isin(compared)]
    candidates = left.sort_values(ascending=False, kind="stable").index[:MOST_LEFT_OUT]
    tries = [(str(at), _again(finding, refits.without("index", at))) for at in candidates]
    index, estimate = _most_different(finding, tries)
    row = frame.loc[int(index)]
    return judged_again(
        finding,
        f"without any one {sample.counted}",
        estimate,
        f"most changed by leaving out one that gave {row['response']:.4g} {sample.unit} "
        f"({row['treatment']}): {numbers(estimate)}",
    )


def _fitted(frame: pd.DataFrame) -> pd.Series:
    """Give treatment mean plus block mean less overall mean, enough to find odd units."""
    response = frame["response"]
    by_treatment = response.groupby(frame["treatment"]).transform("mean")
    left = response - by_treatment
    return by_treatment + left.groupby(frame["block"]).transform("mean")


def _without_blocks(
    finding: Finding, sample: Sample, trial: Trial, refits: _Refits
) -> Check | None:
    kind = GROWER if GROWER in sample.random else "block"
    blocks = list(dict.fromkeys(sample.frame[kind])) if kind in sample.random else []
    if len(blocks) < 3 or len(sample.frame) > MOST_ROWS_LEFT_OUT:
        return None
    tries = [(block, _again(finding, refits.without(kind, block))) for block in blocks]
    block, estimate = _most_different(finding, tries)
    name = f"without any one {GROWER if kind == GROWER else trial.design.block}"
    return judged_again(
        finding, name, estimate, f"most changed without {block}: {numbers(estimate)}"
    )


def _on_log_scale(finding: Finding, sample: Sample) -> Check | None:
    """Compare logarithms: a ratio, judged against the margin as a share of the control."""
    if not (sample.frame["response"] > 0).all():
        return None
    control = finding.means[0].value
    logs = sample.frame.assign(response=np.log(sample.frame["response"]))
    one = _again(finding, fit_again(replace(sample, frame=logs)))
    if one.withheld or not control > 0:
        return None
    ratio = replace(
        one,
        value=rise(one.value),
        low=rise(one.low),
        high=rise(one.high),
        unit="%",
    )
    worthwhile = finding.worthwhile and 100 * finding.worthwhile / control
    return judged_again(
        replace(finding, worthwhile=worthwhile),
        "on the log scale",
        ratio,
        f"ratio of geometric means: {numbers(ratio)}",
    )


def _by_ranks(finding: Finding, sample: Sample, trial: Trial) -> Check | None:
    """Rank what is left after the block means (Hodges & Lehmann 1962, Ann. Math. Stat. 33, 482)."""
    from analyses.models.mixed import fit_mixed

    if sample.counted == "batch" or CELL in sample.random:
        return None
    pair = [finding.estimate.control, finding.estimate.treatment]
    frame = sample.frame[sample.frame["treatment"].isin(pair)]
    level = frame["response"].groupby(frame["block"]).transform("mean")
    aligned = frame.assign(response=(frame["response"] - level).rank())
    try:
        fit = fit_mixed(aligned, "response", "treatment", [])
        row = fit.contrasts("treatment", control=finding.estimate.control, df=DF_METHOD).iloc[0]
    except FitError:
        return None
    detail = f"aligned ranks: t {row['t']:.3g} on {row['df']:.3g} df, p {row['p']:.3g}"
    return told_apart(finding, "by ranks within blocks" if trial.design.block else "by ranks",
                       float(row["p"]), detail)  # fmt: skip


def _with_unequal_spread(finding: Finding, sample: Sample) -> Check | None:
    """Welch's t (1947, Biometrika 34, 28-35), for layouts without blocks."""
    if sample.random or sample.counted == "batch":
        return None
    from scipy.stats import ttest_ind

    sides = [
        sample.frame.loc[sample.frame["treatment"] == code, "response"].to_numpy()
        for code in (finding.estimate.treatment, finding.estimate.control)
    ]
    if min(len(side) for side in sides) < 2 or any(np.ptp(side) == 0 for side in sides):
        return None
    test = ttest_ind(*sides, equal_var=False)
    span = test.confidence_interval(finding.estimate.level)
    again = replace(finding.estimate, low=float(span.low), high=float(span.high), df=float(test.df))
    detail = f"Welch: {numbers(again)}, df {test.df:.3g}, p {test.pvalue:.3g}"
    return judged_again(finding, "with unequal spread allowed", again, detail)


def _by_rerandomisation(finding: Finding) -> Check | None:
    # Dealing out again speaks of these growers only, where the verdict speaks of growers at large.
    return None if finding.estimate.unit_counted == GROWER else dealt_again(finding)
