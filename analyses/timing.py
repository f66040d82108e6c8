"""Days to full colonisation, first pins and first picking, and how treatments differ in them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.comparison import Comparison, Sample, compare
from analyses.estimate import Estimate, Span
from analyses.finding import Check, Finding, Mean
from analyses.judged_again import dealt_again, judged_again
from analyses.models.times.known_times import kaplan_meier, log_rank
from analyses.models.times.turnbull import turnbull
from analyses.times.looks import STAGES, LookGap, Stage, look_gap, middle_days, stage_looks
from analyses.times.stage_times import StageTimes, TimeCurve
from analyses.times.time_model import compared_times, day_difference, fit_times, median
from analyses.unit import UnitStory
from trials.records import Records
from trials.trial import Outcome

__all__ = ["STAGE_OF", "WATCHED", "stage_times", "time_checks", "timing_answer"]

WATCHED = "bags as long as they stood"
DAYS = "days"
STAGE_OF: dict[Outcome, Stage] = {"days to colonise": "colonised", "days to pins": "first pins"}


def stage_times(records: Records, unit: UnitStory, *, level: float) -> tuple[StageTimes, ...]:
    """Tell the days to each stage of which two days or more were written.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    level : float
        Confidence.

    Returns
    -------
    tuple of StageTimes
    """
    gap = look_gap(records)
    told = []
    for stage in STAGES:
        frame = stage_looks(records, stage, gap)
        if frame["seen"].sum() >= 2:
            told.append(_stage(records, unit, stage, gap, frame, level))
    return tuple(told)


def _stage(
    records: Records, unit: UnitStory, stage: Stage, gap: LookGap, frame: pd.DataFrame, level: float
) -> StageTimes:
    exact = gap.daily or stage == "first flush picked"
    alone = unit.counted != "batch"
    codes = _comparable(records, frame)
    models = {
        shape: fit_times(frame, codes, shape=shape) if alone and len(codes) > 1 else None
        for shape in ("lognormal", "weibull")
    }
    curves = []
    for one in records.trial.treatments:
        rows = frame[frame["treatment"] == one.code]
        model = models["lognormal"]
        span = (math.nan,) * 3
        if model is not None and one.code in codes:
            span = median(model, one.code, level)
        curves.append(_curve(one.code, rows, span, exact=exact))
    test = _within_blocks(frame, codes) if exact and alone and len(codes) > 1 else None
    primary = models["lognormal"]
    return StageTimes(
        stage=stage,
        gap=gap,
        curves=tuple(curves),
        method="Kaplan-Meier (1958), days known exactly" if exact
        else "Turnbull (1976), days known between two looks",
        compared=tuple(
            one for model in models.values() if model is not None
            for one in compared_times(model, level)
        ),
        log_rank=test,
        blocks_in_model=primary is not None and primary.blocks,
    )  # fmt: skip


def _comparable(records: Records, frame: pd.DataFrame) -> list[str]:
    """Give the treatments with two days seen or more, the control first; none without it."""
    trial = records.trial
    seen = frame[frame["seen"]].groupby("treatment").size()
    ordered = [trial.control.code, *(one.code for one in trial.challengers)]
    good = [code for code in ordered if seen.get(code, 0) >= 2]
    return good if trial.control.code in good else []


def _exact_days(rows: pd.DataFrame) -> pd.DataFrame:
    """Keep units whose day was written or that were watched without it until they were lost."""
    known = rows["seen"] | (np.isinf(rows["right"]) & (rows["left"] > 0))
    days: pd.DataFrame = rows[known].copy()
    days["day"] = np.where(days["seen"], days["right"], days["left"])
    return days


def _curve(
    code: str, rows: pd.DataFrame, span: tuple[float, float, float], *, exact: bool
) -> TimeCurve:
    nothing = np.isinf(rows["right"]) & (rows["left"] == 0)
    lost = np.isinf(rows["right"]) & ~nothing
    left: tuple[float, ...] = ()
    right: tuple[float, ...] = ()
    reached: tuple[float, ...] = ()
    between = (math.nan, math.nan)
    if exact and len(days := _exact_days(rows)):
        curve = kaplan_meier(days["day"], days["seen"])
        left = right = tuple(float(one) for one in curve.times)
        reached = tuple(float(1 - one) for one in curve.survival)
        between = (curve.median, curve.median)
    elif not exact and len(looked := rows[~nothing]):
        pieces = turnbull(looked["left"], looked["right"])
        left = tuple(float(one) for one in pieces.left)
        right = tuple(float(one) for one in pieces.right)
        reached = tuple(float(1 - one) for one in pieces.survival)
        between = (pieces.median_low, pieces.median_high)
    return TimeCurve(
        treatment=code, seen=int(rows["seen"].sum()), lost=int(lost.sum()),
        unknown=int(nothing.sum()), middle=span[0], low=span[1], high=span[2], between=between,
        left=left, right=right, reached=reached,
    )  # fmt: skip


def _within_blocks(frame: pd.DataFrame, codes: list[str]) -> tuple[float, int, float] | None:
    days = _exact_days(frame[frame["treatment"].isin(codes)])
    test = log_rank(days["day"], days["seen"], days["treatment"].to_numpy(str),
                    days["block"].to_numpy(str))  # fmt: skip
    return None if math.isnan(test.statistic) else (test.statistic, test.df, test.p)


def timing_answer(
    records: Records, unit: UnitStory, outcome: Outcome, *, level: float
) -> Comparison:
    """Compare the median days to a stage with the control's.

    Parameters
    ----------
    records : Records
    unit : UnitStory
        Where batches count, the means of their middle days are compared.
    outcome : {"days to colonise", "days to pins"}
    level : float
        Confidence; with several treatments it is shared out among them (Bonferroni).

    Returns
    -------
    Comparison
        In days; `percent` holds the ratio of times less one.
    """
    gap = look_gap(records)
    frame = stage_looks(records, STAGE_OF[outcome], gap)
    sample = _sample(frame, unit, outcome, records)
    if unit.counted == "batch":
        answer = compare(_of_batches(sample, unit), records.trial, level=level)
        return replace(answer, sample=sample)
    codes = _comparable(records, frame)
    model = fit_times(frame, codes) if len(codes) > 1 else None
    means = []
    for one in records.trial.treatments:
        span = (math.nan,) * 3
        if model is not None and one.code in codes:
            span = median(model, one.code, level)
        days = sample.frame.loc[sample.frame["treatment"] == one.code, "response"]
        sd = float(days.std(ddof=1)) if len(days) > 1 else math.nan
        means.append(
            Mean(treatment=one.code, estimand=WATCHED, value=span[0], low=span[1], high=span[2],
                 sd=sd, n=len(days), unit=DAYS)
        )  # fmt: skip
    shared = 1 - (1 - level) / len(records.trial.challengers)
    estimates = []
    for one in records.trial.challengers:
        blank = _withheld(records, frame, outcome, one.code, level)
        if model is None or one.code not in codes:
            estimates.append(blank)
            continue
        joint, alone = (day_difference(model, one.code, each) for each in (shared, level))
        estimates.append(
            Estimate(
                outcome=outcome, estimand=WATCHED, treatment=one.code, control=codes[0],
                value=joint.value, low=joint.low, high=joint.high, level=level,
                low_alone=alone.low, high_alone=alone.high,
                p=min(1.0, joint.p * len(records.trial.challengers)), df=joint.df, unit=DAYS,
                units=len(model.frame), unit_counted=unit.counted,
                method=_method(gap, model.blocks, len(records.trial.challengers) > 1),
                percent=Span(value=joint.percent[0], low=joint.percent[1], high=joint.percent[2],
                             unit="%"),
            )
        )  # fmt: skip
    return Comparison(
        estimates=tuple(estimates), means=tuple(means), model=None, fit=None, sample=sample
    )


def _method(gap: LookGap, blocks: bool, family: bool) -> str:
    often = (
        "on listed days" if gap.listed else f"every {gap.days} days" if gap.days > 1 else "daily"
    )
    words = (
        f"difference of median days, log-normal accelerated failure time{' with blocks' * blocks}, "
        f"days known between looks ({often}{'' if gap.told else ', read off the days written'}), "
        "t with units seen less coefficients"
    )
    return words + ", shared out among the comparisons (Bonferroni)" * family


def _withheld(
    records: Records, frame: pd.DataFrame, outcome: Outcome, code: str, level: float
) -> Estimate:
    control, nan = records.trial.control.code, math.nan
    seen = frame[frame["seen"]]
    few = [one for one in (control, code) if (seen["treatment"] == one).sum() < 2]
    reason = "the looks are too far apart, or the days too much alike, to show how units differ"
    if few:
        name = records.trial.treatment(few[0]).name
        reason = f"with “{name}” fewer than two days were written down"
    chosen = seen[seen["treatment"].isin([control, code])]
    return Estimate(
        outcome=outcome, estimand=WATCHED, treatment=code, control=control, value=nan, low=nan,
        high=nan, level=level, low_alone=nan, high_alone=nan, p=None, df=None, unit=DAYS,
        units=len(chosen), unit_counted=records.trial.unit, method="no inference", withheld=reason,
    )  # fmt: skip


def _sample(frame: pd.DataFrame, unit: UnitStory, outcome: Outcome, records: Records) -> Sample:
    """Give the middle day of each unit that was seen, by the index of the bags."""
    places = {code: index for index, code in records.bags["code"].items()}
    days = frame.assign(response=middle_days(frame))
    days.index = pd.Index([places[code] for code in days["code"]])
    days = days[days["seen"]]
    return Sample(
        frame=days[["treatment", "block", "batch", "response"]], outcome=outcome, estimand=WATCHED,
        unit=DAYS, random=(), counted=unit.counted,
    )  # fmt: skip


def _of_batches(sample: Sample, unit: UnitStory) -> Sample:
    """Give the mean of the middle days of each batch."""
    keys = ["treatment", "block", "batch"]
    days = sample.frame.groupby(keys, observed=True)["response"].mean().reset_index()
    blocked = unit.blocks and 1 < days["block"].nunique() < len(days)
    return replace(sample, frame=days, random=("block",) if blocked else ())


def time_checks(finding: Finding, records: Records, unit: UnitStory) -> tuple[Check, ...]:
    """Try a finding about days with Weibull times, and by dealing labels out again.

    Parameters
    ----------
    finding : Finding
    records : Records
    unit : UnitStory
    """
    one = finding.estimate
    if one.withheld or unit.counted == "batch":
        return ()
    checks = []
    frame = stage_looks(records, STAGE_OF[one.outcome], look_gap(records))
    model = fit_times(frame, _comparable(records, frame), shape="weibull")
    if model is not None:
        other = day_difference(model, one.treatment, one.level)
        again = replace(one, value=other.value, low=other.low, high=other.high)
        checks.append(judged_again(finding, "with Weibull times", again))
    again_dealt = dealt_again(finding, "middle days of the units seen: ", "")
    return (*checks, again_dealt) if again_dealt else tuple(checks)
