"""Invented trials, analysed by hand with simple means, for the tests of the pages."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import numpy as np
import pandas as pd
from scipy import stats

from analyses.analysis import Analysis, FlowStep, FlushRow, LossCount, ModelNumbers, UnitStory
from analyses.estimate import Estimate, Span
from analyses.finding import BETTER_WHEN, Check, Finding, Mean, judge
from trials.layout import Layout, Slot
from trials.records import Records
from trials.trial import Aim, Design, Margin, Treatment, Trial

START = dt.date(2031, 3, 3)


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


def plan(**changes):
    """A plan of two mixes in eight blocks, to be changed at will."""
    given = {
        "title": "Okara or wheat bran for king oyster",
        "question": "Does okara give more mushrooms per bag than wheat bran?",
        "species": "king oyster", "strain": "K7", "place": "the cellar", "grower": "Group of five",
        "start": START, "flushes": 3, "blind": True, "invented": True,
        "treatments": (
            Treatment(code="B", name="10 % wheat bran", control=True),
            Treatment(code="O", name="10 % okara"),
        ),
        "design": Design(
            layout="complete blocks", block="shelf", blocks=8, units_per_treatment=2, seed=41
        ),
        "aim": Aim(outcome="yield", worthwhile=Margin(value=15.0, unit="%")),
    }  # fmt: skip
    return Trial(**{**given, **changes})


def draw(trial, seed=5):
    """A layout drawn with NumPy alone."""
    rng = np.random.default_rng(seed)
    design, slots = trial.design, []
    codes = [one.code for one in trial.treatments for _ in range(design.units_per_treatment)]
    for block in range(1, design.blocks + 1):
        name = f"{design.block} {block}" if design.blocks > 1 else ""
        for place, code in enumerate(rng.permutation(codes), start=1):
            slots.append((code, name, place))
    batch_of = {one.code: f"batch {n}" for n, one in enumerate(trial.treatments, start=1)}
    return Layout(
        slots=tuple(
            Slot(
                code=f"{n:02d}{'ABCDEFGHJK'[n % 10]}", treatment=str(code), block=block,
                batch=batch_of[str(code)] if design.applied_to == "batch" else "", position=place,
            )
            for n, (code, block, place) in enumerate(slots, start=1)
        ),
        seed=design.seed,
        randomisation="units within blocks" if design.blocks > 1 else "units over all places",
    )  # fmt: skip


def records(trial, *, means, sd=60.0, lost=(), blanks=(), seed=7):
    """Records with falling flushes; `lost` and `blanks` are positions in the layout."""
    layout, rng = draw(trial), np.random.default_rng(seed)
    keeps = 0.5 ** np.arange(trial.flushes)
    bags, flushes = [], []
    for n, slot in enumerate(layout.slots):
        total = max(20.0, rng.normal(means[slot.treatment], sd))
        parts = np.round(total * keeps / keeps.sum() * rng.uniform(0.85, 1.15, trial.flushes))
        states = ["weighed"] * trial.flushes
        if n in lost:
            states, parts = ["after loss"] * trial.flushes, parts * np.nan
        if n in blanks:
            states[-1], parts[-1] = "missing", np.nan
        missing = states.count("missing")
        where = {
            "code": slot.code, "treatment": slot.treatment, "block": slot.block, "batch": slot.batch
        }  # fmt: skip
        bags.append(
            where
            | {
                "position": slot.position, "fate": "contaminated" if n in lost else "finished",
                "seen": "green mould" if n in lost else "", "note": "", "dry_weight_g": 1000.0,
                "total_g": np.nan if missing else float(np.nansum(parts)),
                "missing_flushes": missing,
            }  # fmt: skip
        )
        flushes += [
            where | {"flush": k + 1, "grams": parts[k], "state": states[k], "bodies": np.nan}
            for k in range(trial.flushes)
        ]
    return Records(
        trial=trial, layout=layout, bags=pd.DataFrame(bags), flushes=pd.DataFrame(flushes),
        doubts=(), sources=("records.xlsx",),
    )  # fmt: skip


def two_mixes(*, worthwhile=Margin(value=15.0, unit="%"), gain=90.0, **changes):
    """Two mixes in eight blocks of four, three bags lost and one flush left blank."""
    trial = plan(aim=Aim(outcome="yield", worthwhile=worthwhile), **changes)
    read = records(trial, means={"B": 380.0, "O": 380.0 + gain}, lost=(3, 9, 22), blanks=(14,))
    return analyse(read)


def four_mixes(**changes):
    """Four mixes over one bench, six bags each, no blocks."""
    trial = plan(
        title="Four supplements for lion's mane", flushes=2, blind=False,
        treatments=(
            Treatment(code="N", name="No supplement", control=True),
            Treatment(code="S", name="Soya hulls 20 %"),
            Treatment(code="O", name="Oat bran 10 %"),
            Treatment(code="R", name="Rice bran 10 %"),
        ),
        design=Design(layout="completely random", units_per_treatment=6, seed=3),
        aim=Aim(outcome="yield", worthwhile=Margin(value=40.0, unit="g")),
        **changes,
    )  # fmt: skip
    read = records(trial, means={"N": 230.0, "S": 330.0, "O": 260.0, "R": 235.0}, sd=30.0, lost=(5,))
    return analyse(read)


def one_batch_a_side():
    """Twenty bags a side, but one batch a side: no inference."""
    trial = plan(
        title="Hot water or steam", blind=False, flushes=1,
        treatments=(
            Treatment(code="S", name="Steamed 3 hours", control=True),
            Treatment(code="W", name="Hot water 90 minutes"),
        ),
        design=Design(
            layout="completely random", units_per_treatment=20, applied_to="batch", seed=8
        ),
        aim=Aim(outcome="yield", worthwhile=Margin(value=15.0, unit="%")),
    )  # fmt: skip
    return analyse(records(trial, means={"S": 400.0, "W": 340.0}, lost=(2, 4, 11)))


def shortcut(lost=()):
    """A shortcut asked to be no worse in losses, by default without one loss in eighty."""
    trial = plan(
        title="One hour less in the steamer", blind=True, flushes=1,
        treatments=(
            Treatment(code="L", name="Steamed 3 hours", control=True),
            Treatment(code="K", name="Steamed 2 hours"),
        ),
        design=Design(layout="completely random", units_per_treatment=40, seed=8),
        aim=Aim(
            outcome="contamination", claim="no worse", worthwhile=Margin(value=10.0, unit="in 100")
        ),
    )  # fmt: skip
    return analyse(records(trial, means={"L": 400.0, "K": 390.0}, lost=lost))


def analyse(read):
    """Everything a page reads, from simple means and t intervals."""
    trial = read.trial
    batch = trial.design.applied_to == "batch"
    counted, total = ("batch", len(trial.treatments)) if batch else ("bag", len(read.bags))
    story = UnitStory(
        counted=counted, total=total, block=trial.design.block,
        per_treatment=tuple((one.code, 1 if batch else _n(read, one.code)) for one in trial.treatments),
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
            withheld="there is one batch for each treatment, so the spread between batches is unknown",
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
    lost, made = zip(*((one.lost, one.made) for one in map(lambda c: _loss(read, c), (code, read.trial.control.code))), strict=True)
    value = 100 * (lost[0] / made[0] - lost[1] / made[1])
    shares = [stats.binomtest(x, n).proportion_ci(method="wilson") for x, n in zip(lost, made, strict=True)]
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
    return LossCount(
        treatment=code, lost=lost, made=made, low=float(limits.low), high=float(limits.high),
        level=0.95, method="Wilson" if method == "wilson" else "Clopper-Pearson",
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
                    treatment=one.code, flush=int(flush), bags=len(part), mean_g=part.mean(),
                    sd_g=part.std(ddof=1), share=part.sum() / total, kept=part.mean() / before,
                )  # fmt: skip
            )
            before = part.mean()
    return tuple(rows)


def _model(read):
    return ModelNumbers(
        about="yield per bag started", formula="total ~ treatment", variances=(("residual", 3600.0),),
        minus2_reml=312.25, rows=len(read.bags), df_method="residual",
        tests=(("treatment", 1.0, 29.0, 9.87, 0.0039),), notes=("One total is unknown.",),
    )  # fmt: skip


def worse_for(outcome):
    """The sign of a change for the worse."""
    return -1.0 if BETTER_WHEN[outcome] == "higher" else 1.0


def renamed(analysis, **names):
    """The same analysis with other treatment names."""
    read = analysis.records
    treatments = tuple(
        dataclasses.replace(one, name=names.get(one.code, one.name)) for one in read.trial.treatments
    )
    trial = dataclasses.replace(read.trial, treatments=treatments)
    return dataclasses.replace(analysis, records=dataclasses.replace(read, trial=trial))
