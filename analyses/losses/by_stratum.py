"""Losses compared within batches or blocks that hold several treatments."""

from __future__ import annotations

from analyses.companion import Companion
from analyses.estimate import Estimate
from analyses.losses.estimate import asked, decides, loss_estimate, missing_side, shared_level
from analyses.losses.intercept import random_intercept
from analyses.losses.table import Layers, arm_counts, known_fates, strata_of
from analyses.models.counts.strata import (
    Strata,
    breslow_day,
    cochran_mantel_haenszel,
    exact_common_odds,
    pooled_difference,
    pooled_odds,
    pooled_ratio,
)
from analyses.models.counts.stratified_score import is_sparse, stratified_score
from trials.plurals import plural
from trials.records import Records

__all__ = ["by_stratum", "stratum_companions"]


def by_stratum(records: Records, layer: Layers, *, level: float) -> tuple[Estimate, ...]:
    """Compare lost units with the control's within strata.

    Parameters
    ----------
    records : Records
    layer : Layers
        What the units are compared within.
    level : float
        Confidence for all comparisons together.

    Returns
    -------
    tuple of Estimate
        The Mantel-Haenszel risk difference with the stratified score interval of Miettinen &
        Nurminen (1985, Statist. Med. 4, 213-226), which has a bound where no unit was lost; p is
        that of Cochran, Mantel and Haenszel, or exact (Gart 1970, Biometrika 57, 471-475) when
        the tables are sparse (Mantel & Fleiss 1980, Am. J. Epidemiol. 112, 129-134).
    """
    claim, _ = asked(records)
    counts, shared = arm_counts(records), shared_level(records, level)
    told = []
    for one in records.trial.challengers:
        withheld = missing_side(records, counts, one.code)
        tables = None if withheld else strata_of(records, layer, one.code)
        if tables is None and not withheld:
            withheld = f"no {layer.kind} holds both, so they cannot be compared side by side"
        sparse = tables is not None and is_sparse(tables)
        told.append(
            loss_estimate(
                records,
                one.code,
                together=None if tables is None else stratified_score(tables, shared),
                alone=None if tables is None else stratified_score(tables, level),
                p=None if tables is None else _p(tables, sparse),
                level=level,
                units=0 if tables is None else int(tables.n.sum()),
                method=f"Mantel-Haenszel risk difference by {layer.kind}, stratified "
                "Miettinen-Nurminen interval; "
                + ("exact conditional test" if sparse else "Cochran-Mantel-Haenszel test")
                + f"; {decides(claim, level)}",
                withheld=withheld,
                notes=() if tables is None else _left_out(records, layer, tables, one.code),
            )
        )
    return tuple(told)


def _p(tables: Strata, sparse: bool) -> float:
    return exact_common_odds(tables).p if sparse else cochran_mantel_haenszel(tables).p


def _left_out(records: Records, layer: Layers, tables: Strata, code: str) -> tuple[str, ...]:
    known = known_fates(records)
    mine = known["treatment"].isin([code, records.trial.control.code])
    alone = int(mine.sum() - tables.n.sum())
    if not alone:
        return ()
    return (
        f"{alone} of {int(mine.sum())} {plural(records.trial.unit)} stood in a {layer.kind} with "
        "one of the two treatments only; they say nothing about the difference and were left out "
        "of it.",
    )


def stratum_companions(
    records: Records, layer: Layers, code: str, *, level: float
) -> tuple[Companion, ...]:
    """Give the other measures of one comparison within strata.

    Parameters
    ----------
    records : Records
    layer : Layers
    code : str
        The treatment that is compared with the control.
    level : float
        Confidence of each by itself.

    Returns
    -------
    tuple of Companion
        Risk difference, risk ratio and odds ratio of Mantel and Haenszel, the exact common odds
        ratio, whether the odds ratio is the same in all, and a logistic model with a random
        intercept for each stratum.
    """
    if missing_side(records, arm_counts(records), code):
        return ()
    tables = strata_of(records, layer, code)
    if tables is None:
        return ()
    difference, exact = pooled_difference(tables, level), exact_common_odds(tables, level)
    pooled = [
        Companion(
            measure="risk difference, bags in 100", value=100 * difference.value,
            low=100 * difference.low, high=100 * difference.high, level=level,
            method=difference.method,
            note="no unit was lost, so this interval is empty of meaning"
            if difference.error == 0 else "",
        )
    ]  # fmt: skip
    for one in (pooled_ratio(tables, level), pooled_odds(tables, level)):
        pooled.append(
            Companion(
                measure=one.measure, value=one.value, low=one.low, high=one.high, level=level,
                method=one.method,
            )
        )  # fmt: skip
    alike, count = breslow_day(tables), len(tables.x1)
    return (
        *pooled,
        Companion(
            measure="odds ratio", value=exact.value, low=exact.low, high=exact.high, level=level,
            p=exact.p, method="exact conditional, common to the strata",
        ),
        *(() if alike.df < 1 else (
            Companion(
                measure="the same odds ratio everywhere", p=alike.p, df=float(alike.df),
                level=level, method="Breslow-Day test with Tarone's correction",
            ),
        )),
        *random_intercept(
            [*zip(range(count), tables.x1, tables.n1, strict=True)],
            [*zip(range(count), tables.x2, tables.n2, strict=True)],
            kind=layer.kind, level=level,
        ),
    )  # fmt: skip
