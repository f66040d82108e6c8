"""The whole story of the flushes: shares kept, whether the fall is even, what to expect."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from analyses.comparison import DF_METHOD
from analyses.flush.counts import came_rows, flush_counts, flush_watch, picked_flushes
from analyses.flush.kept_fit import KeptFit, fit_kept
from analyses.flush.outlook import AHEAD, DRAWS, JointFit, expected_flushes, fit_joint, outlooks
from analyses.flush.story import FlushStory, Kept, KeptContrast, Step
from analyses.flushes import usable_treatments
from analyses.models.contrasts import comparisons, infer
from analyses.models.flush.batch_luck import batch_df
from analyses.models.flush.flush_parts import PartsModel
from analyses.models.linear.arrays import Array, FitError
from analyses.unit import UnitStory
from trials.plurals import counted, plural
from trials.records import Records

__all__ = ["CURVED", "FEWEST_BATCHES", "flush_story"]

CURVED = 0.05
"""The steps are told one by one when an even fall is as unlikely as this."""

FEWEST_BATCHES = 3
"""Batches of a treatment, and degrees of freedom, without which nothing is said of how far batches
differ."""


def flush_story(
    records: Records, unit: UnitStory, *, level: float, draws: int = DRAWS
) -> tuple[FlushStory, JointFit | None] | None:
    """Tell how the flushes fall.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    level : float
        Confidence.
    draws : int
        Simulated trials behind the ranges of what to expect.

    Returns
    -------
    tuple of (FlushStory, JointFit or None) or None
        None where nothing was weighed; no joint fit where nothing came.
    """
    picked = picked_flushes(records)
    if not picked:
        return None
    kept = _kept_fit(records, unit)
    p, steps = _steps(kept, level)
    curved = p < CURVED
    joint, why = _joint(records, unit, kept, curved, level, draws)
    drawn = 0 if joint is None or joint.drawn is None else joint.drawn.bag.size
    story = FlushStory(
        planned=records.trial.flushes,
        picked=picked,
        kept=_kept(records, unit, kept, level),
        contrasts=_contrasts(records, kept, level),
        curvature_p=p,
        curved=curved,
        spread_by_flush=kept is not None and kept.spread_by_flush,
        spread_p=math.nan if kept is None else kept.spread_p,
        steps=steps,
        counts=flush_counts(records),
        expected=() if joint is None else expected_flushes(joint),
        outlooks=() if joint is None else outlooks(joint),
        draws=drawn,
        seed=records.layout.seed,
        why_no_ranges=why,
        notes=_notes(joint, kept),
    )
    return story, joint


def _kept_fit(records: Records, unit: UnitStory) -> KeptFit | None:
    codes = usable_treatments(records, unit)
    try:
        return fit_kept(records, unit, codes) if codes else None
    except FitError:
        return None


def _kept(
    records: Records, unit: UnitStory, kept: KeptFit | None, level: float
) -> tuple[Kept, ...]:
    if kept is None:
        return ()
    told = []
    for code, fit, row in (
        ("", kept.common, kept.common_row),
        *((code, kept.fit, kept.rows[code]) for code in kept.rows),
    ):
        found = infer(fit, row[None], [code], df=DF_METHOD, confidence=level)
        rows = kept.frame if not code else kept.frame[kept.frame["treatment"] == code]
        slope, low, high = (float(one[0]) for one in (found.estimate, found.low, found.high))
        told.append(
            Kept(
                treatment=code, value=math.exp(slope), low=math.exp(low), high=math.exp(high),
                level=level, slope=slope, error=float(found.se[0]), df=float(found.df[0]),
                units=int(rows["batch" if unit.counted == "batch" else "bag"].nunique()),
                rows=len(rows),
            )
        )  # fmt: skip
    order = {one.code: place for place, one in enumerate(records.trial.treatments)}
    return tuple(sorted(told, key=lambda one: order.get(one.treatment, -1)))


def _contrasts(records: Records, kept: KeptFit | None, level: float) -> tuple[KeptContrast, ...]:
    control = records.trial.control.code
    if kept is None or control not in kept.rows:
        return ()
    told = []
    for one in records.trial.challengers:
        if one.code not in kept.rows:
            continue
        row = kept.rows[one.code] - kept.rows[control]
        found = infer(kept.fit, row[None], ["pair"], df=DF_METHOD, confidence=level)
        ratio, low, high = (
            math.exp(float(part[0])) for part in (found.estimate, found.low, found.high)
        )
        told.append(
            KeptContrast(
                treatment=one.code, control=control, value=ratio, low=low, high=high,
                log_ratio=float(found.estimate[0]), error=float(found.se[0]),
                df=float(found.df[0]), t=float(found.t[0]), p=float(found.p[0]),
            )
        )  # fmt: skip
    return tuple(told)


def _steps(kept: KeptFit | None, level: float) -> tuple[float, tuple[Step, ...]]:
    """Fit a level for each flush: the test of an even fall, and the ratios of neighbours."""
    from analyses.models.mixed import fit_mixed

    if kept is None:
        return math.nan, ()
    frame = kept.frame.copy()
    numbers = sorted({int(one) for one in frame["flush"]})
    frame["flush"] = pd.Categorical(frame["flush"], [str(one) for one in numbers])
    many = frame["treatment"].nunique() > 1
    fixed = "treatment * flush" if many else "flush"
    random = [term for term in ("block", "bag") if 1 < frame[term].nunique() < len(frame)]
    try:
        fit = fit_mixed(frame, "grams", fixed, random, log=True,
                        residual_by="flush" if kept.spread_by_flush else None)  # fmt: skip
    except FitError:
        return math.nan, ()
    levels = fit.basis.rows({"flush": [str(one) for one in numbers]})
    p = math.nan
    if len(numbers) > 2:
        p = fit.joint(_bends(np.array(numbers, float)) @ levels, DF_METHOD).p
    groups = [("", {}), *(((code, {"treatment": code}) for code in kept.rows) if many else ())]
    told = []
    for code, at in groups:
        found = comparisons(fit, "flush", "consecutive", df=DF_METHOD, at=at, confidence=level)
        told += [
            Step(treatment=code, flush=flush, value=math.exp(value), low=math.exp(low),
                 high=math.exp(high))
            for flush, value, low, high in zip(
                numbers[1:], found.estimate, found.low, found.high, strict=True
            )
            if math.isfinite(value + low + high)
        ]  # fmt: skip
    if not many:
        told += [
            Step(treatment=next(iter(kept.rows)), flush=one.flush, value=one.value, low=one.low,
                 high=one.high)
            for one in told
        ]  # fmt: skip
    return float(p), tuple(told)


def _bends(numbers: Array) -> Array:
    """Give contrasts of the levels that any straight line leaves at zero."""
    line = np.column_stack([np.ones_like(numbers), numbers])
    return np.linalg.svd(line.T)[2][2:]


def _joint(
    records: Records, unit: UnitStory, kept: KeptFit | None, curved: bool, level: float, draws: int
) -> tuple[JointFit | None, str]:
    """Join the parts; where a straight line cannot be fitted, a level for each flush."""
    came = came_rows(records)
    codes = [one.code for one in records.trial.treatments if (came["treatment"] == one.code).any()]
    if not codes:
        return None, "nothing was picked"
    straight = not curved and kept is not None and set(codes) <= kept.rows.keys()
    spread = kept is not None and kept.spread_by_flush
    model = PartsModel(straight=straight, spread_by_flush=spread, ahead=AHEAD if straight else 0)
    batches, why = unit.counted == "batch", ""
    if batches:
        why = _few_batches(records, codes, came)
    elif came.groupby("treatment")["bag"].nunique().min() < 2:
        why = f"with one {records.trial.unit} of a treatment nothing shows how much they differ"
    residual = _residuals(kept, picked_flushes(records)) if spread and kept else None
    joint = fit_joint(
        records, codes, model, level=level, residual=residual, draws=0 if why else draws,
        batches=batches,
    )  # fmt: skip
    if not np.isfinite(joint.parts.expected).all():
        return None, "a flush that came nowhere has no weight to reckon with"
    if not why and joint.drawn is None:
        why = "the flushes picked are too few to simulate from"
    return joint, why


def _few_batches(records: Records, codes: list[str], came: pd.DataFrame) -> str:
    """Say why the batches cannot show how far batches differ; empty where they can."""
    fewest = int(came.groupby("treatment")["batch"].nunique().min())
    if fewest < FEWEST_BATCHES:
        return (
            f"with {counted(fewest, 'batch')} of a treatment too little shows how far batches "
            f"differ; it takes {FEWEST_BATCHES} of each"
        )
    if batch_df(flush_watch(records, codes, batches=True)) < FEWEST_BATCHES:
        where = plural(records.trial.design.block)
        return f"with so few batches on these {where} too little shows how far batches differ"
    return ""


def _residuals(kept: KeptFit, picked: int) -> Array:
    found = kept.fit.variances
    middle = float(np.mean([value for name, value in found.items() if name.startswith("res")]))
    return np.array([found.get(f"residual[{flush}]", middle) for flush in range(1, picked + 1)])


def _notes(joint: JointFit | None, kept: KeptFit | None) -> tuple[str, ...]:
    notes = list(kept.fit.notes) if kept is not None else []
    if joint is not None and joint.failed:
        notes.append(f"{joint.failed} simulated trials could not be fitted and are left out")
    return tuple(notes)
