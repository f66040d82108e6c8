"""The numbers of a group for a statistician."""

from __future__ import annotations

import math

from analyses.model_numbers import ModelNumbers
from analyses.models.pooled import PooledEffect
from analyses.pooling.answers import GroupAnswer, PooledAnalysis
from reports.parts.blocks import Block, Bullets, Details, Paragraph, Table
from reports.wording.names import printable, treatment_names

__all__ = ["group_statistician"]

_FIGURES = 4


def group_statistician(analysis: PooledAnalysis) -> tuple[Block, ...]:
    """Give estimates, models, spread between growers and every grower's numbers.

    Parameters
    ----------
    analysis : PooledAnalysis
    """
    blocks: list[Block] = [
        Paragraph(
            text="The answer is from one mixed model of all growers' rows: treatment fixed; "
            "grower, grower x treatment and what lies within growers random; REML, Kenward and "
            "Roger's (1997) covariance and degrees of freedom. Beside it stands the two-stage "
            "companion: each grower's own estimate, variance between growers by REML, Hartung and "
            "Knapp's (2001) interval on growers less one, Q-profile limits of the variance "
            "(Viechtbauer 2007). What one more grower should expect is the predictive "
            "distribution of Nagashima, Noma and Furukawa (2019)."
        )
    ]
    for answer in analysis.answers:
        blocks.append(_of_answer(answer, analysis))
    blocks += [_model(one) for one in analysis.models]
    blocks.append(Paragraph(text=f"Seed of the draws for one more grower: {analysis.seed}."))
    return tuple(blocks)


def _of_answer(answer: GroupAnswer, analysis: PooledAnalysis) -> Details:
    estimate = answer.finding.estimate
    name = treatment_names(analysis.together.reference)[estimate.treatment]
    inner: list[Block] = [Bullets(items=_lines(answer))]
    if answer.pooled is not None:
        inner.append(_pooled_table(answer))
    inner.append(_growers_table(answer))
    if answer.reasons:
        inner.append(_reasons_table(answer))
    return Details(
        summary=f"{printable(estimate.outcome)}, {printable(estimate.estimand)}: {name} "
        f"({estimate.unit})",
        blocks=tuple(inner),
    )


def _lines(answer: GroupAnswer) -> tuple[str, ...]:
    finding, one = answer.finding, answer.finding.estimate
    lines = [f"Verdict: {finding.verdict}; {'; '.join(finding.reasons)}."]
    if one.withheld:
        lines.append(f"Withheld: {printable(one.withheld)}.")
    else:
        lines += [
            f"One stage: {_n(one.value)} ({_n(one.low)} to {_n(one.high)}), df {_n(one.df)}, "
            f"p {_n(one.p)}; {one.method}.",
            f"Standard deviation of the difference between growers, one stage: "
            f"{_n(answer.between_sd)}.",
        ]
    if finding.p_holm is not None:
        lines.append(f"p adjusted for all that was explored (Holm 1979): {_n(finding.p_holm)}.")
    pooled, ahead = answer.pooled, answer.prediction
    if pooled is not None:
        lines.append(
            f"Cochran's Q {_n(pooled.q)} on {pooled.trials - 1}, p {_n(pooled.q_p)}; I2 "
            f"{_n(pooled.i2)} %, H2 {_n(pooled.h2)}; variance between growers {_n(pooled.tau2)} "
            f"({_n(pooled.tau2_low)} to {_n(pooled.tau2_high)}, Q-profile)."
        )
    if ahead is not None:
        lines.append(
            f"One more grower: {_n(ahead.low)} to {_n(ahead.high)}; chance of any gain "
            f"{_n(answer.chance_better)}, of what the plan asks {_n(answer.chance_worthwhile)}."
        )
    lines += [
        f"{one.measure}: {_n(one.value)} ({_n(one.low)} to {_n(one.high)})"
        + (f", p {_n(one.p)}" if one.p is not None else "")
        + f"; {one.method}{'; ' if one.note else ''}{one.note}."
        for one in answer.companions
    ]
    lines += [f"{check.name}: {check.verdict}; {check.detail}." for check in finding.checks]
    lines += [printable(note) for note in one.notes]
    return tuple(lines)


def _pooled_table(answer: GroupAnswer) -> Table:
    assert answer.pooled is not None
    effects = [("REML", answer.pooled), *answer.others]
    return Table(
        caption="Two stages: the average by the estimate of the variance between growers",
        columns=("Variance", "Average", "Error", "Interval", "p", "Between growers"),
        rows=tuple(_effect(name, effect) for name, effect in effects),
        numeric=(False, True, True, True, True, True),
    )


def _effect(name: str, one: PooledEffect) -> tuple[str, ...]:
    return (
        name, _n(one.value), _n(one.error), f"{_n(one.low)} to {_n(one.high)}", _n(one.p),
        _n(one.tau2),
    )  # fmt: skip


def _growers_table(answer: GroupAnswer) -> Table:
    rows = []
    for one in answer.growers:
        own = one.own
        error = math.sqrt(own.variance) if own.variance > 0 else math.nan
        rows.append(
            (printable(one.shown), _n(own.control), _n(own.treatment), _n(own.value), _n(error),
             _n(own.df), _n(one.own_share), _n(one.away), _n(one.p), _n(one.p_holm))
        )  # fmt: skip
    return Table(
        caption="Each grower: own means and difference, share of it in the answer drawn towards "
        "the average, distance from the average of the others (Viechtbauer & Cheung 2010), Holm",
        columns=("Grower", "Control", "Treatment", "Difference", "Error", "df", "Own share",
                 "Away", "p", "p, Holm"),
        rows=tuple(rows),
        numeric=(False, *(True,) * 9),
    )  # fmt: skip


def _reasons_table(answer: GroupAnswer) -> Table:
    return Table(
        caption="What was recorded, by meta-regression (Knapp & Hartung 2003), Holm over all tried",
        columns=("Recorded", "Growers", "Slope", "Low", "High", "Variance left", "p", "p, Holm"),
        rows=tuple(
            (printable(one.name), str(one.growers), _n(one.slope), _n(one.low), _n(one.high),
             _n(one.tau2_left), _n(one.p), _n(one.p_holm))
            for one in answer.reasons
        ),
        numeric=(False, *(True,) * 7),
    )  # fmt: skip


def _model(model: ModelNumbers) -> Details:
    items = [f"{model.formula}; {model.rows} rows; −2 log restricted likelihood "
             f"{model.minus2_reml:.4f}."]  # fmt: skip
    items += [f"Variance {name}: {value:.6g}." for name, value in model.variances]
    items += [
        f"{term}: F {_n(f)} on {_n(num)} and {_n(den)}, p {_n(p)}."
        for term, num, den, f, p in model.tests
    ]
    items += [printable(note) for note in model.notes]
    return Details(summary=f"Model: {model.about}", blocks=(Bullets(items=tuple(items)),))


def _n(value: float | None) -> str:
    if value is None or math.isnan(value):
        return "–"
    return f"{value:.{_FIGURES}g}".replace("inf", "∞").replace("-", "−")
