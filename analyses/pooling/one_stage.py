"""All growers' rows in one mixed model: the answer that decides."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from analyses.comparison import Comparison, Sample, model_numbers
from analyses.estimate import Estimate, Span
from analyses.finding import Mean
from analyses.models.linear.arrays import FitError
from analyses.models.mixed import MixedFit, fit_mixed
from analyses.pooling.differences import Differences, differences, percents
from analyses.pooling.rows import scale_of
from trials.trial import Trial

__all__ = ["GROWER_TREATMENT", "between_variance_of", "fit_rows", "one_stage"]

GROWER_TREATMENT = "grower:treatment"


def one_stage(sample: Sample, trial: Trial, *, level: float) -> Comparison:
    """Compare every treatment with the control over all growers.

    Parameters
    ----------
    sample : Sample
        Rows of all growers, as `analyses.pooling.rows` gives them.
    trial : Trial
        The plan of the group.
    level : float
        Confidence, for all comparisons together.

    Returns
    -------
    Comparison
        Its estimates count growers. Response = treatment + grower + grower x treatment + blocks
        and batches within growers + bag, all but treatment random, by REML, with Kenward and
        Roger's inference: so the average is over growers like these.
    """
    counts = {
        str(code): int(rows["grower"].nunique()) for code, rows in sample.frame.groupby("treatment")
    }
    reasons = {one.code: _reason(sample, trial, one.code, counts) for one in trial.challengers}
    codes = [trial.control.code, *(code for code, reason in reasons.items() if not reason)]
    fit: MixedFit | None = None
    if len(codes) > 1:
        try:
            fit = fit_rows(sample, codes)
        except FitError as error:
            reasons |= dict.fromkeys(codes[1:], f"the numbers cannot be compared: {error}")
    spans: tuple[Span | None, ...] = ()
    if fit is None:
        found, model = None, None
    else:
        found = differences(fit, codes, scale_of(sample), level)
        plain = sample.outcome == "contamination"
        spans = () if plain else percents(fit, codes, scale_of(sample), level)
        model = model_numbers(fit, sample)
    estimates = []
    for one in trial.challengers:
        blank = _withheld(sample, trial, one.code, reasons[one.code], counts, level)
        if found is None or one.code not in codes:
            estimates.append(blank)
            continue
        place = codes.index(one.code) - 1
        span = spans[place] if spans else None
        estimates.append(_filled(blank, found, place, span, sample, fit))
    means = _means(sample, trial, codes, found)
    return Comparison(estimates=tuple(estimates), means=means, model=model, fit=fit, sample=sample)


def fit_rows(sample: Sample, codes: list[str], *, residual_by: str | None = None) -> MixedFit:
    """Fit the rows of all growers.

    Parameters
    ----------
    sample : Sample
    codes : list of str
        Treatments, the control first.
    residual_by : str, optional
        A factor with one residual variance a level, such as ``grower``.

    Raises
    ------
    FitError
        When the rows do not determine the model.
    """
    rows = sample.frame[sample.frame["treatment"].isin(codes)]
    ordered = rows.assign(treatment=pd.Categorical(rows["treatment"], codes))
    random = [term for term in sample.random if _varies(ordered, term)]
    return fit_mixed(ordered, "response", "treatment", random, residual_by=residual_by)


def _varies(frame: pd.DataFrame, term: str) -> bool:
    levels = frame.groupby(term.split(":"), observed=True).ngroup().nunique()
    return bool(1 < levels < len(frame))


def between_variance_of(fit: MixedFit) -> float:
    """Give the variance between growers of the difference of two treatments.

    Parameters
    ----------
    fit : MixedFit
        Twice the variance of grower x treatment; NaN where the fit has no such term.
    """
    return 2 * float(fit.variances.get(GROWER_TREATMENT, math.nan))


def _reason(sample: Sample, trial: Trial, code: str, counts: dict[str, int]) -> str:
    name = trial.treatment(code).name
    both = min(counts.get(code, 0), counts.get(trial.control.code, 0))
    if both == 0:
        return f"no grower has anything to compare of “{name}”"
    if both == 1:
        return f"only one grower has “{name}” beside the control, and one grower is no group"
    sides = sample.frame["treatment"].isin([trial.control.code, code])
    if sample.frame.loc[sides, "response"].nunique() < 2:
        return "every value is the same, so nothing shows how much they differ by chance"
    return ""


def _withheld(
    sample: Sample, trial: Trial, code: str, reason: str, counts: dict[str, int], level: float
) -> Estimate:
    nan = math.nan
    means = sample.frame.groupby("treatment")["response"].mean()
    sides = [float(means.get(one, nan)) for one in (code, trial.control.code)]
    if scale_of(sample) == "share":
        sides = [100 * math.exp(side) for side in sides]
    value = sides[0] - sides[1]
    return Estimate(
        outcome=sample.outcome, estimand=sample.estimand, treatment=code,
        control=trial.control.code, value=value, low=nan, high=nan, level=level, low_alone=nan,
        high_alone=nan, p=None, df=None, unit=sample.unit, units=counts.get(code, 0),
        unit_counted="grower", method="difference of plain means; no inference",
        withheld=reason or "the numbers cannot be compared",
    )  # fmt: skip


def _filled(
    blank: Estimate,
    found: Differences,
    place: int,
    percent: Span | None,
    sample: Sample,
    fit: MixedFit | None,
) -> Estimate:
    names = ("value", "low", "high", "low_alone", "high_alone", "p", "df")
    value, low, high, low_alone, high_alone, p, df = (
        float(getattr(found, name)[place]) for name in names
    )
    if not math.isfinite(value + low + high + low_alone + high_alone + p + df) or fit is None:
        return replace(blank, withheld="the numbers left cannot tell these two apart")
    method = f"one model of all growers: REML with random {', '.join(sample.random)}"
    method += ", Kenward-Roger inference"
    if len(found.value) > 1:
        method += ", intervals and p jointly by the exact multivariate t against the control"
    return replace(
        blank, value=value, low=low, high=high, low_alone=low_alone, high_alone=high_alone, p=p,
        df=df, percent=percent, withheld="", method=method, notes=fit.notes,
    )  # fmt: skip


def _means(
    sample: Sample, trial: Trial, codes: list[str], found: Differences | None
) -> tuple[Mean, ...]:
    told = []
    for one in trial.treatments:
        mine = sample.frame.loc[sample.frame["treatment"] == one.code, "response"].astype(float)
        value = float(mine.mean()) if len(mine) else math.nan
        value = 100 * math.exp(value) if scale_of(sample) == "share" else value
        low = high = math.nan
        if found is not None and one.code in codes:
            at = codes.index(one.code)
            value, low, high = (
                float(part[at]) for part in (found.means, found.mean_low, found.mean_high)
            )
        sd = float(mine.std(ddof=1)) if len(mine) > 1 and scale_of(sample) == "plain" else math.nan
        told.append(
            Mean(treatment=one.code, estimand=sample.estimand, value=value, low=low, high=high,
                 sd=sd, n=len(mine), unit=sample.unit)
        )  # fmt: skip
    return tuple(told)
