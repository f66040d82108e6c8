"""What to do next: adopt, repeat with so many units, or stop."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analyses.finding import BETTER_WHEN, Finding
from reports.wording.grammar import counted, plural
from reports.wording.names import unit_word
from reports.wording.speech import set_scene
from trials.trial import Trial

__all__ = ["Action", "Step", "next_step", "plan_step", "units_to_settle"]

Action: TypeAlias = Literal["adopt", "repeat", "stop", "choose", "note", "redesign"]
_TOO_MANY_TIMES = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What a finding advises.

    Parameters
    ----------
    action : str
        adopt: change over; repeat: a larger trial would likely settle it; stop: keep the
        control; choose: by price and work; note: a hint for the next plan; redesign: this
        design could not answer.
    units : int or None
        With repeat, how many units; None where more than ten times as many would be wanted.
    """

    action: Action
    units: int | None = None


def next_step(finding: Finding, trial: Trial) -> str:
    """Say what to do next.

    Parameters
    ----------
    finding : Finding
        The judged estimate.
    trial : Trial
        The plan that it belongs to.

    Returns
    -------
    str
        One or two sentences that begin with “Next:”.
    """
    step = plan_step(finding, trial)
    scene = set_scene(finding, trial)
    it, control = scene.it, scene.control
    if step.action == "repeat":
        return _repeat(step, finding)
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
    if finding.verdict == "withheld":
        return Step(action="redesign")
    if not finding.planned:
        return Step(action="note")
    if finding.verdict in ("not settled", "shown, size open"):
        return Step(action="repeat", units=_whole_rounds(units_to_settle(finding), finding, trial))
    if finding.verdict == "shown":
        return Step(action="choose" if finding.claim == "same" else "adopt")
    return _when_ruled_out(finding)


def units_to_settle(finding: Finding) -> float:
    """Guess how many units would settle a finding that is open.

    Parameters
    ----------
    finding : Finding
        With a finite interval.

    Returns
    -------
    float
        n (h / d)^2: n units now, h the half-width of the interval, d the distance from the
        estimate to the nearest value that would decide, were the estimate to stay. Infinite when
        the estimate sits on such a value. The half-width falls with the root of the number of
        units; the gain in degrees of freedom is left out.
    """
    estimate = finding.estimate
    half_width = (estimate.high - estimate.low) / 2
    needed = _distance(finding)
    if not math.isfinite(half_width) or needed <= 0:
        return math.inf
    return max(estimate.units * (half_width / needed) ** 2, float(estimate.units))


def _distance(finding: Finding) -> float:
    estimate, margin = finding.estimate, finding.worthwhile or 0.0
    sign = 1.0 if BETTER_WHEN[estimate.outcome] == "higher" else -1.0
    value = sign * estimate.value
    if finding.claim == "no worse":
        return abs(value + margin)
    if finding.claim == "same":
        return abs(margin - abs(value))
    if finding.verdict == "shown, size open":
        return abs(value - margin)
    # Not settled: a gain would show (l > 0), or a worthwhile one be ruled out (u < W).
    return max(value, margin - value)


def _when_ruled_out(finding: Finding) -> Step:
    estimate, margin = finding.estimate, finding.worthwhile or 0.0
    low, high = estimate.low, estimate.high
    if BETTER_WHEN[estimate.outcome] == "lower":
        low, high = -high, -low
    if finding.claim == "same" and low > 0:
        return Step(action="adopt")
    small = finding.claim == "better" and -margin < low and 0 < high < margin
    return Step(action="choose" if small else "stop")


def _whole_rounds(wanted: float, finding: Finding, trial: Trial) -> int | None:
    now = finding.estimate.units
    if wanted > _TOO_MANY_TIMES * now:
        return None
    round_size = len(trial.treatments)
    if finding.estimate.unit_counted != "batch":
        round_size *= trial.design.units_per_treatment if trial.design.blocks > 1 else 1
    return math.ceil(wanted / round_size) * round_size


def _repeat(step: Step, finding: Finding) -> str:
    units = plural(finding.estimate.unit_counted)
    now = counted(finding.estimate.units, finding.estimate.unit_counted)
    if step.units is None:
        return (
            f"Next: choose by price and work. More than ten times as many {units} as now "
            f"({now}) would be needed to settle it; that is a rough guess."
        )
    rough = f"That is a rough guess: it takes the {units} to vary as they did here."
    return (
        f"Next: repeat with about {step.units} {units} (this trial had "
        f"{finding.estimate.units}); that would likely settle it. {rough}"
    )


def _redesign(finding: Finding, trial: Trial) -> str:
    if finding.estimate.unit_counted == "batch":
        unit = plural(unit_word(trial))
        return (
            "Next: repeat with several batches a side, four or more if you can, and spread the "
            f"{unit} over them."
        )
    counts = plural(finding.estimate.unit_counted)
    return f"Next: repeat with more {counts} a side, so that their spread can be seen."
