"""What to do next: adopt, repeat with so many units, or stop."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analyses.deciding import OFTEN, distance_to_decide
from analyses.finding import Finding
from reports.wording.grammar import plural
from reports.wording.headlines import hedge_of
from reports.wording.hedging import Action
from reports.wording.names import unit_word
from reports.wording.speech import set_scene
from trials.trial import Trial

__all__ = ["Step", "how_rough", "next_step", "plan_step", "units_to_settle"]

_TOO_MANY_TIMES = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What a finding advises.

    Parameters
    ----------
    action : str
        As in the table of hedges.
    units : int or None
        With repeat, how many units; None where more than ten times as many would be wanted.
    """

    action: Action
    units: int | None = None


def next_step(finding: Finding, trial: Trial, *, it: str = "") -> str:
    """Say what to do next.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan that it belongs to.
    it : str
        What the treatment is called, where it was named already; empty for its name.

    Returns
    -------
    str
        One or two sentences that begin with “Next:”.
    """
    step = plan_step(finding, trial)
    scene = set_scene(finding, trial)
    it, control = it or scene.it, scene.control
    if step.action == "repeat":
        return f"Next: {_repeat(step, finding, control)}"
    told = {
        "adopt": f"Next: change to {it}, if its price and work suit you.",
        "stop": f"Next: stop here and keep {control}.",
        "choose": f"Next: choose between {it} and {control} by price and work.",
        "note": "Next: if it matters to you, make it the aim of the next trial.",
        "redesign": _redesign(finding, trial),
    }
    return told[step.action]


def plan_step(finding: Finding, trial: Trial) -> Step:
    """Decide what a finding advises.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan; a repeat is rounded up to whole rounds of its design.
    """
    action = hedge_of(set_scene(finding, trial)).action
    if action != "repeat":
        return Step(action=action)
    return Step(action=action, units=_whole_rounds(units_to_settle(finding), finding, trial))


def units_to_settle(finding: Finding) -> float:
    """Guess how many units would settle a finding that is open.

    Parameters
    ----------
    finding : Finding
        With a finite interval.

    Returns
    -------
    float
        n ((h + z s) / d)^2: n units now, h the half-width of the interval, s the standard error,
        z = 0.84, d the distance from the estimate to the nearest value that would decide. Were
        the truth where the estimate is, so many would decide in 8 of 10 trials. Infinite when the
        estimate sits on such a value. Both h and s fall with the root of the number of units; the
        gain in degrees of freedom is left out.
    """
    estimate = finding.estimate
    half_width = (estimate.high - estimate.low) / 2
    needed = distance_to_decide(finding)
    if not math.isfinite(half_width) or needed <= 0:
        return math.inf
    reach = half_width + OFTEN * _standard_error(finding)
    return max(estimate.units * (reach / needed) ** 2, float(estimate.units))


def _standard_error(finding: Finding) -> float:
    """Read the standard error off the interval of this comparison by itself."""
    from scipy.special import ndtri, stdtrit

    estimate = finding.estimate
    share = (1 + estimate.level) / 2
    df = estimate.df
    quantile = ndtri(share) if df is None or not math.isfinite(df) else stdtrit(df, share)
    return (estimate.high_alone - estimate.low_alone) / 2 / float(quantile)


def _whole_rounds(wanted: float, finding: Finding, trial: Trial) -> int | None:
    now = finding.estimate.units
    if wanted > _TOO_MANY_TIMES * now:
        return None
    round_size = 1 if finding.estimate.unit_counted == "grower" else len(trial.treatments)
    if finding.estimate.unit_counted not in ("batch", "grower"):
        round_size *= trial.design.units_per_treatment if trial.design.blocks > 1 else 1
    return math.ceil(wanted / round_size) * round_size


def _repeat(step: Step, finding: Finding, control: str) -> str:
    units = plural(finding.estimate.unit_counted)
    if step.units is None:
        keep = "choose by price and work"
        if finding.claim == "no worse":
            keep = f"keep {control} for now"
        return (
            f"{keep}. To settle it would take more than ten times as many {units} as now "
            f"({finding.estimate.units}); that is a rough guess."
        )
    return (
        f"repeat with about {step.units} {units} (this trial had {finding.estimate.units}). "
        f"{how_rough(units)}"
    )


def how_rough(units: str) -> str:
    """Say what a number of units to repeat with rests on.

    Parameters
    ----------
    units : str
        The plural of what is counted.
    """
    return (
        f"That is a rough guess: so many would settle it 8 times in 10, if the {units} vary and "
        "differ as they did here."
    )


def _redesign(finding: Finding, trial: Trial) -> str:
    if finding.estimate.unit_counted == "batch":
        unit = plural(unit_word(trial))
        return (
            "Next: repeat with several batches a side, four or more if you can, and spread the "
            f"{unit} over them."
        )
    if finding.estimate.units < 1:
        return "Next: lay out the next trial so that the two stand side by side."
    counts = plural(finding.estimate.unit_counted)
    return f"Next: repeat with more {counts} a side, so that their spread can be seen."
