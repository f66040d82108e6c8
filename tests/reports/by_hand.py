"""Analyses worked out by hand, with simple means and t intervals, for the tests of the pages."""

from __future__ import annotations

import math

from scipy import stats

from analyses.analysis import Analysis
from analyses.estimate import Estimate, Span
from analyses.finding import Check, Finding, Mean, judge
from analyses.flow import FlowStep
from analyses.flush.table import FlushRow
from analyses.losses.counts import LossCount
from analyses.model_numbers import ModelNumbers
from analyses.unit import UnitStory

__all__ = ["analyse", "estimate", "finding"]


def estimate(value=60.0, low=20.0, high=100.0, **changes):
    """An estimate of yield, to be changed at will."""
    given = {
        "outcome": "yield", "estimand": "per bag started", "treatment": "O", "control": "B",
        "value": value, "low": low, "high": high, "level": 0.95, "low_alone": low,
        "high_alone": high, "p": 0.01, "df": 14.0, "unit": "g", "units": 48,
        "unit_counted": "bag", "method": "difference of means, t interval",
    }  # fmt: skip
    return Estimate(**{**given, **changes})


def finding(found, claim="better", worthwhile=None, planned=True, means=()):
    """A finding judged by the rule of the plan."""
    judged = judge(found, claim=claim, worthwhile=worthwhile)
    return Finding(
        id=f"{found.outcome}-{found.treatment}", estimate=found, claim=claim, planned=planned,
        explored_because="" if planned else "not the aim of the plan", verdict=judged.verdict,
        reasons=judged.reasons, worthwhile=worthwhile, p_rerandomised=None, means=means,
    )  # fmt: skip


def analyse(read):
    """Everything a page reads, from simple means and t intervals."""
    trial = read.trial
    batch = trial.design.applied_to == "batch"
    counted, total = ("batch", len(trial.treatments)) if batch else ("bag", len(read.bags))
    story = UnitStory(
        counted=counted, total=total, block=trial.design.block,
        per_treatment=tuple(
            (one.code, 1 if batch else _n(read, one.code)) for one in trial.treatments
        ),
        why="The treatment was applied to each bag by itself." if not batch
        else "All bags of a treatment were heat-treated in one batch, so they share its luck.",
        blocks=trial.design.blocks if trial.design.blocks > 1 else 0,
    )  # fmt: skip
    findings = [_compare(read, one.code, planned=True) for one in trial.challengers]
    if trial.aim.outcome == "yield" and not batch:
        findings += [
            _compare(read, one.code, planned=False, fruited=True) for one in trial.challengers
        ]
    return Analysis(
        records=read, unit=story, findings=tuple(findings),
        means=tuple(mean for one in trial.treatments for mean in _means(read, one.code, batch)),
        losses=tuple(_loss(read, one.code) for one in trial.treatments),
        flow=tuple(_flow(read, one.code) for one in trial.treatments),
        flush_rows=_flush_rows(read), models=(_model(read),),
        changes=("The number of flushes was changed from 4 to 3.",) if trial.flushes == 3 else (),
        locked="2031-03-02", fingerprint="3f9ab04c77d1e2", cautions=(),
    )  # fmt: skip


def _n(read, code):
    return int((read.bags["treatment"] == code).sum())


def _values(read, code, fruited=False):
    bags = read.bags[(read.bags["treatment"] == code) & read.bags["total_g"].notna()]
    if fruited:
        bags = bags[(bags["total_g"] > 0) & (bags["fate"] == "finished")]
    return bags["total_g"].to_numpy(float)


def _compare(read, code, *, planned, fruited=False):
    trial = read.trial
    batch = trial.design.applied_to == "batch"
    means = _pair(read, code, fruited, batch)
    if trial.aim.outcome == "contamination":
        found, margin = _risk_difference(read, code), trial.aim.worthwhile.value
        claim = trial.aim.claim
    else:
        control = _values(read, trial.control.code, fruited).mean()
        written, claim = trial.aim.worthwhile, trial.aim.claim
        margin = None if written is None else written.value
        if written is not None and written.unit == "%":
            margin = control * written.value / 100
        found = _difference(read, code, fruited, batch)
    judged = judge(found, claim=claim if planned else "better", worthwhile=margin)
    checks = (
        Check(name="re-randomisation", verdict=judged.verdict, agrees=True, detail="p = 0.004"),
        Check(name="without the most influential bag", verdict=judged.verdict, agrees=True),
    )
    where = "fruited" if fruited else "started"
    return Finding(
        id=f"{found.outcome}-{where}-{code}", estimate=found, claim=claim, planned=planned,
        explored_because="" if planned else "the aim was per bag started",
        verdict=judged.verdict, reasons=judged.reasons, worthwhile=margin,
        p_rerandomised=0.004 if planned and not found.withheld else None, means=means,
        checks=checks if planned and not found.withheld else (),
    )  # fmt: skip


def _difference(read, code, fruited, batch):
    trial = read.trial
    a, b = (_values(read, one, fruited) for one in (code, trial.control.code))
    value, k = a.mean() - b.mean(), len(trial.challengers)
    df = len(a) + len(b) - 2
    se = math.sqrt(a.var(ddof=1) / len(a) + b.var(ddof=1) / len(b))
    alone = stats.t.ppf(0.975, df) * se
    wide = stats.t.ppf(1 - 0.025 / k, df) * se
    if batch:
        return estimate(
            math.nan, math.nan, math.nan, low_alone=math.nan, high_alone=math.nan, p=None, df=None,
            treatment=code, control=trial.control.code, units=2, unit_counted="batch",
            withheld="there is one batch for each treatment, and nothing shows how batches differ",
        )  # fmt: skip
    share = 100 / b.mean()
    return estimate(
        value, value - wide, value + wide, low_alone=value - alone, high_alone=value + alone,
        p=float(2 * stats.t.sf(abs(value) / se, df)), df=float(df), treatment=code,
        control=trial.control.code, units=len(a) + len(b),
        estimand="per bag that fruited" if fruited else "per bag started",
        percent=Span(
            value=value * share, low=(value - wide) * share, high=(value + wide) * share, unit="%"
        ),
    )  # fmt: skip


def _risk_difference(read, code):
    lost, made = zip(
        *(
            (one.lost, one.made)
            for one in map(lambda c: _loss(read, c), (code, read.trial.control.code))
        ),
        strict=True,
    )
    value = 100 * (lost[0] / made[0] - lost[1] / made[1])
    shares = [
        stats.binomtest(x, n).proportion_ci(method="wilson")
        for x, n in zip(lost, made, strict=True)
    ]
    ours, theirs = lost[0] / made[0], lost[1] / made[1]
    # Newcombe's (1998) hybrid of two Wilson intervals.
    low = value - 100 * math.hypot(ours - shares[0].low, shares[1].high - theirs)
    high = value + 100 * math.hypot(shares[0].high - ours, theirs - shares[1].low)
    return estimate(
        value, low, high, outcome="contamination", unit="bags in 100", df=None, p=None,
        treatment=code, control=read.trial.control.code, units=sum(made),
        method="Newcombe's interval for a difference of proportions",
    )  # fmt: skip


def _pair(read, code, fruited, batch):
    if read.trial.aim.outcome == "contamination":
        return tuple(
            Mean(
                treatment=one, estimand="per bag started", value=100 * row.lost / row.made,
                low=100 * row.low, high=100 * row.high, sd=math.nan, n=row.made, unit="bags in 100",
            )
            for one in (read.trial.control.code, code)
            for row in (_loss(read, one),)
        )  # fmt: skip
    which = "per bag that fruited" if fruited else "per bag started"
    return tuple(
        mean
        for one in (read.trial.control.code, code)
        for mean in _means(read, one, batch)
        if mean.estimand == which and mean.unit == "g"
    )


def _means(read, code, batch):
    for fruited in (False, True):
        values = _values(read, code, fruited)
        half = stats.t.ppf(0.975, len(values) - 1) * values.std(ddof=1) / math.sqrt(len(values))
        half = math.nan if batch else half
        estimand = "per bag that fruited" if fruited else "per bag started"
        for scale, unit in ((1.0, "g"), (0.1, "% biological efficiency")):
            yield Mean(
                treatment=code, estimand=estimand, value=values.mean() * scale,
                low=(values.mean() - half) * scale, high=(values.mean() + half) * scale,
                sd=values.std(ddof=1) * scale, n=len(values), unit=unit,
            )  # fmt: skip


def _loss(read, code):
    mine = read.bags[read.bags["treatment"] == code]
    lost, made = int((mine["fate"] == "contaminated").sum()), len(mine)
    method = "wilson" if 0 < lost < made else "exact"
    limits = stats.binomtest(lost, made).proportion_ci(method=method)
    low, high = float(limits.low), float(limits.high)
    method = "Wilson" if method == "wilson" else "Clopper-Pearson"
    batches = mine["batch"].nunique() if read.trial.design.applied_to == "batch" else 0
    if batches == 1:
        low, high, method = math.nan, math.nan, "none"
    return LossCount(
        treatment=code, lost=lost, made=made, low=low, high=high, level=0.95, method=method,
        batches=batches,
    )  # fmt: skip


def _flow(read, code):
    mine = read.bags[read.bags["treatment"] == code]
    lost = mine["fate"] == "contaminated"
    incomplete = ~lost & (mine["missing_flushes"] > 0)
    nothing = ~lost & ~incomplete & (mine["total_g"] == 0)
    return FlowStep(
        treatment=code, made=len(mine), contaminated=int(lost.sum()), lost_otherwise=0,
        still_going=0, not_recorded=0, gave_nothing=int(nothing.sum()),
        fruited=int((~lost & ~incomplete & ~nothing).sum()), incomplete=int(incomplete.sum()),
    )  # fmt: skip


def _flush_rows(read):
    rows = []
    for one in read.trial.treatments:
        mine = read.flushes[
            (read.flushes["treatment"] == one.code) & (read.flushes["state"] == "weighed")
        ]
        total, before = mine["grams"].sum(), math.nan
        for flush, part in mine.groupby("flush")["grams"]:
            rows.append(
                FlushRow(
                    treatment=one.code,
                    flush=int(flush),
                    bags=len(part),
                    mean_g=part.mean(),
                    sd_g=part.std(ddof=1),
                    share=part.sum() / total,
                    kept=part.mean() / before,
                )
            )
            before = part.mean()
    return tuple(rows)


def _model(read):
    return ModelNumbers(
        about="yield per bag started", formula="total ~ treatment",
        variances=(("residual", 3600.0),),
        minus2_reml=312.25, rows=len(read.bags), df_method="residual",
        tests=(("treatment", 1.0, 29.0, 9.87, 0.0039),), notes=("One total is unknown.",),
    )  # fmt: skip
