"""Inference on fixed effects by Kenward & Roger (1997), Biometrics 53, 983-997.

The covariance of the fixed effects is widened for the uncertainty of the variances, and an F
statistic is scaled and given denominator degrees of freedom by matching two moments. Variances
at zero keep their place in the information.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array
from analyses.models.linear.satterthwaite import single_df

__all__ = ["KenwardRoger", "kenward_roger"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KenwardRoger:
    """What Kenward-Roger inference needs.

    Attributes
    ----------
    phi : array, shape (p, p)
        Covariance of the fixed effects, unadjusted.
    adjusted : array, shape (p, p)
        Covariance adjusted for small samples.
    slopes : array, shape (k, p, p)
        Derivative of `phi` by each variance.
    w : array, shape (k, k)
        Covariance of the variances: inverse of their expected information.
    """

    phi: Array
    adjusted: Array
    slopes: Array
    w: Array

    def df(self, rows: Array) -> Array:
        """Give the degrees of freedom of single contrasts.

        For one contrast the scaled F of the paper is 0/0 at 2 df; its limit, which holds
        everywhere, is 2 / A_2, the same as by Satterthwaite.

        Parameters
        ----------
        rows : array, shape (m, p)
            Weights of the fixed effects.
        """
        return single_df(rows, self.phi, self.slopes, self.w)

    def joint(self, rows: Array, estimate: Array) -> tuple[float, float]:
        """Give the scaled F and its denominator df for several independent rows (section 3).

        Parameters
        ----------
        rows : array, shape (q, p)
            Weights of the fixed effects, linearly independent.
        estimate : array, shape (q,)
            The contrasts.
        """
        q = len(rows)
        f = float(estimate @ np.linalg.solve(rows @ self.adjusted @ rows.T, estimate)) / q
        if q == 1:
            return f, float(self.df(rows)[0])
        inverse = np.linalg.inv(rows @ self.phi @ rows.T)
        # M Phi P_k Phi of the paper, seen from the q contrasts
        m = -inverse @ (rows @ self.slopes @ rows.T)
        traces = m.trace(0, 1, 2)
        a1 = float(traces @ self.w @ traces)
        a2 = float((self.w * np.einsum("kab,lba->kl", m, m)).sum())
        den, scale = _match_moments(q, a1, a2)
        return f * scale, den


def kenward_roger(phi: Array, b: Array, c: Array, expected: Array) -> KenwardRoger:
    """Adjust the covariance of the fixed effects (equation 7 of the paper, linear variances).

    Parameters
    ----------
    phi : array, shape (..., p, p)
        Covariance of the fixed effects; leading axes, one entry a trial, are all arrays'.
    b : array, shape (..., k, p, p)
        X' inv(V) V_k inv(V) X, which is -P_k.
    c : array, shape (..., k, k, p, p)
        X' inv(V) V_k inv(V) V_l inv(V) X, which is Q_kl.
    expected : array, shape (..., k, k)
        Expected information of the variances.
    """
    try:
        w = np.linalg.inv(expected)
    except np.linalg.LinAlgError:
        w = np.linalg.pinv(expected)
    phi_b = phi[..., None, :, :] @ b
    k, p = phi_b.shape[-3:-1]
    flat = (*phi.shape[:-2], k, p * p)
    weighted = (w @ phi_b.reshape(flat)).reshape(phi_b.shape)  # sum over l of w_kl Phi B_l
    all_c = c.reshape(*flat[:-2], k * k, p * p)
    middle = (w.reshape(*flat[:-2], 1, k * k) @ all_c).reshape(phi.shape)
    middle = middle - (b @ weighted).sum(-3)
    adjusted = phi + 2 * phi @ middle @ phi
    return KenwardRoger(
        phi=phi,
        adjusted=(adjusted + adjusted.swapaxes(-1, -2)) / 2,
        slopes=phi_b @ phi[..., None, :, :],
        w=(w + w.swapaxes(-1, -2)) / 2,
    )


def _match_moments(q: int, a1: float, a2: float) -> tuple[float, float]:
    """Give denominator df and scale of an F for q contrasts (section 3 of the paper)."""
    b = (a1 + 6 * a2) / (2 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    d = 3 * q + 2 * (1 - g)
    v0, v1, v2 = 1 + g / d * b, 1 - (q - g) / d * b, 1 - (q + 2 - g) / d * b
    v0 = 0.0 if abs(v0) < 1e-10 else v0
    shrink = 1 - a2 / q
    if not v2 or (not v1 and abs(shrink) >= 1e-10):
        return math.nan, 1.0  # no F has these moments: its p is not worked out
    ratio = 1.0 if abs(shrink) < 1e-10 and abs(v1) < 1e-10 else shrink / v1
    rho = ratio * ratio * v0 / v2 / q
    if q * rho == 1:
        return math.inf, 1.0
    den = 4 + (q + 2) / (q * rho - 1)
    # at 2 df the mean of F does not exist and there is nothing to match: leave F unscaled
    scale = 1.0 if abs(den - 2) < 1e-2 else den * shrink / (den - 2)
    return den, scale
