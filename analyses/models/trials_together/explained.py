"""Whether something recorded of each trial goes with its effect: meta-regression."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import fdtrc

__all__ = ["Regression", "regress_on"]

Array: TypeAlias = npt.NDArray[np.float64]

_GRID = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Regression:
    """A weighted regression of the effects of trials on what is known of the trials.

    Attributes
    ----------
    coefficients, errors : ndarray, shape (columns,)
        The first is the constant; errors by Knapp and Hartung.
    tau2 : float
        Variance between trials that the columns leave.
    f, num_df, den_df, p : float
        Test of all columns but the constant.
    """

    coefficients: Array
    errors: Array
    tau2: float
    f: float
    num_df: float
    den_df: float
    p: float


def regress_on(
    estimates: npt.ArrayLike, variances: npt.ArrayLike, columns: npt.ArrayLike
) -> Regression:
    """Regress the effects of trials on columns that describe the trials.

    Parameters
    ----------
    estimates, variances : array_like, shape (trials,)
        Each trial's estimate and its squared standard error.
    columns : array_like, shape (trials, m)
        Without the constant; together with it of full rank.

    Raises
    ------
    ValueError
        When the columns leave no trial over, or repeat one another.

    Notes
    -----
    Variance by restricted maximum likelihood, tests by Knapp & Hartung (2003), Statist. Med. 22,
    2693-2710.
    """
    y, v = np.asarray(estimates, float), np.asarray(variances, float)
    x = np.column_stack([np.ones(len(y)), np.asarray(columns, float)])
    k, p = x.shape
    if k <= p:
        raise ValueError(f"{k} trials cannot be regressed on {p - 1} columns")
    if np.linalg.matrix_rank(x) < p:
        raise ValueError("the columns repeat one another or do not vary")
    tau2 = _between(y, v, x)
    weight = 1 / (v + tau2)
    covariance = np.linalg.inv((x * weight[:, None]).T @ x)
    beta = covariance @ (x.T @ (weight * y))
    left = y - x @ beta
    some = beta[1:]
    # Trials that all fit exactly leave no scale: then nothing shows, unless something does.
    scale = float((weight * left**2).sum() / (k - p))
    f = float(some @ np.linalg.solve(covariance[1:, 1:], some)) / len(some)
    f = f / scale if scale > 0 else (0.0 if f < 1e-20 else np.inf)
    covariance = covariance * scale
    return Regression(
        coefficients=beta,
        errors=np.sqrt(np.diag(covariance)),
        tau2=tau2,
        f=f,
        num_df=float(p - 1),
        den_df=float(k - p),
        p=float(fdtrc(p - 1, k - p, f)),
    )


def _between(y: Array, v: Array, x: Array) -> float:
    """Give the restricted likelihood's variance between trials, 0 where it falls from there."""

    def at(tau2: float) -> tuple[float, float]:
        weight = 1 / (v + tau2)
        inner = (x * weight[:, None]).T @ x
        lean = np.linalg.solve(inner, (x * weight[:, None]).T)
        py = weight * (y - x @ (lean @ y))
        sign_and_log = np.linalg.slogdet(inner)
        loglik = 0.5 * (np.log(weight).sum() - sign_and_log[1] - y @ py)
        trace = weight.sum() - ((lean.T * x) * weight[:, None]).sum()
        return float(loglik), float(py @ py - trace)

    top = float(((y - y.mean()) ** 2).sum() + v.max())
    steps = np.concatenate([[0.0], np.geomspace(1e-7, 1.0, _GRID)]) * top
    best = int(np.argmax([at(step)[0] for step in steps]))
    if best == 0 and at(0.0)[1] <= 0:
        return 0.0
    low, high = steps[max(best - 1, 0)], steps[min(best + 1, _GRID)]
    if at(low)[1] <= 0 or at(high)[1] >= 0:
        return float(steps[best])
    return float(brentq(lambda tau2: at(tau2)[1], low, high, xtol=1e-14 * top, rtol=1e-13))
