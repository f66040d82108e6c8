"""Compare every treatment with the control by the model that the design calls for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analyses.estimate import Estimate, Span
from analyses.finding import Mean
from analyses.model_numbers import ModelNumbers
from analyses.models.families.fieller import fieller
from analyses.models.linear.arrays import FitError
from analyses.models.linear.formula import random_words
from analyses.unequal_spread import welch_test
from trials.trial import Outcome, Trial

if TYPE_CHECKING:
    from analyses.models.mixed import MixedFit

__all__ = ["Comparison", "Sample", "compare", "model_numbers"]

DF_METHOD = "kenward-roger"
FEWEST_FOR_A_TEST = 2

LEAST_DF = 0.99
"""Degrees of freedom below which a range says nothing: at a third of one it is thousands wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """The rows that one question is answered from.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns treatment, block, batch (text) and response.
    outcome : str
        What the response measures.
    estimand : str
        Over which units.
    unit : str
        Unit of the response, such as ``g``.
    random : tuple of str
        Random terms of the design: block, batch.
    counted : str
        What one independent unit is: the grower's word, or ``batch``.
    """

    frame: pd.DataFrame
    outcome: Outcome
    estimand: str
    unit: str
    random: tuple[str, ...]
    counted: str

    def units(self, code: str) -> int:
        """Count the independent units of a treatment."""
        rows = self.frame[self.frame["treatment"] == code]
        if self.counted == "batch":
            return int(rows["batch"].nunique())
        return len(rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Estimates against the control, means, and the model behind them.

    Parameters
    ----------
    estimates : tuple of Estimate
        One a treatment other than the control, in the order of the plan.
    means : tuple of Mean
        One a treatment, in the order of the plan.
    model : ModelNumbers or None
        None where nothing could be fitted.
    fit : MixedFit or None
        For pictures of residuals and for checks; tables never read it.
    sample : Sample or None
        The rows that were compared; None where they were only counted.
    """

    estimates: tuple[Estimate, ...]
    means: tuple[Mean, ...]
    model: ModelNumbers | None
    fit: MixedFit | None
    sample: Sample | None = None


def compare(sample: Sample, trial: Trial, *, level: float) -> Comparison:
    """Compare every treatment with the control.

    Parameters
    ----------
    sample : Sample
    trial : Trial
        Its treatments; its control.
    level : float
        Confidence; where there are several treatments it holds for all comparisons together
        (exact multivariate t; Dunnett 1955, JASA 50, 1096-1121, in balanced cases).

    Returns
    -------
    Comparison
        Estimates without inference carry the reason in `withheld`.
    """
    from analyses.models.mixed import fit_mixed

    reasons = {one.code: _reason(sample, trial, one.code) for one in trial.challengers}
    usable = [code for code, reason in reasons.items() if not reason]
    codes = [trial.control.code, *usable]
    rows = sample.frame[sample.frame["treatment"].isin(codes)]
    fit: MixedFit | None = None
    if usable:
        ordered = rows.assign(treatment=pd.Categorical(rows["treatment"], codes, ordered=True))
        try:
            fit = fit_mixed(ordered, "response", "treatment", list(sample.random))
        except FitError as error:
            reasons |= dict.fromkeys(usable, f"the numbers cannot be compared: {error}")
    estimates = []
    for one in trial.challengers:
        blank = _withheld(sample, trial, one.code, reasons[one.code], level)
        estimates.append(blank)
    if fit is None:
        return Comparison(
            estimates=tuple(estimates),
            means=_raw_means(sample, trial),
            model=None,
            fit=None,
            sample=sample,
        )
    filled = _infer(fit, sample, trial, usable, level)
    return Comparison(
        estimates=tuple(filled.get(one.treatment, one) for one in estimates),
        means=_adjusted(fit, sample, trial, level),
        model=model_numbers(fit, sample),
        fit=fit,
        sample=sample,
    )


def _reason(sample: Sample, trial: Trial, code: str) -> str:
    """Say why two treatments cannot be compared; empty when they can."""
    for side in (trial.control.code, code):
        units = sample.units(side)
        name = trial.treatment(side).name
        if units == 0:
            return f"there is no {sample.counted} of “{name}” to count"
        if units < FEWEST_FOR_A_TEST:
            if sample.counted == "batch":
                return "one batch a side cannot tell a better method from a luckier batch"
            return f"with one {sample.counted} of “{name}” nothing shows how much they differ"
    sides = sample.frame["treatment"].isin([trial.control.code, code])
    responses = sample.frame.loc[sides, "response"]
    if responses.nunique() < FEWEST_FOR_A_TEST:
        return "every value is the same, so nothing shows how much they differ by chance"
    return ""


def _withheld(sample: Sample, trial: Trial, code: str, reason: str, level: float) -> Estimate:
    control = trial.control.code
    means = sample.frame.groupby("treatment")["response"].mean()
    return Estimate(
        outcome=sample.outcome,
        estimand=sample.estimand,
        treatment=code,
        control=control,
        value=float(means.get(code, math.nan) - means.get(control, math.nan)),
        low=math.nan,
        high=math.nan,
        level=level,
        low_alone=math.nan,
        high_alone=math.nan,
        p=None,
        df=None,
        unit=sample.unit,
        units=sample.units(code) + sample.units(control),
        unit_counted=sample.counted,
        method="difference of plain means; no inference",
        withheld=reason or "the numbers cannot be compared",
    )


def _infer(
    fit: MixedFit, sample: Sample, trial: Trial, usable: list[str], level: float
) -> dict[str, Estimate]:
    family = len(usable) > 1
    control = trial.control.code
    table = fit.contrasts(
        "treatment",
        kind="versus control",
        control=control,
        adjust="exact" if family else "none",
        df=DF_METHOD,
        confidence=level,
    )
    counted = sum(sample.units(code) for code in [control, *usable])
    rows = fit.basis.rows({"treatment": [control, *usable]})
    found = {}
    for place, code in enumerate(usable):
        row = table.iloc[place]
        single = ("low_unadjusted", "high_unadjusted") if family else ("low", "high")
        estimate = Estimate(
            outcome=sample.outcome,
            estimand=sample.estimand,
            treatment=code,
            control=control,
            value=float(row["estimate"]),
            low=float(row["low"]),
            high=float(row["high"]),
            level=level,
            low_alone=float(row[single[0]]),
            high_alone=float(row[single[1]]),
            p=float(row["p"]),
            df=float(row["df"]),
            unit=sample.unit,
            units=counted,
            unit_counted=sample.counted,
            method=_method(sample, family=family),
            notes=fit.notes,
        )
        if reason := _says_nothing(estimate):
            found[code] = _withheld(sample, trial, code, reason, level)
            continue
        percent = _percent(fit, rows[place + 1], rows[0], level)
        found[code] = replace(estimate, percent=percent)
    return found


def _says_nothing(estimate: Estimate) -> str:
    """Say why a range that was worked out is none; empty where it is one."""
    if not math.isfinite(estimate.value + estimate.low + estimate.high):
        return "the numbers left cannot tell these two apart from what they share"
    if estimate.df is not None and estimate.df < LEAST_DF:
        return "so few numbers are left that nothing shows how much is luck"
    return ""


def _percent(fit: MixedFit, top: object, bottom: object, level: float) -> Span | None:
    ratio = fieller(fit, np.asarray(top), np.asarray(bottom), df=DF_METHOD, level=level)
    if not ratio.bounded:
        return None
    low, high = 100 * (ratio.low - 1), 100 * (ratio.high - 1)
    return Span(value=100 * (ratio.value - 1), low=low, high=high, unit="%")


def _method(sample: Sample, *, family: bool) -> str:
    words = (
        "least squares"
        if not sample.random
        else (f"REML with random {' and '.join(sample.random)}, Kenward-Roger inference")
    )
    if family:
        words += ", intervals and p jointly by the exact multivariate t against the control"
    return words


def _spread(sample: Sample, code: str) -> tuple[float, int]:
    values = sample.frame.loc[sample.frame["treatment"] == code, "response"]
    return (float(values.std(ddof=1)) if len(values) > 1 else math.nan), len(values)


def _raw_means(sample: Sample, trial: Trial) -> tuple[Mean, ...]:
    means = sample.frame.groupby("treatment")["response"].mean()
    told = []
    for one in trial.treatments:
        sd, count = _spread(sample, one.code)
        told.append(
            Mean(
                treatment=one.code,
                estimand=sample.estimand,
                value=float(means.get(one.code, math.nan)),
                low=math.nan,
                high=math.nan,
                sd=sd,
                n=count,
                unit=sample.unit,
            )
        )
    return tuple(told)


def _adjusted(fit: MixedFit, sample: Sample, trial: Trial, level: float) -> tuple[Mean, ...]:
    table = fit.means("treatment", df=DF_METHOD, confidence=level)
    spans = {
        str(name): (float(mean), float(low), float(high))
        for name, mean, low, high in zip(
            *(table[column] for column in ("level", "mean", "low", "high")), strict=True
        )
    }
    told = []
    for raw in _raw_means(sample, trial):
        mean, low, high = spans.get(raw.treatment, (raw.value, raw.low, raw.high))
        told.append(replace(raw, value=mean, low=low, high=high))
    return tuple(told)


def _welch(sample: Sample) -> tuple[tuple[str, float, float, float, float], ...]:
    """Beside the pooled F of three or more treatments without blocks, the one of Welch."""
    if sample.random or sample.frame["treatment"].nunique() <= 2:
        return ()
    found = welch_test(sample.frame[["treatment", "response"]])
    return (found,) if found else ()


def model_numbers(fit: MixedFit, sample: Sample) -> ModelNumbers:
    """Give the numbers of a fit for the statistician.

    Parameters
    ----------
    fit : MixedFit
    sample : Sample
        The rows that it was fitted to.
    """
    tests = fit.tests(DF_METHOD)
    random = random_words(sample.random)
    return ModelNumbers(
        about=f"{sample.outcome}, {sample.estimand}",
        formula=f"{sample.outcome} ({sample.unit}) ~ treatment{random}",
        variances=tuple(fit.variances.items()),
        minus2_reml=fit.minus2_reml,
        rows=fit.rows,
        df_method="Kenward-Roger" if sample.random else "residual",
        tests=(
            *(
                (str(term), float(num), float(den), float(f), float(p))
                for term, num, den, f, p in tests.itertuples(index=False)
            ),
            *_welch(sample),
        ),
        notes=fit.notes,
    )
