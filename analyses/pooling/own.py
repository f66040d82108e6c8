"""Each grower's own small answer, with the error that pooling weighs it by."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analyses.comparison import Sample
from analyses.models.counts.one_share import check_level
from analyses.models.counts.two_proportions import score_limits
from analyses.models.linear.arrays import FitError
from analyses.models.linear.student import t_quantile
from analyses.models.mixed import fit_mixed
from analyses.pooling.differences import differences, log_ratio
from analyses.pooling.rows import own_terms, scale_of
from trials.trial import Trial

__all__ = ["Own", "own_answers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Own:
    """What the records of one grower alone say of one difference.

    Parameters
    ----------
    key : str
        Of the grower.
    value, low, high : float
        Difference and its interval, in the unit of the outcome.
    variance : float
        Squared standard error; NaN where there is none.
    df : float
        Degrees of freedom; infinite for counts.
    control, treatment : float
        The two means.
    bags : int
        Rows that it rests on.
    log_ratio, log_variance : float
        Logarithm of treatment over control and its squared standard error; NaN of losses.
    withheld : str
        Why there is no interval; empty where there is one.
    """

    key: str
    value: float
    low: float
    high: float
    variance: float
    df: float
    control: float
    treatment: float
    bags: int
    log_ratio: float = math.nan
    log_variance: float = math.nan
    withheld: str = ""


def own_answers(sample: Sample, trial: Trial, code: str, *, level: float) -> tuple[Own, ...]:
    """Answer one comparison from the rows of each grower alone.

    Parameters
    ----------
    sample : Sample
        Rows of all growers.
    trial : Trial
        The plan of the group.
    code : str
        The treatment that is compared with the control.
    level : float
        Two-sided confidence of each.

    Returns
    -------
    tuple of Own
        Of the growers who have both, in their order.

    Notes
    -----
    Yields and shares kept by the model of the grower's own design. Losses of bags that stand alone
    by their counts: Miettinen & Nurminen's (1985) interval, and a variance in which an empty or
    full side counts half a bag more on each side of one more bag. Losses of whole batches by the
    spread of batches that all growers share, since a grower with a few has none to show.
    """
    control = trial.control.code
    both = sample.frame[sample.frame["treatment"].isin([control, code])]
    parts = {
        str(key): rows
        for key, rows in both.groupby("grower", sort=False)
        if rows["treatment"].nunique() == 2
    }
    codes = [control, code]
    if sample.outcome != "contamination":
        return tuple(_by_model(key, rows, codes, sample, level) for key, rows in parts.items())
    table = _sides(both[both["grower"].isin(parts)], codes)
    if sample.counted == "batch":
        return _by_batches(table, _shared_variance(both), len(both), level)
    return _by_counts(table, level)


def _sides(rows: pd.DataFrame, codes: list[str]) -> pd.DataFrame:
    """Give the number of rows and their mean by grower, for control and treatment."""
    cells = rows.groupby(["grower", "treatment"], sort=False)["response"].agg(["size", "mean"])
    wide = cells.unstack()
    return pd.DataFrame(
        {
            (what, side): wide[what][code]
            for what in ("size", "mean")
            for side, code in enumerate(codes)
        }
    ).loc[list(dict.fromkeys(rows["grower"]))]


def _by_model(key: str, rows: pd.DataFrame, codes: list[str], sample: Sample, level: float) -> Own:
    terms = own_terms(rows)
    columns = {name: rows[name].to_numpy() for name in ("response", "treatment", *terms)}
    try:
        fit = fit_mixed(columns, "response", "treatment", terms)
        found = differences(fit, codes, scale_of(sample), level)
    except FitError as error:
        return _without(key, rows, codes, sample, f"the numbers cannot be compared: {error}")
    value, se = float(found.value[0]), float(found.se[0])
    if not (math.isfinite(value + float(found.high[0])) and se > 0):
        reason = "the numbers left cannot tell these two apart"
        return _without(key, rows, codes, sample, reason)
    ratio, spread = log_ratio(fit, codes, scale_of(sample))
    return Own(
        key=key, value=value, low=float(found.low[0]), high=float(found.high[0]),
        variance=se**2, df=float(found.df[0]), control=float(found.means[0]),
        treatment=float(found.means[1]), bags=len(rows), log_ratio=ratio, log_variance=spread,
    )  # fmt: skip


def _without(key: str, rows: pd.DataFrame, codes: list[str], sample: Sample, reason: str) -> Own:
    nan = math.nan
    control, treatment = (
        float(rows.loc[rows["treatment"] == code, "response"].mean()) for code in codes
    )
    if scale_of(sample) == "share":
        control, treatment = 100 * math.exp(control), 100 * math.exp(treatment)
    return Own(
        key=key, value=treatment - control, low=nan, high=nan, variance=nan, df=nan,
        control=control, treatment=treatment, bags=len(rows), withheld=reason,
    )  # fmt: skip


def _by_counts(table: pd.DataFrame, level: float) -> tuple[Own, ...]:
    made = table["size"].to_numpy(float)
    lost = np.round(table["mean"].to_numpy(float) * made / 100)
    low, high = score_limits(lost[:, 1], made[:, 1], lost[:, 0], made[:, 0], level)
    mixed = (lost > 0) & (lost < made)
    share = np.where(mixed, lost / made, (lost + 0.5) / (made + 1))
    variance = (share * (1 - share) / made).sum(axis=1)
    means = 100 * lost / made
    return tuple(
        Own(
            key=str(key), value=float(means[at, 1] - means[at, 0]), low=100 * float(low[at]),
            high=100 * float(high[at]), variance=1e4 * float(variance[at]), df=math.inf,
            control=float(means[at, 0]), treatment=float(means[at, 1]), bags=int(made[at].sum()),
        )
        for at, key in enumerate(table.index)
    )  # fmt: skip


def _shared_variance(both: pd.DataFrame) -> float:
    """Give the variance of batches of one grower and treatment, over all of them."""
    cells = both.groupby(["grower", "treatment"])["response"]
    free = int((cells.size() - 1).sum())
    left = both["response"] - cells.transform("mean")
    return float((left**2).sum() / free) if free else math.nan


def _by_batches(table: pd.DataFrame, shared: float, rows: int, level: float) -> tuple[Own, ...]:
    made, means = table["size"].to_numpy(float), table["mean"].to_numpy(float)
    variance = shared * (1 / made).sum(axis=1)
    reach = float(t_quantile((1 + check_level(level)) / 2, max(rows - made.size, 1.0)))
    found = []
    for at, key in enumerate(table.index):
        usable = bool(variance[at] > 0)
        half = reach * math.sqrt(variance[at]) if usable else math.nan
        value = float(means[at, 1] - means[at, 0])
        one = Own(
            key=str(key), value=value, low=max(value - half, -100.0),
            high=min(value + half, 100.0), df=math.inf,
            variance=float(variance[at]) if usable else math.nan, control=float(means[at, 0]),
            treatment=float(means[at, 1]), bags=int(made[at].sum()),
            withheld="" if usable else "nothing shows how much batches differ",
        )  # fmt: skip
        found.append(one if usable else replace(one, low=math.nan, high=math.nan))
    return tuple(found)
