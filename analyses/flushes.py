"""How fast the flushes fall: the share kept from one flush to the next, compared.

The share is exp(slope) of the logarithm of the weight on the number of the flush, among flushes
that came. Whether they came is another question; `analyses.flush.outlook` joins the two.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd

from analyses.comparison import DF_METHOD, LEAST_DF, Comparison, Sample
from analyses.estimate import Estimate, Span
from analyses.finding import Check, Finding, Mean
from analyses.flush.counts import came_rows
from analyses.flush.kept_fit import KeptFit, fit_kept, unit_slopes, unusable
from analyses.flush.yield_by_flush import model_numbers
from analyses.judged_again import dealt_again, judged_again
from analyses.model_numbers import ModelNumbers
from analyses.models.contrasts import infer
from analyses.models.families.multiplicity import largest_t
from analyses.models.linear.arrays import FitError
from analyses.models.linear.student import t_quantile, t_two_sided
from analyses.models.numerics.growth import grown, rise
from analyses.unit import UnitStory
from trials.records import Records

__all__ = ["FLUSH_UNIT", "KEPT", "flush_answer", "flush_checks", "usable_treatments"]

KEPT = "flushes that came"
FLUSH_UNIT = "in 100"


def usable_treatments(records: Records, unit: UnitStory) -> list[str]:
    """Give the treatments for which a share can be reckoned, the control first.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    """
    trial = records.trial
    ordered = [trial.control.code, *(one.code for one in trial.challengers)]
    came = came_rows(records)
    return [code for code in ordered if not unusable(records, unit, code, came)]


def flush_answer(records: Records, unit: UnitStory, *, level: float) -> Comparison:
    """Compare the shares kept with the control's, in hundredths of a flush.

    Parameters
    ----------
    records : Records
    unit : UnitStory
    level : float
        Confidence; with several treatments it holds for all comparisons together (exact
        multivariate t; Dunnett 1955, JASA 50, 1096-1121, in balanced cases).

    Returns
    -------
    Comparison
        `percent` holds the ratio of the shares less one, from the same fit.

    Notes
    -----
    The difference of two shares has the standard error of its linear form in the coefficients
    (delta method), with Kenward and Roger's (1997) covariance and degrees of freedom.
    """
    trial = records.trial
    came, control = came_rows(records), trial.control.code
    reasons = {one.code: unusable(records, unit, one.code, came) for one in trial.treatments}
    ordered = [control, *(one.code for one in trial.challengers)]
    codes = [code for code in ordered if not reasons[code]]
    kept: KeptFit | None = None
    failed = ""
    try:
        kept = fit_kept(records, unit, codes) if codes else None
    except FitError as error:
        failed = f"the numbers cannot be compared: {error}"
    estimates = []
    for one in trial.challengers:
        reason = failed or reasons[control] or reasons[one.code]
        estimates.append(_withheld(records, unit, came, kept, one.code, reason, level))
    if kept is None or reasons[control]:
        means = _means(records, came, kept, level)
        return Comparison(estimates=tuple(estimates), means=means, model=_model(kept), fit=None)
    compared = [code for code in codes if code != control]
    found = _infer(records, unit, came, kept, compared, level)
    return Comparison(
        estimates=tuple(found.get(one.treatment, one) for one in estimates),
        means=_means(records, came, kept, level),
        model=_model(kept),
        fit=kept.fit,
        sample=_sample(records, unit, came),
    )


def _share(kept: KeptFit, code: str) -> float:
    return float(np.exp(kept.rows[code] @ kept.fit.coefficients))


def _withheld(
    records: Records,
    unit: UnitStory,
    came: pd.DataFrame,
    kept: KeptFit | None,
    code: str,
    reason: str,
    level: float,
) -> Estimate:
    control = records.trial.control.code
    value = math.nan
    if kept is not None and {code, control} <= kept.rows.keys():
        value = 100 * (_share(kept, code) - _share(kept, control))
    nan = math.nan
    return Estimate(
        outcome="flush drop", estimand=KEPT, treatment=code, control=control, value=value, low=nan,
        high=nan, level=level, low_alone=nan, high_alone=nan, p=None, df=None, unit=FLUSH_UNIT,
        units=_units(came, unit, [control, code]), unit_counted=unit.counted,
        method="no inference", withheld=reason or "the numbers cannot be compared",
    )  # fmt: skip


def _units(came: pd.DataFrame, unit: UnitStory, codes: list[str]) -> int:
    chosen = came[came["treatment"].isin(codes)]
    return int(chosen["batch" if unit.counted == "batch" else "bag"].nunique())


def _infer(
    records: Records,
    unit: UnitStory,
    came: pd.DataFrame,
    kept: KeptFit,
    codes: list[str],
    level: float,
) -> dict[str, Estimate]:
    """Compare each share with the control's by the linear form of their difference."""
    if not codes:
        return {}
    control, family = records.trial.control.code, len(codes) > 1
    base = _share(kept, control)
    values = np.array([100 * (_share(kept, code) - base) for code in codes])
    rows = np.array(
        [100 * (_share(kept, code) * kept.rows[code] - base * kept.rows[control]) for code in codes]
    )
    logs = np.array([kept.rows[code] - kept.rows[control] for code in codes])
    alone = infer(kept.fit, rows, codes, df=DF_METHOD, confidence=level)
    ratios = infer(kept.fit, logs, codes, df=DF_METHOD, confidence=level,
                   adjust="exact" if family else "none")  # fmt: skip
    t = values / alone.se
    p, wide = t_two_sided(t, alone.df), t_quantile((1 + level) / 2, alone.df)
    narrow = wide
    if family:
        sure = np.isfinite(alone.se)
        joint = rows[sure] @ kept.fit.covariance_under(DF_METHOD) @ rows[sure].T
        p, wide = np.full((2, len(codes)), np.nan)
        if sure.any():
            largest = largest_t(joint)
            p[sure] = largest.p(t[sure], alone.df[sure])[0]
            wide[sure] = largest.critical(alone.df[sure], level)
    found = {}
    for place, code in enumerate(codes):
        half, half_alone = (float(one[place] * alone.se[place]) for one in (wide, narrow))
        if not math.isfinite(half) or alone.df[place] < LEAST_DF:
            continue
        value = float(values[place])
        found[code] = Estimate(
            outcome="flush drop", estimand=KEPT, treatment=code, control=control, value=value,
            low=value - half, high=value + half, level=level, low_alone=value - half_alone,
            high_alone=value + half_alone, p=float(p[place]), df=float(alone.df[place]),
            unit=FLUSH_UNIT, units=_units(came, unit, [control, *codes]),
            unit_counted=unit.counted, method=_method(unit, kept, family=family),
            percent=Span(unit="%", **{
                name: rise(float(getattr(ratios, source)[place]))
                for name, source in (("value", "estimate"), ("low", "low"), ("high", "high"))
            }),
            notes=kept.fit.notes,
        )  # fmt: skip
    return found


def _method(unit: UnitStory, kept: KeptFit, *, family: bool) -> str:
    words = "difference of exp(slope) of log weight on flush"
    if unit.counted == "batch":
        words += ", one slope a batch"
    words += ", delta method, REML with Kenward-Roger inference"
    if kept.spread_by_flush:
        words += ", a residual variance for each flush"
    if family:
        words += ", intervals and p jointly by the exact multivariate t against the control"
    return words


def _means(
    records: Records, came: pd.DataFrame, kept: KeptFit | None, level: float
) -> tuple[Mean, ...]:
    means = []
    for one in records.trial.treatments:
        value = low = high = math.nan
        if kept is not None and one.code in kept.rows:
            row = kept.rows[one.code][None]
            span = infer(kept.fit, row, [one.code], df=DF_METHOD, confidence=level)
            value, low, high = (
                100 * grown(float(part[0])) for part in (span.estimate, span.low, span.high)
            )
        count = int(came.loc[came["treatment"] == one.code, "bag"].nunique())
        means.append(
            Mean(treatment=one.code, estimand=KEPT, value=value, low=low, high=high, sd=math.nan,
                 n=count, unit=FLUSH_UNIT)
        )  # fmt: skip
    return tuple(means)


def _model(kept: KeptFit | None) -> ModelNumbers | None:
    if kept is None:
        return None
    spread = ", residual variance by flush" if kept.spread_by_flush else ""
    return model_numbers(kept.fit, "flush drop, flushes that came", kept.formula + spread)


def _sample(records: Records, unit: UnitStory, came: pd.DataFrame) -> Sample:
    """Give one slope a bag, by which labels can be dealt out again."""
    slopes = unit_slopes(came, "bag")
    bags = records.bags
    chosen = bags[bags["code"].isin(slopes.index)]
    frame = chosen[["treatment", "block", "batch"]].copy()
    frame["response"] = slopes.loc[chosen["code"]].to_numpy()
    return Sample(
        frame=frame, outcome="flush drop", estimand=KEPT, unit="log ratio", random=(),
        counted=unit.counted,
    )  # fmt: skip


def flush_checks(finding: Finding, records: Records, unit: UnitStory) -> tuple[Check, ...]:
    """Try a finding about the share kept in other ways.

    Parameters
    ----------
    finding : Finding
    records : Records
    unit : UnitStory

    Returns
    -------
    tuple of Check
        With the residual variances the other way, as a ratio of shares, by dealing labels out
        again; those that do not apply are left out.
    """
    if finding.estimate.withheld:
        return ()
    tried = (
        _spread_otherwise(finding, records, unit),
        _as_ratio(finding),
        dealt_again(finding, "slopes of single bags: "),
    )
    return tuple(check for check in tried if check is not None)


def _spread_otherwise(finding: Finding, records: Records, unit: UnitStory) -> Check | None:
    if unit.counted == "batch":
        return None
    one = finding.estimate
    codes = usable_treatments(records, unit)
    try:
        now = fit_kept(records, unit, codes)
        other = fit_kept(records, unit, codes, spread=not now.spread_by_flush)
        if other.spread_by_flush == now.spread_by_flush:
            return None
        came = came_rows(records)
        again = _infer(records, unit, came, other, codes[1:], one.level)[one.treatment]
    except (FitError, KeyError):
        return None
    words = "a spread of its own for each flush" if other.spread_by_flush else "one spread for all"
    return judged_again(finding, f"with {words}", again)


def _as_ratio(finding: Finding) -> Check | None:
    """Judge the ratio of the shares, the margin taken as a share of the control's."""
    percent, control = finding.estimate.percent, finding.means[0].value
    if percent is None or not control > 0:
        return None
    ratio = replace(finding.estimate, value=percent.value, low=percent.low, high=percent.high)
    worthwhile = finding.worthwhile and 100 * finding.worthwhile / control
    return judged_again(
        replace(finding, worthwhile=worthwhile),
        "as a ratio of the shares",
        ratio,
        f"{percent.value:.4g} % ({percent.low:.4g} to {percent.high:.4g})",
    )
