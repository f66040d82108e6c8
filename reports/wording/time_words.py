"""Days in words: when half of the units had come so far, and how that is known."""

from __future__ import annotations

import math

from analyses.analysis import Analysis
from analyses.times.stage_times import StageTimes, TimeCurve
from reports.parts.blocks import Table
from reports.wording.grammar import capital, listed, plural
from reports.wording.names import treatment_names, unit_word
from reports.wording.numbers import number, round_span

__all__ = ["looks_said", "stage_said", "stage_title", "times_table"]

_STAGE = {
    "colonised": "white all through", "first pins": "showing pins",
    "first flush picked": "picked for the first time",
}  # fmt: skip


def looks_said(analysis: Analysis) -> str:
    """Say how often the units were looked at, and what that makes of a day.

    Parameters
    ----------
    analysis : Analysis
        With days of one stage or more.
    """
    if not analysis.times:
        return ""
    gap, units = analysis.times[0].gap, plural(unit_word(analysis.records.trial))
    if gap.listed:
        return (
            f"The {units} were looked at on {len(gap.listed)} days, as the plan lists them; what "
            "was first seen on one of them happened after the one before."
        )
    often = "every day" if gap.days == 1 else f"every {gap.days} days"
    if gap.told:
        return f"The {units} were looked at {often}, so a day is known to {_within(gap.days)}."
    return (
        f"The plan does not say (its line “looks”) how often the {units} were looked at. The days "
        f"written down fit looks {often}, so a day is taken as known to {_within(gap.days)}."
    )


def _within(days: int) -> str:
    return "the day" if days == 1 else f"within {days} days"


def stage_said(times: StageTimes, analysis: Analysis) -> str:
    """Say by which day half of the units of each treatment had reached a stage.

    Parameters
    ----------
    times : StageTimes
    analysis : Analysis
    """
    names, units = (
        treatment_names(analysis.records.trial), plural(unit_word(analysis.records.trial))
    )  # fmt: skip
    said = [f"{_middle(one)} with {names[one.treatment]}" for one in times.curves if _middle(one)]
    if not said:
        return ""
    return capital(f"half of the {units} were {_STAGE[times.stage]} after {listed(said)}.")


def stage_title(times: StageTimes, analysis: Analysis) -> str:
    """Say the middle days of a stage without their ranges, short enough for a title.

    Parameters
    ----------
    times : StageTimes
    analysis : Analysis
    """
    names, units = (
        treatment_names(analysis.records.trial), plural(unit_word(analysis.records.trial))
    )  # fmt: skip
    said = [
        f"{_middle(one).split(' (')[0]} with {names[one.treatment]}"
        for one in times.curves
        if _middle(one)
    ]
    return f"Half of the {units} were {_STAGE[times.stage]} after {listed(said)}." if said else ""


def _middle(one: TimeCurve) -> str:
    if math.isfinite(one.middle):
        span = round_span(one.middle, one.low, one.high, finest=0.1)
        ends = " and ".join(number(end, span.step) for end in (span.low, span.high))
        return f"about {number(span.value, span.step)} days (between {ends})"
    low, high = one.between
    if not math.isfinite(low + high):
        return ""
    if low == high:
        return f"{number(low, 1.0)} days"
    return f"{number(low, 1.0)} to {number(high, 1.0)} days"


def times_table(analysis: Analysis) -> Table | None:
    """Show how many units were seen to reach each stage, and the middle day.

    Parameters
    ----------
    analysis : Analysis
    """
    if not analysis.times:
        return None
    names = treatment_names(analysis.records.trial)
    rows = [
        (capital(times.stage), names[one.treatment], str(one.seen), str(one.lost),
         str(one.unknown), _middle(one).removeprefix("about ").replace(" days", "") or "–")
        for times in analysis.times for one in times.curves
    ]  # fmt: skip
    return Table(
        caption="Days since spawning until half had reached each stage",
        columns=("Stage", "Treatment", "Seen", "Lost before", "Not known", "Middle day"),
        rows=tuple(rows),
        numeric=(False, False, True, True, True, True),
    )
