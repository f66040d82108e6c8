"""Whether a plan can reach the margin that it names, with bags that vary as bags usually do."""

from __future__ import annotations

import math

from trials.assumptions import Assumptions
from trials.measures import grams, weight_unit
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
        What is wrong and how to mend it; None where the margin is within reach or there is none.
        One comparison by itself, with the usual crop of `trials.assumptions`: bags give 400 g,
        vary by 20 %, batches by 10 % besides; 5 bags in 100 are lost, alike within a batch to
        0.05; a flush keeps 54 in 100 of the one before and varies by 15 %; half of the bags are
        white in 18 days and show pins in 28, varying by 15 %.
    """
    margin = trial.aim.worthwhile
    stratum = strata(trial)[0]
    if margin is None or stratum.df < 1 or stratum.units < 2:
        return None
    if trial.aim.outcome == "yield" and margin.unit == "%":
        return _yield(trial, stratum, margin.value / 100)
    if trial.aim.outcome == "contamination":
        return _losses(trial, stratum, margin.value / 100)
    if trial.aim.outcome == "yield":
        weight = weight_unit(margin.unit)
        if weight is None:
            return None
        return _yield(trial, stratum, grams(margin.value, weight) / Assumptions().mean)
    return _logs(trial, stratum, margin.value)


def _power(trial: Trial, margin: float, sd: float, precision: Precision) -> float:
    """Give the chance to settle the claim of the plan, were it true."""
    from trials.sizing.mean_sizes import power_better, power_no_worse, power_same

    confidence = trial.aim.confidence
    if trial.aim.claim == "better":
        return power_better(margin, sd, precision, confidence=confidence)
    if trial.aim.claim == "no worse":
        return power_no_worse(0, margin, sd, precision, confidence=confidence, sides=2)
    return power_same(0, margin, sd, precision, size=(1 - confidence) / 2)


def _logs(trial: Trial, stratum: Stratum, margin: float) -> tuple[str, str] | None:
    """Judge days, and what a flush keeps, by their logarithms.

    Looks so many days apart leave a uniform error of that width; the slope of log weight over K
    flushes has the variance of a flush over K (K^2 - 1) / 12.
    """
    usual, outcome = Assumptions(), trial.aim.outcome
    bags = _bags(trial, stratum) if stratum.unit == "batch" else 1
    precision = _precision(trial, stratum)
    if outcome == "flush drop":
        base, unit, flushes = 100 * usual.kept, "in 100", max(trial.flushes, 2)
        sd = usual.cv_flush / math.sqrt(flushes * (flushes**2 - 1) / 12 * bags)
        far = math.log1p(margin / base)
        crop = f"a flush keeps {base:.0f} in 100 of the one before"
    else:
        unit = "days"
        base = usual.days_colonise if outcome == "days to colonise" else usual.days_pins
        step = trial.looks if isinstance(trial.looks, int) else usual.look_every
        sd = math.sqrt((usual.cv_days**2 + (step / base) ** 2 / 12) / bags)
        far = -math.log1p(-margin / base) if margin < base else math.inf
        crop = f"half of the {plural(trial.unit)} take {base:.0f} days"
    if math.isinf(far):
        return (
            f"If {crop} as usual, nothing can take {trial.aim.worthwhile} less.",
            "Write a smaller worthwhile.",
        )
    power = _power(trial, far, sd, precision)
    if power >= USUAL_POWER:
        return None
    seen = smallest_difference(lambda one: _power(trial, one, sd, precision), USUAL_POWER)
    shift = base * (math.expm1(seen) if unit == "in 100" else -math.expm1(-seen))
    what = (
        f"If {crop} and they vary as usual, this plan would settle {shift:.2g} {unit} four times "
        f"out of five; you asked for {trial.aim.worthwhile}, and would settle that "
        f"{100 * power:.0f} times in 100."
    )
    return what, (
        f"Plan more {plural(stratum.unit)} (pinset size tells how many), or ask for a larger "
        "difference."
    )


def _yield(trial: Trial, stratum: Stratum, margin: float) -> tuple[str, str] | None:
    from trials.sizing.mean_sizes import power_better

    usual, confidence = Assumptions(), trial.aim.confidence
    sd = usual.cv
    if stratum.unit in ("batch", "grower"):
        between = usual.cv_batch if stratum.unit == "batch" else usual.cv_grower_treatment
        sd = batch_sd(between, usual.cv, _bags(trial, stratum))
    precision = _precision(trial, stratum)
    power = _power(trial, margin, sd, precision)
    if power >= USUAL_POWER:
        return None
    seen = smallest_difference(
        lambda one: power_better(one, sd, precision, confidence=confidence), USUAL_POWER
    )
    what = (
        f"With {plural(stratum.unit)} that vary as usual (by {100 * sd:.0f} %), this plan would "
        f"see a difference of {100 * seen:.0f} % four times out of five; you asked for "
        f"{trial.aim.worthwhile}, and would settle that {100 * power:.0f} times in 100."
    )
    if trial.aim.worthwhile is not None and weight_unit(trial.aim.worthwhile.unit):
        what = f"If a {trial.unit} gives about {usual.mean:.0f} g: {what[0].lower()}{what[1:]}"
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
    from trials.sizing.batch_sizes import power_batches_differ, power_batches_no_worse
    from trials.sizing.share_sizes import (
        power_share_margin,
        power_shares_differ,
        power_shares_same,
    )

    usual, size = Assumptions(), 1 - trial.aim.confidence
    share, n, bags = usual.contaminated, stratum.units, _bags(trial, stratum)
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
    if stratum.unit == "grower":
        return Precision(factor=2 / stratum.units, df=stratum.df)
    extra = trial.design.extra_control_units
    blocks = 1 if trial.design.layout == "incomplete blocks" else len(trial.design.block_names) or 1
    control = stratum.units + extra * blocks
    return Precision(factor=1 / stratum.units + 1 / control, df=stratum.df)


def _bags(trial: Trial, stratum: Stratum) -> int:
    """Count the bags of one batch, or those of one treatment at one grower."""
    design = trial.design
    if stratum.unit == "grower":
        return design.blocks * design.units_per_treatment * design.bags_per_batch
    if not design.batch_factor:
        return design.bags_per_batch
    return (
        len(trial.treatments)
        // len(trial.levels(design.batch_factor))
        * (design.units_per_treatment)
    )
