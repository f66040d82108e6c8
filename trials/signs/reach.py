"""Whether a plan can reach the margin that it names, with bags that vary as bags usually do."""

from __future__ import annotations

from trials.assumptions import Assumptions
from trials.plurals import plural
from trials.signs.freedom import Stratum, strata
from trials.sizes import Precision, batch_sd, smallest_difference
from trials.trial import Trial

__all__ = ["USUAL_POWER", "margin_sign"]

USUAL_POWER = 0.8
"""Four times out of five (Cohen 1988, Statistical Power Analysis, section 2.4)."""


def margin_sign(trial: Trial) -> tuple[str, str] | None:
    """Say when a plan would probably not settle its claim, even if the claim is true.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    tuple of (str, str), or None
        What is wrong and how to mend it; None where the margin is within reach, there is none, or
        nothing is known to judge it by (a weight, flushes, days). One comparison by itself, with
        the usual spread of `trials.assumptions`: totals of bags vary by 20 %, batches by 10 %
        besides; 5 bags in 100 are lost, alike within a batch to 0.05.
    """
    margin = trial.aim.worthwhile
    stratum = strata(trial)[0]
    if margin is None or stratum.df < 1 or stratum.units < 2:
        return None
    if trial.aim.outcome == "yield" and margin.unit == "%":
        return _yield(trial, stratum, margin.value / 100)
    if trial.aim.outcome == "contamination":
        return _losses(trial, stratum, margin.value / 100)
    return None


def _yield(trial: Trial, stratum: Stratum, margin: float) -> tuple[str, str] | None:
    from trials.sizing.mean_sizes import power_better, power_no_worse, power_same

    usual, confidence = Assumptions(), trial.aim.confidence
    sd = usual.cv
    if stratum.unit == "batch":
        sd = batch_sd(usual.cv_batch, usual.cv, _bags(trial))
    precision = _precision(trial, stratum)
    tail = (1 - confidence) / 2
    if trial.aim.claim == "better":
        power = power_better(margin, sd, precision, confidence=confidence)
    elif trial.aim.claim == "no worse":
        power = power_no_worse(0, margin, sd, precision, confidence=confidence, sides=2)
    else:
        power = power_same(0, margin, sd, precision, size=tail)
    if power >= USUAL_POWER:
        return None
    seen = smallest_difference(
        lambda one: power_better(one, sd, precision, confidence=confidence), USUAL_POWER
    )
    what = (
        f"With {plural(stratum.unit)} that vary as usual (by {100 * sd:.0f} %), this plan would see "
        f"a difference of {100 * seen:.0f} % four times out of five; you asked for "
        f"{trial.aim.worthwhile}, and would settle that {100 * power:.0f} times in 100."
    )
    return what, f"Plan more {plural(stratum.unit)}, or ask for a larger difference."


def _losses(trial: Trial, stratum: Stratum, margin: float) -> tuple[str, str] | None:
    usual = Assumptions().contaminated
    if trial.aim.claim == "better" and margin > usual:
        what = (
            f"If the control loses {100 * usual:.0f} in 100 as usual, nothing can lose "
            f"{trial.aim.worthwhile} fewer."
        )
        return what, "Write a smaller worthwhile, or make sure that the control loses more."
    power = _loss_power(trial, stratum, margin)
    if power >= USUAL_POWER:
        return None
    what = (
        f"If {100 * usual:.0f} bags in 100 are lost as usual, this plan would settle a margin of "
        f"{trial.aim.worthwhile} about {100 * power:.0f} times in 100."
    )
    return what, f"Plan more {plural(stratum.unit)}, or a wider margin that you could live with."


def _loss_power(trial: Trial, stratum: Stratum, margin: float) -> float:
    from trials.sizing.share_sizes import (
        power_batches_differ,
        power_batches_no_worse,
        power_share_margin,
        power_shares_differ,
        power_shares_same,
    )

    usual, size = Assumptions(), 1 - trial.aim.confidence
    share, n, bags = usual.contaminated, stratum.units, _bags(trial)
    alike = usual.batch_correlation
    if stratum.unit == "batch" and trial.aim.claim == "better":
        return power_batches_differ(share, share - margin, n, bags, alike, confidence=1 - size)
    if stratum.unit == "batch":
        one_sided = power_batches_no_worse(
            share, share, n, bags, alike, margin=margin, confidence=1 - size / 2
        )
        # Two one-sided tests of equal shares miss twice as often as one of them.
        return one_sided if trial.aim.claim == "no worse" else max(0.0, 2 * one_sided - 1)
    if trial.aim.claim == "better":
        return power_shares_differ(share, n, share - margin, n, size=size)
    if trial.aim.claim == "no worse":
        return power_share_margin(share, n, share, n, margin=margin, size=size / 2)
    return power_shares_same(share, n, share, n, margin=margin, size=size / 2)


def _precision(trial: Trial, stratum: Stratum) -> Precision:
    extra = trial.design.extra_control_units
    blocks = 1 if trial.design.layout == "incomplete blocks" else len(trial.design.block_names) or 1
    control = stratum.units + extra * blocks
    return Precision(factor=1 / stratum.units + 1 / control, df=stratum.df)


def _bags(trial: Trial) -> int:
    """Count the bags of one batch."""
    design = trial.design
    if not design.batch_factor:
        return design.bags_per_batch
    return (
        len(trial.treatments)
        // len(trial.levels(design.batch_factor))
        * (design.units_per_treatment)
    )
