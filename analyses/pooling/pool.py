"""Answer what a group asked, over all its growers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analyses.companion import Companion
from analyses.comparison import Comparison, Sample
from analyses.estimate import Estimate, Span
from analyses.explored import with_holm
from analyses.finding import BETTER_WHEN, Check, Finding, judge
from analyses.models.families.multiplicity import holm
from analyses.models.pooled import PooledEffect
from analyses.models.pooled import pool as pool_effects
from analyses.models.trials_together.apart import Apart, stand_apart
from analyses.models.trials_together.heterogeneity import Spread
from analyses.models.trials_together.prediction import (
    Prediction,
    draw_together,
    predict_one_more,
)
from analyses.pooling.answers import GroupAnswer, GrowerAnswer, PooledAnalysis
from analyses.pooling.asked import margin_in_unit, not_planned, why_explored_together
from analyses.pooling.checks import group_checks
from analyses.pooling.further import more_growers
from analyses.pooling.group_cautions import group_cautions
from analyses.pooling.grower_notes import grower_notes
from analyses.pooling.losses import loss_counts_together, odds_companions, without_losses
from analyses.pooling.one_stage import between_variance_of, one_stage
from analyses.pooling.own import Own, own_answers
from analyses.pooling.reasons import reasons
from analyses.pooling.rows import Stack, kept_rows, loss_rows, stack, yield_rows
from trials.problems import Refused
from trials.together import Together
from trials.trial import Outcome

__all__ = ["pool"]

_ROWS: dict[Outcome, Callable[[Stack], Sample]] = {
    "yield": yield_rows,
    "flush drop": kept_rows,
    "contamination": loss_rows,
}
_SHORT = {"yield": "yield-started", "flush drop": "flush-drop-kept"}
_OTHERS: tuple[Spread, ...] = ("FE", "DL", "PM")


def pool(together: Together, *, seed: int | None = None) -> PooledAnalysis:
    """Answer what a group asked: better on average, alike everywhere, and for one more grower.

    Parameters
    ----------
    together : Together
        The records of the growers.
    seed : int, optional
        Of the draws behind what one more grower should expect; otherwise the plan's own.

    Returns
    -------
    PooledAnalysis

    Raises
    ------
    Refused
        With fewer than two growers.
    """
    if len(together.growers) < 2:
        raise Refused(
            "Pooling needs the records of two growers or more; for one trial use: pinset report"
        )
    chosen = together.reference.design.seed if seed is None else seed
    stacked, late = stack(together), not_planned(together)
    work = _Work(
        together=together, stacked=stacked, late=late, seed=chosen,
        level=together.reference.aim.confidence,
    )  # fmt: skip
    aim = together.reference.aim.outcome
    outcomes = sorted(_ROWS, key=lambda one: one != aim)
    samples = {outcome: _ROWS[outcome](stacked) for outcome in outcomes}
    answered = [(one, work.compare(one)) for one in samples.values() if len(one.frame)]
    answers = [each for sample, found in answered for each in work.answers(sample, found)]
    findings = with_holm([one.finding for one in answers])
    return PooledAnalysis(
        together=together,
        answers=tuple(
            replace(one, finding=finding) for one, finding in zip(answers, findings, strict=True)
        ),
        means=tuple(mean for _, found in answered for mean in found.means),
        models=tuple(found.model for _, found in answered if found.model is not None),
        notes=grower_notes(together),
        cautions=group_cautions(together, tuple(answers), late),
        seed=chosen,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """What all outcomes of a group share."""

    together: Together
    stacked: Stack
    late: dict[str, str]
    seed: int
    level: float

    def compare(self, sample: Sample) -> Comparison:
        """Fit the one-stage model; where nothing was lost anywhere, give what still fits."""
        trial = self.together.reference
        found = one_stage(sample, trial, level=self.level)
        if sample.outcome != "contamination":
            return found
        inside = [_inside_hundred(one) for one in found.estimates]
        many = len(trial.challengers)
        settled = tuple(without_losses(one, sample, many) for one in inside)
        means = tuple(
            replace(one, low=max(one.low, 0.0), high=min(one.high, 100.0)) for one in found.means
        )
        return replace(found, estimates=settled, means=means)

    def answers(self, sample: Sample, found: Comparison) -> list[GroupAnswer]:
        """Answer each comparison of one outcome."""
        return [self._answer(sample, found, one) for one in found.estimates]

    def _answer(self, sample: Sample, found: Comparison, estimate: Estimate) -> GroupAnswer:
        trial = self.together.reference
        owns = own_answers(sample, trial, estimate.treatment, level=self.level)
        usable = tuple(one for one in owns if one.variance > 0)
        y = np.array([one.value for one in usable])
        v = np.array([one.variance for one in usable])
        enough = len(usable) > 1
        pooled = pool_effects(y, v, level=self.level) if enough else None
        apart = stand_apart(y, v) if enough else None
        prediction = predict_one_more(y, v, seed=self.seed, level=self.level) if enough else None
        if prediction is not None:
            prediction = _no_narrower(prediction, estimate)
        finding = self._finding(found, estimate)
        finding = replace(finding, checks=self._checks(finding, found, usable, pooled, apart))
        better, worthwhile = _chances(finding, prediction)
        fit = found.fit
        notes = {one.key: one.notes for one in self.together.growers}
        return GroupAnswer(
            finding=finding,
            counted=sample.counted,
            growers=self._growers(owns, usable, pooled, apart),
            pooled=pooled,
            others=tuple(
                (name, pool_effects(y, v, spread=name, level=self.level))
                for name in _OTHERS
                if enough
            ),
            prediction=prediction,
            chance_better=better,
            chance_worthwhile=worthwhile,
            between_sd=math.sqrt(between_variance_of(fit)) if fit is not None else math.nan,
            differs=_differs(pooled, self.level),
            reasons=reasons(usable, notes, level=self.level),
            more=more_growers(finding),
            companions=self._companions(sample, estimate),
        )

    def _checks(
        self,
        finding: Finding,
        found: Comparison,
        usable: tuple[Own, ...],
        pooled: PooledEffect | None,
        apart: Apart | None,
    ) -> tuple[Check, ...]:
        if not finding.planned:
            return ()
        return group_checks(
            finding, found, self.together.reference, pooled=pooled, owns=usable,
            lean=_leans_on(usable, apart, pooled), late=frozenset(self.late),
        )  # fmt: skip

    def _finding(self, found: Comparison, estimate: Estimate) -> Finding:
        trial = self.together.reference
        pair = tuple(
            mean
            for code in (estimate.control, estimate.treatment)
            for mean in found.means
            if mean.treatment == code
        )
        asked = estimate.outcome == trial.aim.outcome
        claim = trial.aim.claim if asked else "better"
        margin = trial.aim.worthwhile if asked else None
        worthwhile = margin_in_unit(margin, pair[0].value)
        if worthwhile is None and claim != "better" and not estimate.withheld:
            why = "the control gave nothing, so a margin in per cent of it means nothing"
            estimate = replace(estimate, withheld=why)
        judged = judge(estimate, claim=claim, worthwhile=worthwhile)
        because = why_explored_together(self.together, estimate.outcome, self.late)
        short = _SHORT.get(estimate.outcome, estimate.outcome)
        return Finding(
            id=f"group-{short}-{estimate.treatment}", estimate=estimate, claim=claim,
            planned=not because, explored_because=because, verdict=judged.verdict,
            reasons=judged.reasons, worthwhile=worthwhile, p_rerandomised=None, means=pair,
        )  # fmt: skip

    def _growers(
        self,
        owns: tuple[Own, ...],
        usable: tuple[Own, ...],
        pooled: PooledEffect | None,
        apart: Apart | None,
    ) -> tuple[GrowerAnswer, ...]:
        shown = {one.key: one.shown for one in self.together.growers}
        place = {one.key: at for at, one in enumerate(usable)}
        nan = math.nan
        if pooled is None or apart is None:
            return tuple(
                GrowerAnswer(shown=shown[one.key], own=one, drawn=None, own_share=nan, away=nan,
                             p=nan, p_holm=nan)
                for one in owns
            )  # fmt: skip
        drawn = draw_together(
            [one.value for one in usable], [one.variance for one in usable], seed=self.seed,
            level=self.level,
        )  # fmt: skip
        adjusted = holm(apart.p) if np.isfinite(apart.p).all() else apart.p
        told = []
        for one in owns:
            at = place.get(one.key)
            span = None
            if at is not None:
                ends = (float(part[at]) for part in (drawn.values, drawn.lows, drawn.highs))
                span = Span(**dict(zip(("value", "low", "high"), ends, strict=True)), unit="")
            told.append(
                GrowerAnswer(
                    shown=shown[one.key], own=one, drawn=span,
                    own_share=nan if at is None else float(drawn.own_share[at]),
                    away=nan if at is None else float(apart.away[at]),
                    p=nan if at is None else float(apart.p[at]),
                    p_holm=nan if at is None else float(adjusted[at]),
                )
            )  # fmt: skip
        return tuple(told)

    def _companions(self, sample: Sample, estimate: Estimate) -> tuple[Companion, ...]:
        if sample.outcome != "contamination":
            return ()
        return odds_companions(
            loss_counts_together(self.stacked), estimate.control, estimate.treatment,
            by_batch=sample.counted == "batch", level=self.level,
        )  # fmt: skip


def _inside_hundred(one: Estimate) -> Estimate:
    """Keep limits of a difference of shares possible."""
    if one.withheld:
        return one
    low, high, low_alone, high_alone = (
        min(max(limit, -100.0), 100.0)
        for limit in (one.low, one.high, one.low_alone, one.high_alone)
    )
    return replace(one, low=low, high=high, low_alone=low_alone, high_alone=high_alone)


def _no_narrower(prediction: Prediction, estimate: Estimate) -> Prediction:
    """Let the range for one more grower hold the range of the average, which has more to go on."""
    ends = [end for end in (estimate.low, estimate.high) if math.isfinite(end)]
    low, high = min([prediction.low, *ends]), max([prediction.high, *ends])
    if estimate.outcome == "contamination":
        low, high = max(low, -100.0), min(high, 100.0)
    return replace(prediction, low=low, high=high)


def _chances(finding: Finding, prediction: Prediction | None) -> tuple[float, float]:
    """Give the chances that one more grower gains, and by as much as the plan asks."""
    if prediction is None:
        return math.nan, math.nan
    upwards = BETTER_WHEN[finding.estimate.outcome] == "higher"
    margin = finding.worthwhile

    def beyond(threshold: float) -> float:
        above = prediction.chance_above(threshold if upwards else -threshold)
        return above if upwards else 1 - above

    if margin is None:
        return beyond(0.0), math.nan
    if finding.claim == "better":
        return beyond(0.0), beyond(margin)
    if finding.claim == "no worse":
        return beyond(0.0), beyond(-margin)
    return beyond(0.0), beyond(-margin) - beyond(margin)


def _differs(pooled: PooledEffect | None, level: float) -> str:
    if pooled is None:
        return "cannot be told"
    return "yes" if pooled.q_p < 1 - level else "not shown"


def _leans_on(usable: tuple[Own, ...], apart: Apart | None, pooled: PooledEffect | None) -> str:
    """Find the grower without whom the average would move most."""
    if apart is None or pooled is None or len(usable) < 3:
        return ""
    return usable[int(np.argmax(np.abs(apart.averages - pooled.value)))].key
