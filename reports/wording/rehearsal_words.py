"""A rehearsal told in plain sentences, by rule."""

from __future__ import annotations

from analyses.rehearsal import Rehearsal
from reports.parts.blocks import Table
from reports.wording.numbers import measure, number, step_for
from trials.assumptions import Assumptions
from trials.measures import GRAMS_IN
from trials.trial import Trial

__all__ = ["crop_line", "rehearsal_lines", "verdict_table"]


def rehearsal_lines(found: Rehearsal, trial: Trial) -> tuple[str, ...]:
    """Say what a rehearsal gave.

    Parameters
    ----------
    found : Rehearsal
    trial : Trial
        The plan that was rehearsed.

    Returns
    -------
    tuple of str
        One line a result, each with its Monte-Carlo standard error.
    """
    told = measure(found.unit, trial.weights)
    step = step_for(found.interval_width / 2 / told.per)
    apart = abs(found.difference) / told.per
    unit = told.word or found.unit
    size = f"{number(apart, step_for(apart))} {unit}"
    world = f"truly differ by {size}" if found.difference else "truly do not differ"
    null = (
        "A difference is seen although there is none"
        if trial.aim.claim == "better"
        else f"“{trial.aim.claim}” is claimed although the margin is just reached"
    )
    return (
        f"Rehearsed {found.trials} times, with treatments that {world} from the control.",
        f"The claim is shown: {_share(found.power, found.power_error)}.",
        f"The verdict is wrong: {_share(found.wrong, found.wrong_error)}.",
        f"{null}: {_share(found.error_rate, found.error_rate_error)}.",
        f"The range is {number(found.interval_width / told.per, step)} {unit} wide on average "
        f"(± {found.interval_width_error / told.per:.2g}), and holds the truth "
        f"{_share(found.coverage, found.coverage_error)}.",
        crop_line(found.assumptions, trial),
    )


def verdict_table(found: Rehearsal) -> Table:
    """Give how often each verdict came, where the treatments differ and where the claim fails.

    Parameters
    ----------
    found : Rehearsal
    """
    return Table(
        caption="Verdicts in a hundred comparisons.",
        columns=("verdict", "as hoped", "±", "claim not true"),
        rows=tuple(
            (
                word,
                f"{100 * share:.1f}",
                f"{100 * found.verdicts_error[word]:.1f}",
                f"{100 * found.verdicts_nothing[word]:.1f}",
            )
            for word, share in found.verdicts.items()
        ),
        numeric=(False, True, True, True),
    )


def crop_line(crop: Assumptions, trial: Trial) -> str:
    """Say what was taken for granted of the crop.

    Parameters
    ----------
    crop : Assumptions
    trial : Trial
    """
    if trial.aim.outcome in ("days to colonise", "days to pins"):
        days = crop.days_colonise if trial.aim.outcome == "days to colonise" else crop.days_pins
        often = "" if trial.looks else f", looked at every {crop.look_every} days"
        return (
            f"Half of the control was taken to need {days:g} days, units alike to vary by "
            f"{100 * crop.cv_days:g} % and blocks by {100 * crop.cv_days_block:g} %{often}, and "
            f"{100 * crop.contaminated:g} in 100 to be lost. Yours may not."
        )
    if trial.aim.outcome == "flush drop":
        return (
            f"A flush was taken to keep {100 * crop.kept:g} in 100 of the one before, to vary by "
            f"{100 * crop.cv_flush:g} % about what its unit promised, and to fail "
            f"{100 * crop.flush_fails:g} times in 100; {100 * crop.contaminated:g} in 100 units "
            "to be lost. Yours may not."
        )
    if len(trial.design.growers) > 1:
        return (
            f"The crop was taken to give {_mean(crop, trial)} a unit, to vary by "
            f"{100 * crop.cv:g} % among units alike, {100 * crop.cv_block:g} % among blocks and "
            f"{100 * crop.cv_grower:g} % among growers, what a treatment gives by "
            f"{100 * crop.cv_grower_treatment:g} % from grower to grower, and to lose "
            f"{100 * crop.contaminated:g} in 100. Yours may not."
        )
    return (
        f"The crop was taken to give {_mean(crop, trial)} a unit, to vary by {100 * crop.cv:g} % "
        f"among units alike and {100 * crop.cv_block:g} % among blocks, and to lose "
        f"{100 * crop.contaminated:g} in 100. Yours may not."
    )


def _mean(crop: Assumptions, trial: Trial) -> str:
    return f"{crop.mean / GRAMS_IN[trial.weights]:.3g} {trial.weights}"


def _share(share: float, error: float) -> str:
    return f"{100 * share:.1f} times in 100 (± {100 * error:.1f})"
