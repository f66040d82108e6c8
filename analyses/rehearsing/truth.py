"""What is made true in a rehearsal: the difference hoped for, and none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyses.finding import BETTER_WHEN
from analyses.rehearsing.verdicts import margins
from trials.assumptions import Assumptions, expected_share
from trials.problems import Refused
from trials.simulate import Truth
from trials.trial import Margin, Outcome, Trial

__all__ = ["USUAL", "Scenario", "hoped", "nothing"]

USUAL: dict[Outcome, Margin] = {
    "yield": Margin(value=20, unit="%"),
    "contamination": Margin(value=50, unit="%"),
    "flush drop": Margin(value=10, unit="in 100"),
    "days to colonise": Margin(value=3, unit="days"),
    "days to pins": Margin(value=3, unit="days"),
}
"""The difference rehearsed where the plan names none: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One state of the world.

    Parameters
    ----------
    truth : Truth
        Of each treatment, in the order of the plan.
    difference : float
        Of every treatment from the control, in the unit of the estimate.
    margin : float
        The smallest difference worth having, in that unit; NaN where the plan names none.
    control : float
        Mean of the control, in that unit.
    unit : str
        ``g``, ``bags in 100``, ``in 100`` or ``days``.
    """

    truth: Truth
    difference: float
    margin: float
    control: float
    unit: str


def hoped(trial: Trial, assumptions: Assumptions, effect: Margin | None = None) -> Scenario:
    """Give the world in which the claim is true.

    Parameters
    ----------
    trial : Trial
    assumptions : Assumptions
    effect : Margin, optional
        How much better every treatment is than the control. When not given: for "better" the
        smallest difference worth having, or the usual one of `USUAL`; for "no worse" and "same"
        no difference.

    Returns
    -------
    Scenario
    """
    aim = trial.aim
    if effect is None and aim.claim == "better":
        effect = aim.worthwhile or USUAL.get(aim.outcome)
    control, _ = _control(trial, assumptions)
    gain = 0.0 if effect is None else float(margins(effect, np.array([control]))[0])
    return _scenario(trial, assumptions, gain)


def nothing(trial: Trial, assumptions: Assumptions) -> Scenario:
    """Give the world in which the claim is just not true.

    Parameters
    ----------
    trial : Trial
    assumptions : Assumptions

    Returns
    -------
    Scenario
        For "better" no difference; for "no worse" and "same" every treatment is worse than the
        control by just the margin.
    """
    if trial.aim.claim == "better":
        return _scenario(trial, assumptions, 0.0)
    control, _ = _control(trial, assumptions)
    margin = float(margins(trial.aim.worthwhile, np.array([control]))[0])
    return _scenario(trial, assumptions, -margin)


def _control(trial: Trial, assumptions: Assumptions) -> tuple[float, str]:
    outcome = trial.aim.outcome
    if outcome == "yield":
        share = expected_share(assumptions, trial.flushes, assumptions.contaminated)
        return assumptions.mean * share, "g"
    if outcome == "contamination":
        return 100 * assumptions.contaminated, "bags in 100"
    if outcome == "flush drop":
        return 100 * assumptions.kept, "in 100"
    days = {"days to colonise": assumptions.days_colonise, "days to pins": assumptions.days_pins}
    return days[outcome], "days"


def _scenario(trial: Trial, assumptions: Assumptions, gain: float) -> Scenario:
    """Make every treatment better than the control by a gain in the unit of the estimate."""
    control, unit = _control(trial, assumptions)
    outcome = trial.aim.outcome
    difference = (-gain if BETTER_WHEN[outcome] == "lower" else gain) + 0.0
    there = control + difference
    top = 100.0 if unit.endswith("in 100") else math.inf
    if (unit == "days" and there <= 0) or not 0 <= there < top or not math.isfinite(there):
        raise Refused(
            f"With {control:.4g} {unit} of the control, a difference of {difference:+.4g} {unit} "
            "is not possible. Ask for a smaller difference, or change what the control is taken "
            "to give."
        )
    base, other = assumptions, {"mean": assumptions.mean, "lost": assumptions.contaminated,
                                "kept": assumptions.kept}  # fmt: skip
    if outcome == "yield":
        other["mean"] *= there / control
    elif outcome == "contamination":
        other["lost"] = there / 100
    elif outcome == "flush drop":
        other["kept"] = there / 100
    first = [one.control for one in trial.treatments]
    truth = Truth(
        means=tuple(base.mean if one else other["mean"] for one in first),
        lost=tuple(base.contaminated if one else other["lost"] for one in first),
        kept=tuple(base.kept if one else other["kept"] for one in first),
        days=tuple(control if one else there for one in first) if unit == "days" else (),
    )
    margin = float(margins(trial.aim.worthwhile, np.array([control]))[0])
    return Scenario(truth=truth, difference=difference, margin=margin, control=control, unit=unit)
