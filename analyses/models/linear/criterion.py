"""The restricted likelihood and its derivatives, at one set of variances or at many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array
from analyses.models.linear.moments import Moments, Structure

__all__ = ["Point", "evaluate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The criterion and its derivatives at one set of variances, or at each of many.

    Leading axes are those of the variances, which are always scaled so that the generalised
    residual sum of squares equals its degrees of freedom: the best common scale.

    Attributes
    ----------
    theta : array, shape (k,)
        Variances.
    criterion : float or array
        -2 log restricted likelihood, without its constant.
    beta : array, shape (p,)
        Fixed effects of the orthonormal columns.
    phi : array, shape (p, p)
        Their covariance.
    gradient : array, shape (k,)
        Of half the criterion.
    average, expected : array, shape (k, k)
        Average and expected information; the observed one is 2 average - expected.
    moments : Moments
        Before the scaling, at theta / scale.
    scale : float or array
        The common factor.
    """

    theta: Array
    criterion: Array
    beta: Array
    phi: Array
    gradient: Array
    average: Array
    expected: Array
    moments: Moments
    scale: Array

    @property
    def observed(self) -> Array:
        """Observed information."""
        return 2 * self.average - self.expected


def evaluate(structure: Structure, theta: Array) -> Point:
    """Work out criterion and derivatives (Patterson & Thompson 1971, Biometrika 58, 545-554).

    Parameters
    ----------
    structure : Structure
    theta : array, shape (..., k)
        Leading axes where the structure allows them.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the covariance is singular to rounding, at any of them.
    """
    moments = structure.moments(theta)
    a, k = moments.a, theta.shape[-1]
    p, lead = a.shape[-1] - 1, a.shape[:-2]
    lower = np.linalg.cholesky(a[..., :p, :p])
    phi = np.linalg.inv(a[..., :p, :p])
    beta = (phi @ a[..., :p, p:])[..., 0]
    square = a[..., p, p] - (a[..., :p, p] * beta).sum(-1)
    if not (square > 0).all():
        raise np.linalg.LinAlgError
    free = structure.rows - p
    scale = square / free
    left = np.ones((*lead, p + 1))
    left[..., :p] = -beta
    b_left = (moments.b @ left[..., None, :, None])[..., 0]
    quadratic = (b_left @ left[..., None])[..., 0]
    phi_b = phi[..., None, :, :] @ moments.b[..., :p, :p]
    c_left = (moments.c @ left[..., None, None, :, None])[..., 0] @ left[..., None, :, None]
    taken = b_left[..., :p] @ phi @ b_left[..., :p].swapaxes(-1, -2)
    average = 0.5 * (c_left[..., 0] - taken)
    traces = moments.traces - phi_b.trace(0, -2, -1)
    flat = phi_b.reshape(*lead, k, p * p)
    crossed = flat @ phi_b.swapaxes(-1, -2).reshape(flat.shape).swapaxes(-1, -2)
    c_flat = moments.c[..., :p, :p].reshape(*lead, k * k, p * p)
    c_phi = (c_flat @ phi.reshape(*lead, p * p, 1)).reshape(*lead, k, k)
    expected = 0.5 * (moments.t - 2 * c_phi + crossed)
    size = np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(-1)
    each, both = scale[..., None], scale[..., None, None]
    return Point(
        theta=theta * each,
        criterion=moments.log_det + 2 * size + free * (np.log(scale) + 1),
        beta=beta,
        phi=phi * both,
        gradient=0.5 * (traces - quadratic / each) / each,
        average=average / both**3,
        expected=expected / both**2,
        moments=moments,
        scale=scale,
    )
