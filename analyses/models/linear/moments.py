"""What a covariance structure must tell about itself at given variances."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analyses.models.linear.arrays import Array

__all__ = ["Moments", "Structure", "with_residual"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Products with the inverse of V, the covariance matrix of the responses.

    V is the sum over k of theta[k] V_k; D = [X y] with c columns. Arrays may have leading axes,
    one entry a trial or a set of variances.

    Attributes
    ----------
    log_det : float or array
        Logarithm of the determinant of V.
    traces : array, shape (k,)
        Traces of inv(V) V_k.
    a : array, shape (c, c)
        D' inv(V) D.
    b : array, shape (k, c, c)
        D' inv(V) V_k inv(V) D.
    c : array, shape (k, k, c, c)
        D' inv(V) V_k inv(V) V_l inv(V) D.
    t : array, shape (k, k)
        Traces of inv(V) V_k inv(V) V_l.
    """

    log_det: float | Array
    traces: Array
    a: Array
    b: Array
    c: Array
    t: Array


class Structure(Protocol):
    """A covariance structure with its data summed up once."""

    @property
    def rows(self) -> int | Array:
        """Number of observations."""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the variance components, residual ones last."""

    @property
    def residuals(self) -> int:
        """How many of the components are residual variances."""

    def moments(self, theta: Array) -> Moments:
        """Give the products at the variances theta."""


def with_residual(
    theta: Array, rows: int, log_det: float, random: tuple[Array, Array, Array, Array, Array]
) -> Moments:
    """Complete the products of the random terms by those of the one residual variance.

    From theta_1 V_1 + ... + theta_e V_e = V, every product with V_e follows from the others.

    Parameters
    ----------
    theta : array, shape (k + 1,)
        Variances, the residual one last.
    rows : int
        Number of observations.
    log_det : float or array
        Logarithm of the determinant of V.
    random : tuple of traces, a, b, c and t
        As in `Moments`, for the k random terms only.
    """
    traces, a, b, c, t = random
    k, width = len(traces), a.shape[0]
    others, residual = theta[:-1], theta[-1]
    all_b = np.empty((k + 1, width, width))
    all_b[:k] = b
    all_b[k] = (a - _weighted(others, b)) / residual
    all_c = np.empty((k + 1, k + 1, width, width))
    all_c[:k, :k] = c
    all_c[k, :k] = (b - _weighted(others, c)) / residual
    all_c[:k, k] = all_c[k, :k].transpose(0, 2, 1)
    all_c[k, k] = (all_b[k] - _weighted(others, all_c[:k, k])) / residual
    all_traces = np.empty(k + 1)
    all_traces[:k] = traces
    all_traces[k] = (rows - others @ traces) / residual
    all_t = np.empty((k + 1, k + 1))
    all_t[:k, :k] = t
    all_t[k, :k] = all_t[:k, k] = (traces - others @ t) / residual
    all_t[k, k] = (all_traces[k] - others @ all_t[:k, k]) / residual
    return Moments(log_det=log_det, traces=all_traces, a=a, b=all_b, c=all_c, t=all_t)


def _weighted(weights: Array, stack: Array) -> Array:
    """Sum a stack of arrays with weights; a matrix product, since tensordot is slow to start."""
    inner = stack.shape[1:]
    return np.asarray(weights @ stack.reshape(len(stack), math.prod(inner))).reshape(inner)
