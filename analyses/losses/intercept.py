"""Losses by a logistic model in which every batch has its own luck, as a companion."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from analyses.companion import Companion, from_log
from analyses.models.counts.clusters import design_effect
from analyses.models.counts.odds import odds_contrast, share_correlation
from analyses.models.counts.random_intercept import RandomInterceptFit, fit_random_intercept

__all__ = ["Cluster", "random_intercept"]

_NO_MORE_THAN_ROUNDING = 1e-9
Cluster: TypeAlias = tuple[int, float, float]
"""Number of the cluster, units lost, units made."""


def random_intercept(
    mine: Sequence[Cluster], control: Sequence[Cluster], *, kind: str, level: float
) -> tuple[Companion, ...]:
    """Give odds ratio, intracluster correlation and design effect by a random intercept.

    Parameters
    ----------
    mine, control : sequence of (int, float, float)
        Clusters of the two treatments: number, lost, made. A number on both sides is one cluster.
    kind : str
        What a cluster is, for the description.
    level : float
        Two-sided confidence.

    Returns
    -------
    tuple of Companion
        Without numbers, and with the reason, where the fit has no end.
    """
    rows = [(*one, side) for side, part in ((1.0, mine), (0.0, control)) for one in part]
    number, lost, made, side = (np.array(column) for column in zip(*rows, strict=True))
    method = f"logistic with a random {kind}, adaptive quadrature"
    design = np.column_stack([np.ones(len(rows)), side])
    if len(np.unique(number)) < 2 or not 0 < lost.sum() < made.sum():
        note = "every unit, or none, was lost: there is nothing to fit"
        return (Companion(measure="odds ratio", level=level, method=method, note=note),)
    fit = fit_random_intercept(design, number, lost, made)
    if not fit.converged:
        note = "one side lost none or all of its units, so the search has no end"
        return (Companion(measure="odds ratio", level=level, method=method, note=note),)
    sizes = np.array([made[number == one].sum() for one in np.unique(number)])
    return (_odds(fit, method, level), *_alike(fit, sizes, kind, level))


def _odds(fit: RandomInterceptFit, method: str, level: float) -> Companion:
    odds = odds_contrast(fit, [0, 1], level)
    return Companion(
        measure="odds ratio", value=from_log(odds.value), low=from_log(odds.low),
        high=from_log(odds.high), level=level, p=odds.p, df=odds.df,
        method=f"{method}; t on between-within df", note="; ".join(fit.notes),
    )  # fmt: skip


def _alike(
    fit: RandomInterceptFit, sizes: np.ndarray, kind: str, level: float
) -> tuple[Companion, ...]:
    correlation = share_correlation(fit, [1, 0])
    if correlation < _NO_MORE_THAN_ROUNDING:
        correlation = 0.0
    return (
        Companion(
            measure="intracluster correlation", value=correlation, p=fit.p, level=level,
            method=f"random {kind}, at the control's share; likelihood ratio test",
        ),
        Companion(
            measure="design effect", value=design_effect(sizes, correlation), level=level,
            method=f"Kish, from that correlation and the size of each {kind}",
        ),
    )  # fmt: skip
