"""How each outcome is spoken of: gave more, lost fewer, took longer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analyses.finding import BETTER_WHEN, Finding
from reports.wording.grammar import plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import Measure, Rounded, measure, round_span
from trials.trial import Margin, Outcome, Trial

__all__ = ["Direction", "Scene", "Speech", "margin_text", "set_scene", "speech"]

Direction: TypeAlias = Literal["more", "less", "either"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Speech:
    """The words of one outcome.

    Parameters
    ----------
    verb, bare : str
        Past tense and bare form: gave, give.
    more, less : str
        How a higher and a lower amount are called behind a number.
    more_than, less_than : str
        Verb phrases that want the other treatment behind them, in the past tense.
    each : str
        What stands behind an amount: per bag, in a hundred; may be empty.
    what : str
        The thing itself, for headings and axes.
    open_size : str
        “how much more”, “how many more” and the like, with {} for more or less.
    gain_enough : str
        What failed when a gain is too small, ready for the control and “to matter”.
    """

    verb: str
    bare: str
    more: str
    less: str
    more_than: str
    less_than: str
    each: str
    what: str
    open_size: str = "how much {}"
    gain_enough: str = "did not gain enough over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A finding made ready to be told.

    Parameters
    ----------
    finding : Finding
        What is told.
    trial : Trial
        The plan it comes from.
    speech : Speech
        The words of its outcome.
    it, control : str
        Names of the treatment and of the control.
    measure : Measure
        The unit spoken.
    span : Rounded
        Difference and limits in that unit, rounded.
    direction : {"more", "less", "either"}
        Which way the whole interval lies, more or less of the thing measured.
    good : {"more", "less"}
        Which way is the better one.
    """

    finding: Finding
    trial: Trial
    speech: Speech
    it: str
    control: str
    measure: Measure
    span: Rounded
    direction: Direction
    good: Literal["more", "less"]

    @property
    def is_good(self) -> bool:
        """Whether the whole interval lies on the better side of nothing."""
        return self.direction == self.good

    @property
    def is_bad(self) -> bool:
        """Whether the whole interval lies on the worse side of nothing."""
        return self.direction not in ("either", self.good)

    def word(self, direction: str) -> str:
        """Give the outcome's own word for more or less."""
        return self.speech.more if direction == "more" else self.speech.less

    def than(self, direction: str) -> str:
        """Give the verb phrase for more or less, ready for the other treatment."""
        return self.speech.more_than if direction == "more" else self.speech.less_than

    @property
    def tail(self) -> str:
        """Give “ per bag”, “ in a hundred” with its space before; empty where there is none."""
        return f" {self.speech.each}" if self.speech.each else ""

    def amount(self, value: float) -> str:
        """Say an amount without its sign."""
        return self.measure.say(value, self.span.step)


def speech(outcome: Outcome, unit: str) -> Speech:
    """Give the words of an outcome.

    Parameters
    ----------
    outcome : str
        One of the plan's outcomes.
    unit : str
        The grower's word for a bag.
    """
    units = plural(unit)
    if outcome == "contamination":
        return Speech(
            verb="lost", bare="lose", more="more", less="fewer",
            more_than=f"lost more {units} than", less_than=f"lost fewer {units} than",
            each="in a hundred", what=f"{units} lost", open_size="how many {}",
            gain_enough=f"did not save enough {units} against",
        )  # fmt: skip
    if outcome == "flush drop":
        return Speech(
            verb="kept", bare="keep", more="more", less="less",
            more_than="kept more from one flush to the next than",
            less_than="kept less from one flush to the next than",
            each="in a hundred from one flush to the next", what="kept from one flush to the next",
        )  # fmt: skip
    if outcome in ("days to colonise", "days to pins"):
        goal = "to colonise" if outcome == "days to colonise" else "to first pins"
        return Speech(
            verb="took", bare="take", more="longer", less="less",
            more_than=f"took longer {goal} than", less_than=f"took less time {goal} than",
            each=goal, what=outcome, gain_enough="did not save enough days against",
        )  # fmt: skip
    return Speech(
        verb="gave", bare="give", more="more", less="less",
        more_than="gave more than", less_than="gave less than",
        each=f"per {unit}", what=f"fresh weight per {unit}",
    )  # fmt: skip


def set_scene(finding: Finding, trial: Trial) -> Scene:
    """Make a finding ready to be told: names, unit, rounding, direction.

    Parameters
    ----------
    finding : Finding
        With or without inference.
    trial : Trial
        The plan it belongs to.

    Returns
    -------
    Scene
        The rounded limits lie on the same side of nothing and of the margin as the true ones.
    """
    estimate = finding.estimate
    names = treatment_names(trial)
    unit = measure(estimate.unit, trial.weights)
    margin = finding.worthwhile / unit.per if finding.worthwhile else 0.0
    span = round_span(
        estimate.value / unit.per,
        estimate.low / unit.per,
        estimate.high / unit.per,
        finest=unit.finest,
        marks=(0.0, margin, -margin),
    )
    return Scene(
        finding=finding,
        trial=trial,
        speech=speech(estimate.outcome, unit_word(trial)),
        it=names[estimate.treatment],
        control=names[estimate.control],
        measure=unit,
        span=span,
        direction=_direction(estimate.low, estimate.high),
        good="more" if BETTER_WHEN[estimate.outcome] == "higher" else "less",
    )


def margin_text(scene: Scene, more_or_less: str = "") -> str:
    """Say the worthwhile difference or margin as the grower wrote it, and in the unit spoken.

    Parameters
    ----------
    scene : Scene
        Of a finding with a worthwhile difference.
    more_or_less : str
        A word that goes with the amount, such as more; empty for none.

    Returns
    -------
    str
        “15 % (61 g here)”, “40 g less”, “10 more in a hundred”.
    """
    worthwhile = scene.finding.worthwhile
    if worthwhile is None:
        return ""
    word = f" {more_or_less}" if more_or_less else ""
    # Rounded as finely as the limits that are held against it.
    here = scene.amount(worthwhile / scene.measure.per)
    written: Margin | None = scene.trial.aim.worthwhile if scene.finding.planned else None
    if written is None or written.unit == "in 100":
        behind = scene.tail if not scene.measure.word else ""
        return f"{here}{word}{behind}"
    if written.unit in (scene.measure.word, "days"):
        return f"{_as_written(written)}{word}"
    return f"{_as_written(written)}{word} ({here}{' here' if written.unit == '%' else ''})"


def _as_written(margin: Margin) -> str:
    """Say a margin as the grower wrote it."""
    unit = "day" if margin.unit == "days" and margin.value == 1 else margin.unit
    return f"{margin.value:g} {unit}"


def _direction(low: float, high: float) -> Direction:
    if math.isfinite(low) and low > 0:
        return "more"
    if math.isfinite(high) and high < 0:
        return "less"
    return "either"
