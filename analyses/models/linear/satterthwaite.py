"""Degrees of freedom by Satterthwaite's approximation.

Giesbrecht & Burns (1985), Biometrics 41, 477-486, for one contrast; Fai & Cornelius (1996),
Journal of Statistical Computation and Simulation 54, 363-378, for several at once. Variances at
zero are left out of the information.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array, FitError, Flags

__all__ = ["Satterthwaite", "satterthwaite", "single_df", "swept"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Satterthwaite:
    """What Satterthwaite's approximation needs.

    Attributes
    ----------
    phi : array, shape (p, p)
        Covariance of the fixed effects.
    slopes : array, shape (k, p, p)
        Derivative of `phi` by each variance above zero.
    w : array, shape (k, k)
        Covariance of those variances: inverse of their observed information.
    """

    phi: Array
    slopes: Array
    w: Array

    def df(self, rows: Array) -> Array:
        """Give the degrees of freedom of single contrasts, rows of shape (m, p)."""
        return single_df(rows, self.phi, self.slopes, self.w)

    def joint(self, rows: Array, estimate: Array) -> tuple[float, float]:
        """Give F and its denominator df for several independent rows.

        Parameters
        ----------
        rows : array, shape (q, p)
            Weights of the fixed effects, linearly independent.
        estimate : array, shape (q,)
            The contrasts.
        """
        values, vectors = np.linalg.eigh(rows @ self.phi @ rows.T)
        squares = (vectors.T @ estimate) ** 2 / values
        each = self.df(vectors.T @ rows)
        return float(squares.mean()), _pool(each)


def single_df(rows: Array, phi: Array, slopes: Array, w: Array) -> Array:
    """Give the degrees of freedom of single contrasts: twice the squared variance over its own.

    Parameters
    ----------
    rows : array, shape (..., m, p)
        Weights of the fixed effects; leading axes, one entry a trial, are all arrays'.
    phi : array, shape (..., p, p)
        Covariance of the fixed effects.
    slopes : array, shape (..., k, p, p)
        Derivative of `phi` by each variance.
    w : array, shape (..., k, k)
        Covariance of the variances.
    """
    variance = ((rows @ phi) * rows).sum(-1)
    by_each = np.einsum("...mp,...kpq,...mq->...mk", rows, slopes, rows)
    spread = ((by_each @ w) * by_each).sum(-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(2 * variance**2 / spread)


def satterthwaite(phi: Array, b: Array, observed: Array, at_zero: Flags) -> Satterthwaite:
    """Prepare the approximation.

    Parameters
    ----------
    phi : array, shape (p, p)
        Covariance of the fixed effects.
    b : array, shape (k, p, p)
        X' inv(V) V_k inv(V) X.
    observed : array, shape (k, k)
        Observed information of the variances.
    at_zero : array of bool, shape (k,)
        Which variances were estimated at zero.
    """
    free = np.flatnonzero(~at_zero)
    try:
        w = np.linalg.inv(observed[np.ix_(free, free)])
    except np.linalg.LinAlgError:
        message = (
            "the criterion is flat in some variance, so Satterthwaite's df cannot be had here: "
            "ask for 'kenward-roger'"
        )
        raise FitError(message) from None
    return Satterthwaite(phi=phi, slopes=phi @ b[free] @ phi, w=(w + w.T) / 2)


def swept(rows: Array) -> Array:
    """Free each contrast of a term from those after it, by their least-squares information.

    The pooled df depend, a little, on which contrasts span the term. In a model without
    crossings reference software takes these (the forward sweep of X'X; Goodnight 1979, The
    American Statistician 33, 149-158), elsewhere plain differences from the first level.

    Parameters
    ----------
    rows : array, shape (q, p)
        Independent contrasts in orthonormal columns of the fixed part.
    """
    lower = np.linalg.cholesky(np.linalg.inv(rows @ rows.T))
    return np.asarray((lower / np.diag(lower)).T @ rows)


def _pool(each: Array) -> float:
    """Pool the df of independent contrasts into those of their F (Fai & Cornelius, eq. 3)."""
    if np.ptp(each) < 1e-8 * each[0]:
        return float(each.mean())
    if (each <= 2).any():
        return 2.0
    expected = float((each / (each - 2)).sum())
    return 2 * expected / (expected - len(each))
