"""What a reader must know before believing any of it."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.finding import Finding
from analyses.flow import FlowStep
from analyses.unit import UnitStory
from trials.plurals import plural
from trials.records import Records

__all__ = ["FEWEST_DF", "cautions"]

FEWEST_DF = 12.0
"""Fewest residual degrees of freedom of an adequate trial (EPPO PP 1/152(4))."""


def cautions(
    records: Records, unit: UnitStory, steps: Sequence[FlowStep], findings: Sequence[Finding]
) -> tuple[str, ...]:
    """Gather the cautions that a trial calls for, in plain sentences.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    steps : sequence of FlowStep
    findings : sequence of Finding

    Returns
    -------
    tuple of str
    """
    trial = records.trial
    told = []
    if trial.invented:
        told.append("The data are invented. They show how a trial is told, nothing else.")
    if not trial.blind:
        told.append("Labels showed the treatment, so whoever weighed knew which was which.")
    if records.lock is None:
        told.append("There is no locked plan: nothing shows what was decided beforehand.")
    told += _open_ends(trial.unit, steps)
    told += _few_units(findings)
    if unit.counted == "batch":
        total = f"{unit.total} batches"
        told.append(f"The trial has {total}, however many {plural(trial.unit)} they hold.")
    doubts = len(records.doubts)
    if doubts:
        entries = "entry was" if doubts == 1 else "entries were"
        told.append(f"{doubts} doubtful {entries} found when the records were read.")
    return tuple(told)


def _open_ends(unit: str, steps: Sequence[FlowStep]) -> list[str]:
    told = []
    for count, words in (
        (sum(one.not_recorded for one in steps), "with no record of {its} end"),
        (sum(one.still_going for one in steps), "still going"),
        (sum(one.incomplete for one in steps), "with a flush not written down"),
    ):
        if count:
            noun = unit if count == 1 else plural(unit)
            its = "its" if count == 1 else "their"
            verb = "is" if count == 1 else "are"
            told.append(f"{count} {noun} {words.format(its=its)} {verb} left out of the yield.")
    return told


def _few_units(findings: Sequence[Finding]) -> list[str]:
    freedoms = [one.estimate.df for one in findings if one.planned and one.estimate.df is not None]
    if not freedoms or min(freedoms) >= FEWEST_DF:
        return []
    return [
        f"The trial is small: {_differences(min(freedoms))} left to judge chance by, where a "
        f"standard for field trials asks for {FEWEST_DF:.0f}. Ranges are wide for that reason."
    ]


def _differences(df: float) -> str:
    """Say residual degrees of freedom as what they count: differences between units alike."""
    count = round(df)
    return "1 independent difference is" if count == 1 else f"{count} independent differences are"
