"""Which analyses a plan calls for, and their answers: the planned one first.

To add an outcome: write ``<outcome>_answer(records, unit, ..., level=...)`` in a file of its own,
giving a `Comparison`, and add it to `_answers`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from analyses.also_measured import also_measured
from analyses.analysis import Analysis
from analyses.cautions import cautions
from analyses.comparison import Comparison
from analyses.contamination import contamination_answer, contamination_companions
from analyses.explored import explored_together
from analyses.finding import Check, Finding, judge
from analyses.flow import flow
from analyses.flush.counts import came_rows
from analyses.flush.table import flush_rows
from analyses.flush.told import flush_story
from analyses.flush.yield_by_flush import yield_by_flush
from analyses.flushes import KEPT, flush_answer, flush_checks
from analyses.layouts.factorial import factor_effects
from analyses.layouts.rerandomised import p_rerandomised
from analyses.losses.checks import loss_checks
from analyses.losses.counts import loss_counts
from analyses.losses.naive import naive_counts
from analyses.losses.pattern import loss_pattern
from analyses.losses.table import batch_losses
from analyses.planned import why_explored
from analyses.timing import STAGE_OF, WATCHED, stage_times, time_checks, timing_answer
from analyses.trust import yield_checks
from analyses.unit import unit_story
from analyses.worth import worth
from analyses.yields import FRUITED, STARTED, yield_answer
from trials.lock import changes
from trials.measures import WeightUnit, grams, weight_unit
from trials.records import Records
from trials.trial import Margin, Outcome

__all__ = ["Question", "analyse", "questions"]

_SHORT = {STARTED: "started", FRUITED: "fruited", KEPT: "kept", WATCHED: "median"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing to be asked of the records.

    Parameters
    ----------
    outcome : str
    estimand : str
        Over which units.
    explored_because : str
        Why it counts as explored; empty when the plan asks just this.
    """

    outcome: Outcome
    estimand: str
    explored_because: str = ""


def questions(records: Records) -> tuple[Question, ...]:
    """Say what is asked of the records: what the plan aims at first, the rest as explored.

    Parameters
    ----------
    records : Records

    Returns
    -------
    tuple of Question
        Outcomes that nothing was recorded of are left out.
    """
    asked: list[tuple[Outcome, str]] = []
    if records.flushes["grams"].notna().any():
        asked += [("yield", STARTED), ("yield", FRUITED)]
    if (records.bags["fate"] != "not recorded").any():
        asked.append(("contamination", STARTED))
    aim = records.trial.aim.outcome
    if aim == "flush drop" or came_rows(records)["flush"].nunique() > 1:
        asked.append(("flush drop", KEPT))
    for outcome, stage in STAGE_OF.items():
        column = records.bags[stage.replace(" ", "_")]
        if aim == outcome or column.notna().sum() > 1:
            asked.append((outcome, WATCHED))
    asked.sort(key=lambda one: one[0] != aim)
    return tuple(
        Question(
            outcome=outcome,
            estimand=estimand,
            explored_because=why_explored(records, outcome, main=estimand != FRUITED),
        )
        for outcome, estimand in asked
    )


def analyse(records: Records, *, for_page: bool = True) -> Analysis:
    """Answer every question that a plan calls for.

    Parameters
    ----------
    records : Records
    for_page : bool
        Whether to work out what only a page tells, too: findings tried in other ways, how the
        flushes fall and what to expect of each, what they are worth, days to each stage, when
        units were lost and what each factor does. Verdicts, means and losses are the same
        without, in half of the time.

    Returns
    -------
    Analysis

    Examples
    --------
    >>> from trials.records import read
    >>> finding = analyse(read("data/demos/mixes")).findings[0]
    >>> finding.id, finding.verdict
    ('yield-started-G', 'shown, size open')
    """
    unit = unit_story(records)
    level = records.trial.aim.confidence
    asked = questions(records)
    answers = [_answer(question, records, level) for question in asked]
    each = [
        finding
        for question, answer in zip(asked, answers, strict=True)
        for finding in _findings(question, answer, records, tried=for_page)
    ]
    findings, also = explored_together(each, also_measured(records, unit, level=level))
    lock = records.lock
    steps, losses = flow(records), loss_counts(records, unit, level=level)
    analysis = Analysis(
        records=records,
        unit=unit,
        findings=findings,
        means=tuple(mean for answer in answers for mean in answer.means),
        losses=losses,
        flow=steps,
        flush_rows=flush_rows(records),
        models=tuple(answer.model for answer in answers if answer.model is not None),
        changes=tuple(told for _, told in changes(lock, records.trial)) if lock else (),
        locked=lock.drawn.date().isoformat() if lock else "",
        fingerprint=lock.fingerprint if lock else "",
        cautions=cautions(records, unit, steps, findings),
        batches=batch_losses(records),
        naive=naive_counts(records, unit, findings),
        also=also,
    )
    return _with_page(analysis, answers, level) if for_page else analysis


def _with_page(analysis: Analysis, answers: list[Comparison], level: float) -> Analysis:
    """Add what only a page tells."""
    records, unit = analysis.records, analysis.unit
    told = flush_story(records, unit, level=level)
    story, joint = told if told is not None else (None, None)
    by_flush = yield_by_flush(records, unit)
    by_factor = factor_effects(records, answers, level=level)
    more = (model for model in (by_factor.model, by_flush) if model is not None)
    return replace(
        analysis,
        models=(*analysis.models, *more),
        loss_pattern=loss_pattern(records, unit, level=level),
        story=story,
        worth=worth(records, analysis.findings, joint),
        times=stage_times(records, unit, level=level),
        factor_effects=by_factor.effects,
    )


def _answer(question: Question, records: Records, level: float) -> Comparison:
    unit = unit_story(records)
    if question.outcome == "contamination":
        return contamination_answer(records, unit, level=level)
    if question.outcome == "flush drop":
        return flush_answer(records, unit, level=level)
    if question.outcome in STAGE_OF:
        return timing_answer(records, unit, question.outcome, level=level)
    return yield_answer(records, unit, question.estimand, level=level)


def _findings(
    question: Question, answer: Comparison, records: Records, *, tried: bool
) -> list[Finding]:
    trial = records.trial
    planned = not question.explored_because
    same_outcome = question.outcome == trial.aim.outcome
    claim = trial.aim.claim if same_outcome else "better"
    told = []
    for estimate in answer.estimates:
        pair = tuple(
            mean
            for code in (estimate.control, estimate.treatment)
            for mean in answer.means
            if mean.treatment == code and mean.unit == estimate.unit
        )
        margin = trial.aim.worthwhile if same_outcome else None
        worthwhile = _in_unit(margin, pair[0].value) if margin else None
        if worthwhile is None and claim != "better" and not estimate.withheld:
            why = "the control gave nothing, so a margin in per cent of it means nothing"
            estimate = replace(estimate, withheld=why)
        judgement = judge(estimate, claim=claim, worthwhile=worthwhile)
        again = None
        if tried and answer.sample is not None:
            again = p_rerandomised(records, answer.sample, estimate)
        told.append(
            Finding(
                id="-".join(
                    (
                        question.outcome.replace(" ", "-"),
                        _SHORT[question.estimand],
                        estimate.treatment,
                    )
                ),
                estimate=estimate,
                claim=claim,
                planned=planned,
                explored_because=question.explored_because,
                verdict=judgement.verdict,
                reasons=judgement.reasons,
                worthwhile=worthwhile,
                p_rerandomised=again,
                means=pair,
            )
        )
    if not tried:
        return told
    if question.outcome == "contamination":
        return [_with_companions(one, records) for one in told]
    if question.outcome != "yield":
        return [replace(one, checks=_checks(one, records)) for one in told]
    if answer.sample is None:
        return told
    sample = answer.sample
    checks = yield_checks(told, sample, answer, trial)
    return [replace(one, checks=others) for one, others in zip(told, checks, strict=True)]


def _checks(finding: Finding, records: Records) -> tuple[Check, ...]:
    """Try a planned finding about flushes or days in other ways."""
    if not finding.planned:
        return ()
    unit = unit_story(records)
    others = flush_checks if finding.estimate.outcome == "flush drop" else time_checks
    return others(finding, records, unit)


def _with_companions(finding: Finding, records: Records) -> Finding:
    unit = unit_story(records)
    return replace(
        finding,
        companions=contamination_companions(records, unit, finding.estimate),
        checks=loss_checks(finding, records, unit) if finding.planned else (),
    )


def _in_unit(margin: Margin, control_mean: float) -> float | None:
    """Turn a margin into the unit of the estimate; per cent are of the control's mean."""
    if margin.unit == "%":
        worth = margin.value / 100 * control_mean
        return worth if math.isfinite(worth) and worth > 1e-6 else None
    unit: WeightUnit | None = weight_unit(margin.unit)
    return margin.value if unit is None else grams(margin.value, unit)
