"""Contamination: how many units of how many, and the difference between treatments."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from analyses.analysis import LossCount, UnitStory
from analyses.comparison import Comparison, Sample, compare
from analyses.estimate import Estimate, Span
from analyses.finding import Mean
from analyses.models.exact_tables import conditional_odds
from analyses.models.proportions import clopper_pearson, wilson
from analyses.models.two_proportions import miettinen_nurminen
from analyses.yields import STARTED, random_terms
from trials.records import Records

__all__ = ["contamination_answer", "contamination_sample", "loss_counts"]

HUNDRED = "bags in 100"


def loss_counts(records: Records, *, level: float) -> tuple[LossCount, ...]:
    """Count the contaminated units of each treatment.

    Parameters
    ----------
    records : Records
    level : float
        Confidence.

    Returns
    -------
    tuple of LossCount
        Wilson's interval (1927, JASA 22, 209-212); where none or all were lost the exact one of
        Clopper & Pearson (1934, Biometrika 26, 404-413). Units of unknown fate are left out.
    """
    counts = []
    for code, (lost, made) in _counts(records).items():
        if made == 0:
            low, high, method = math.nan, math.nan, "none"
        elif lost in (0, made):
            exact = clopper_pearson(lost, made, level)
            low, high, method = exact.low, exact.high, "Clopper-Pearson"
        else:
            score = wilson(lost, made, level)
            low, high, method = score.low, score.high, "Wilson"
        counts.append(
            LossCount(
                treatment=code, lost=lost, made=made, low=low, high=high, level=level, method=method
            )
        )
    return tuple(counts)


def _known(records: Records) -> pd.DataFrame:
    bags = records.bags
    return bags[bags["fate"] != "not recorded"]


def _counts(records: Records) -> dict[str, tuple[int, int]]:
    known = _known(records)
    counts = {}
    for one in records.trial.treatments:
        fates = known.loc[known["treatment"] == one.code, "fate"]
        counts[one.code] = (int((fates == "contaminated").sum()), len(fates))
    return counts


def contamination_answer(records: Records, unit: UnitStory, *, level: float) -> Comparison:
    """Compare the share of contaminated units with the control's.

    Parameters
    ----------
    records : Records
    unit : UnitStory
        Bags that count each for themselves are compared by the risk difference of Miettinen &
        Nurminen (1985, Statist. Med. 4, 213-226) and Fisher's exact test; batches by the shares
        of the batches.
    level : float
        Confidence; with several treatments it is shared out among them (Bonferroni).

    Returns
    -------
    Comparison
        In contaminated units of a hundred.
    """
    if unit.counted == "batch":
        return _by_batch(records, unit, level)
    counts = _counts(records)
    challengers = records.trial.challengers
    shared = 1 - (1 - level) / len(challengers)
    estimates = tuple(
        _difference(records, counts, one.code, level=level, shared=shared) for one in challengers
    )
    return Comparison(
        estimates=estimates,
        means=_means(records, level),
        model=None,
        fit=None,
        sample=contamination_sample(records),
    )


def contamination_sample(records: Records) -> Sample:
    """Give 100 for a contaminated unit and 0 for another, one row a unit of known fate.

    Parameters
    ----------
    records : Records

    Returns
    -------
    Sample
    """
    known = _known(records)
    frame = known[["treatment", "block", "batch"]].copy()
    frame["response"] = 100.0 * (known["fate"] == "contaminated")
    return Sample(
        frame=frame,
        outcome="contamination",
        estimand=STARTED,
        unit=HUNDRED,
        random=(),
        counted=records.trial.unit,
    )


def _difference(
    records: Records,
    counts: dict[str, tuple[int, int]],
    code: str,
    *,
    level: float,
    shared: float,
) -> Estimate:
    control = records.trial.control.code
    (x1, n1), (x2, n2) = counts[code], counts[control]
    withheld = ""
    if not n1 or not n2:
        name = records.trial.treatment(code if not n1 else control).name
        withheld = f"there is no {records.trial.unit} of “{name}” to count"
    value = low = high = low_alone = high_alone = math.nan
    p: float | None = None
    ratio: Span | None = None
    if not withheld:
        together = miettinen_nurminen(x1, n1, x2, n2, shared)
        alone = miettinen_nurminen(x1, n1, x2, n2, level)
        fisher = conditional_odds(x1, n1, x2, n2, shared).p
        value, low, high = (100 * one for one in (together.value, together.low, together.high))
        low_alone, high_alone = 100 * alone.low, 100 * alone.high
        p = min(1.0, fisher * len(records.trial.challengers))
    family = len(records.trial.challengers) > 1
    return Estimate(
        outcome="contamination",
        estimand=STARTED,
        treatment=code,
        control=control,
        value=value,
        low=low,
        high=high,
        level=level,
        low_alone=low_alone,
        high_alone=high_alone,
        p=p,
        df=None,
        unit=HUNDRED,
        units=n1 + n2,
        unit_counted=records.trial.unit,
        method="risk difference, Miettinen-Nurminen interval; Fisher's exact test"
        + (", shared out among the comparisons (Bonferroni)" if family else ""),
        percent=ratio,
        withheld=withheld,
    )


def _means(records: Records, level: float) -> tuple[Mean, ...]:
    return tuple(
        Mean(
            treatment=count.treatment,
            estimand=STARTED,
            value=100 * count.lost / count.made if count.made else math.nan,
            low=100 * count.low,
            high=100 * count.high,
            sd=math.nan,
            n=count.made,
            unit=HUNDRED,
        )
        for count in loss_counts(records, level=level)
    )


def _by_batch(records: Records, unit: UnitStory, level: float) -> Comparison:
    """Compare the shares of batches: one number a batch, equal weights, t with batch df."""
    keys = ["treatment", "block", "batch"]
    shares = (
        contamination_sample(records)
        .frame.groupby(keys, observed=True)["response"]
        .mean()
        .reset_index()
    )
    sample = Sample(
        frame=shares,
        outcome="contamination",
        estimand=STARTED,
        unit=HUNDRED,
        random=tuple(term for term in random_terms(shares, unit) if term == "block"),
        counted="batch",
    )
    answer = compare(sample, records.trial, level=level)
    return replace(answer, sample=contamination_sample(records))
