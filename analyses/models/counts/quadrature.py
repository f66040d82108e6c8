"""The likelihood of a logistic model with a random intercept, by adaptive quadrature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

__all__ = ["Layout", "Marginal", "gather", "log_ways"]

Array: TypeAlias = npt.NDArray[np.float64]

_MODE_STEPS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A design whose rows are gathered by cluster; like rows of a cluster are one.

    Attributes
    ----------
    design : ndarray, shape (rows, clusters, p)
        Padded with zeros where a cluster has fewer rows.
    place : ndarray of int, shape (n,)
        For each row of the data, where it went in the flattened (rows, clusters).
    """

    design: Array
    place: npt.NDArray[np.intp]

    def fold(self, counts: Array) -> Array:
        """Give counts of shape (trials, n) as (rows, clusters, trials), like rows added up."""
        rows, clusters, _ = self.design.shape
        folded = np.zeros((rows * clusters, len(counts)))
        np.add.at(folded, self.place, counts.T)
        return folded.reshape(rows, clusters, len(counts))


def gather(design: Array, cluster: npt.ArrayLike) -> Layout:
    """Give the layout of a design by cluster.

    Parameters
    ----------
    design : ndarray, shape (n, p)
    cluster : array_like, shape (n,)
        Labels of the clusters.
    """
    labels = np.asarray(cluster)
    if labels.shape != design.shape[:1]:
        raise ValueError(f"{design.shape[0]} rows in the design but {labels.size} cluster labels")
    _, group = np.unique(labels, return_inverse=True)
    kinds, kind = np.unique(np.column_stack([group, design]), axis=0, return_inverse=True)
    owner = kinds[:, 0].astype(np.intp)
    first = np.searchsorted(owner, np.arange(owner[-1] + 1))
    slot = np.arange(len(owner)) - first[owner]
    rows, clusters = int(slot.max()) + 1, int(owner[-1]) + 1
    padded = np.zeros((rows, clusters, design.shape[1]))
    padded[slot, owner] = kinds[:, 1:]
    return Layout(design=padded, place=(slot * clusters + owner)[np.ravel(kind)])


def log_ways(events: Array, totals: Array) -> Array:
    """Give the logarithm of the binomial coefficients, summed over the last axis."""
    ways = gammaln(totals + 1) - gammaln(events + 1) - gammaln(totals - events + 1)
    return np.asarray(ways.sum(axis=-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """The marginal log likelihood of some trials with its derivatives by beta and sigma.

    Attributes
    ----------
    value : ndarray, shape (trials,)
    score : ndarray, shape (trials, p + 1)
    observed, complete : ndarray, shape (trials, p + 1, p + 1)
        Negative Hessian, and the information that known random effects would have given, which is
        never indefinite.
    mode : ndarray, shape (clusters, trials)
        The most likely random effects, to start the next search from.
    """

    value: Array
    score: Array
    observed: Array
    complete: Array
    mode: Array


class Marginal:
    """The marginal likelihood on one layout, all trials at once, trials in the last axis.

    Parameters
    ----------
    layout : Layout
    nodes : int
        Points of the Gauss-Hermite rule, centred and scaled at the mode of each cluster.

    Notes
    -----
    Pinheiro & Bates (1995), J. Comput. Graph. Statist. 4, 12-35, section 2.3, with the random
    intercept as sigma times a standard normal deviate. Derivatives by Fisher's and Louis's (1982,
    JRSS B 44, 226-233) identities, which hold up to the error of the quadrature.
    """

    def __init__(self, layout: Layout, nodes: int) -> None:
        self.layout = layout
        points, weights = np.polynomial.hermite.hermgauss(nodes)
        self.points = np.sqrt(2) * points
        self.log_weights = np.log(weights) + points**2 - 0.5 * np.log(np.pi)
        rows, clusters, p = layout.design.shape
        # One more row carries sigma, one more column belongs to it.
        wide = np.zeros((rows + 1, clusters, p + 1))
        wide[:rows, :, :p] = layout.design
        wide[rows, :, p] = 1.0
        self.wide = wide

    def slopes(self, beta: Array, sigma: Array, y: Array, m: Array, mode: Array) -> Slopes:
        """Give value and derivatives at beta (trials, p) and sigma (trials,)."""
        base = np.einsum("rgp,tp->rgt", self.layout.design, beta)
        mode, height = _modes(base, sigma, y, m, mode)
        scale = 1 / np.sqrt(height)
        u = mode + scale * self.points[:, None, None]
        eta = base + (sigma * u)[:, None]
        tail = np.exp(-np.abs(eta))
        logs = y * eta - m * (np.maximum(eta, 0) + np.log1p(tail))
        share = np.where(eta >= 0, 1.0, tail) / (1 + tail)
        terms = logs.sum(axis=1) + self.log_weights[:, None, None] - 0.5 * u**2
        top = terms.max(axis=0)
        chance = np.exp(terms - top)
        total = chance.sum(axis=0)
        value = (top + np.log(total * scale)).sum(axis=0)
        return self._moments(value, chance / total, u, y - m * share, m * share * (1 - share), mode)

    def _moments(
        self, value: Array, chance: Array, u: Array, off: Array, weight: Array, mode: Array
    ) -> Slopes:
        """Turn scores at the nodes into score and information of the margin."""
        design, wide, p = self.layout.design, self.wide, self.layout.design.shape[2]
        parts = np.concatenate([off, (u * off.sum(axis=1))[:, None]], axis=1)
        mean = (chance[:, None] * parts).sum(axis=0)
        score = np.einsum("rgp,rgt->tp", wide, mean)
        away = parts - mean
        weighted = chance[:, None] * away
        spread = np.einsum("qrgt,qsgt->rsgt", weighted, away)
        missing = np.einsum("rga,sgb,rsgt->tab", wide, wide, spread, optimize=True)
        held = (chance[:, None] * weight).sum(axis=0)
        mixed = ((chance * u)[:, None] * weight).sum(axis=0)
        own = (chance * u**2 * weight.sum(axis=1)).sum(axis=(0, 1))
        complete = np.empty((len(own), p + 1, p + 1))
        complete[:, :p, :p] = np.einsum("rga,rgb,rgt->tab", design, design, held, optimize=True)
        complete[:, :p, p] = np.einsum("rga,rgt->ta", design, mixed)
        complete[:, p, :p] = complete[:, :p, p]
        complete[:, p, p] = own
        return Slopes(
            value=value, score=score, observed=complete - missing, complete=complete, mode=mode
        )


def _modes(base: Array, sigma: Array, y: Array, m: Array, mode: Array) -> tuple[Array, Array]:
    """Give the mode and the curvature of each cluster's integrand, by guarded Newton steps."""
    for _ in range(_MODE_STEPS):
        eta = base + sigma * mode
        tail = np.exp(-np.abs(eta))
        share = np.where(eta >= 0, 1.0, tail) / (1 + tail)
        slope = sigma * (y - m * share).sum(axis=0) - mode
        height = 1 + sigma**2 * (m * share * (1 - share)).sum(axis=0)
        step = np.clip(slope / height, -1.5, 1.5)
        mode = mode + step
        # The nodes only need to lie about the mode; their weights make up for the rest.
        if np.abs(step).max() < 1e-6:
            break
    return mode, height
