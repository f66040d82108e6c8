"""Whether a plan can reach the margin that it names, with bags that vary as bags usually do."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from trials.assumptions import Assumptions
from trials.measures import GRAMS_IN, grams, weight_unit
from trials.plurals import plural
from trials.signs.freedom import Stratum, strata
from trials.sizes import Precision, batch_sd, smallest_difference
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.layout import Layout
    from trials.sizing.size_question import SizeQuestion
    from trials.sizing.size_rounds import Rounds

__all__ = ["USUAL_POWER", "margin_sign"]

USUAL_POWER = 0.8
"""Four times out of five (Cohen 1988, Statistical Power Analysis, section 2.4)."""


def margin_sign(trial: Trial, layout: Layout) -> tuple[str, str] | None:
    """Say when a plan would probably not settle its claim, even if the claim is true.

    Parameters
    ----------
    trial : Trial
    layout : Layout
        A draw of it.

    Returns
    -------
    tuple of (str, str), or None
        What is wrong and how to mend it; None where the margin is within reach or there is none.
        The chance of each comparison by the interval that the analysis gives it, all comparisons
        with the control together, with the usual crop of `trials.assumptions`: bags give 400 g,
        vary by 20 %, batches by 10 % besides; 5 bags in 100 are lost, alike within a batch to
        0.05; a flush keeps 54 in 100 of the one before and varies by 15 %; half of the bags are
        white in 18 days and show pins in 28, varying by 15 %.
    """
    margin = trial.aim.worthwhile
    stratum = strata(trial)[0]
    if margin is None or stratum.df < 1 or stratum.units < 2:
        return None
    if trial.aim.outcome == "yield" and margin.unit == "%":
        return _yield(trial, layout, stratum, margin.value / 100)
    if trial.aim.outcome == "contamination":
        return _losses(trial, layout, stratum, margin.value / 100)
    if trial.aim.outcome == "yield":
        weight = weight_unit(margin.unit)
        if weight is None:
            return None
        return _yield(trial, layout, stratum, grams(margin.value, weight) / Assumptions().mean)
    return _logs(trial, stratum, margin.value)


def _asked(trial: Trial, rounds: Rounds, outcome: str, margin: float) -> SizeQuestion:
    """Ask what the sizes are asked, of the usual crop."""
    from trials.sizing.size_question import SizeQuestion

    usual = Assumptions()
    between = usual.cv_grower_treatment if rounds.unit == "grower" else usual.cv_batch
    return SizeQuestion(
        outcome=outcome, claim=trial.aim.claim, treatments=len(trial.treatments), rounds=rounds,
        cv=usual.cv, cv_batch=between, lost=usual.contaminated if outcome != "yield" else 0.0,
        correlation=usual.batch_correlation, worthwhile=margin, power=USUAL_POWER,
        confidence=trial.aim.confidence,
    )  # fmt: skip


def _joint(trial: Trial, df: float, levels: int) -> float:
    """Give the confidence of each comparison with the control when all are made together."""
    from scipy.special import stdtr

    from trials.sizing.control_sizes import against_control_point

    if levels == 2:
        return trial.aim.confidence
    point = against_control_point([1.0] * (levels - 1), 1.0, df, size=1 - trial.aim.confidence)
    return 1 - 2 * float(stdtr(df, -point))


def _power(trial: Trial, margin: float, sd: float, precision: Precision, levels: int) -> float:
    """Give the chance to settle the claim of the plan, were it true."""
    from trials.sizing.mean_sizes import power_better, power_no_worse, power_same

    confidence = _joint(trial, precision.df, levels)
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
    count = len(trial.treatments)
    power = _power(trial, far, sd, precision, count)
    if power >= USUAL_POWER:
        return None
    seen = smallest_difference(lambda one: _power(trial, one, sd, precision, count), USUAL_POWER)
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


def _yield(trial: Trial, layout: Layout, stratum: Stratum, margin: float) -> tuple[str, str] | None:
    from trials.sizing.size_question import answer_size
    from trials.sizing.size_rounds import rounds_of

    usual = Assumptions()
    sd = usual.cv
    if stratum.unit in ("batch", "grower"):
        between = usual.cv_batch if stratum.unit == "batch" else usual.cv_grower_treatment
        sd = batch_sd(between, usual.cv, _bags(trial, stratum))
    if trial.design.layout == "split plot":
        power, seen = _of_batch_factor(trial, stratum, margin, sd)
    else:
        answer = answer_size(_asked(trial, rounds_of(trial, layout), "yield", margin))
        power, seen = answer.power_now or 0.0, answer.reach or math.inf
    if power >= USUAL_POWER:
        return None
    what = (
        f"With {plural(stratum.unit)} that vary as usual (by {100 * sd:.0f} %), this plan would "
        f"see a difference of {100 * seen:.0f} % four times out of five; you asked for "
        f"{trial.aim.worthwhile}, and would settle that {100 * power:.0f} times in 100."
    )
    if trial.aim.worthwhile is not None and weight_unit(trial.aim.worthwhile.unit):
        mean = f"{float(f'{usual.mean / GRAMS_IN[trial.weights]:.2g}'):g} {trial.weights}"
        what = f"If a {trial.unit} gives about {mean}: {what[0].lower()}{what[1:]}"
    return what, f"Plan more {plural(stratum.unit)}, or ask for a larger difference."


def _of_batch_factor(
    trial: Trial, stratum: Stratum, margin: float, sd: float
) -> tuple[float, float]:
    """Give the power for the factor that is given to batches, and the difference it would see."""
    levels, precision = len(trial.levels(stratum.compared)), _precision(trial, stratum)
    return _power(trial, margin, sd, precision, levels), smallest_difference(
        lambda one: _power(trial, one, sd, precision, levels), USUAL_POWER
    )


def _losses(
    trial: Trial, layout: Layout, stratum: Stratum, margin: float
) -> tuple[str, str] | None:
    usual = Assumptions().contaminated
    if trial.aim.claim == "better" and margin > usual:
        what = (
            f"If the control loses {100 * usual:.0f} in 100 as usual, nothing can lose "
            f"{trial.aim.worthwhile} fewer."
        )
        return what, "Write a smaller worthwhile, or make sure that the control loses more."
    power = _loss_power(trial, layout, stratum, margin)
    if power >= USUAL_POWER:
        return None
    what = (
        f"If {100 * usual:.0f} bags in 100 are lost as usual, this plan would settle a margin of "
        f"{trial.aim.worthwhile} about {100 * power:.0f} times in 100."
    )
    return what, f"Plan more {plural(stratum.unit)}, or a wider margin that you could live with."


def _loss_power(trial: Trial, layout: Layout, stratum: Stratum, margin: float) -> float:
    from trials.sizing.size_question import power_of
    from trials.sizing.size_rounds import Rounds, rounds_of

    if trial.design.layout == "split plot":
        rounds = Rounds(
            planned=1, bags=len(layout.slots), each=stratum.units, factor=2 / stratum.units,
            gained=stratum.df, spent=0, bags_per_unit=_bags(trial, stratum),
        )  # fmt: skip
        asked = _asked(trial, rounds, "contamination", margin)
        asked = replace(asked, treatments=len(trial.levels(stratum.compared)))
    else:
        asked = _asked(trial, rounds_of(trial, layout), "contamination", margin)
    return power_of(asked, margin, asked.rounds.planned)


def _precision(trial: Trial, stratum: Stratum) -> Precision:
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
