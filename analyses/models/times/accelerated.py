"""Accelerated failure times: how many times longer a group takes, looks between days allowed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.models.times.time_shapes import SHAPES, Shape
from analyses.models.times.turnbull import check_looks

__all__ = ["AcceleratedFit", "fit_accelerated"]

Array: TypeAlias = npt.NDArray[np.float64]

_MOST_STEPS = 200
_MOST_HALVINGS = 40
_FLAT = 1e-9  # share of the largest curvature below which a direction has no summit


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceleratedFit:
    """An accelerated failure time fit.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Of log time, in log days.
    covariance : ndarray, shape (p + 1, p + 1)
        From the observed information; the last row belongs to log scale.
    scale : float
        Standard unit of the error of log time (one over the Weibull's shape).
    loglik : float
        Log likelihood; exact days by their density in days.
    shape : {"weibull", "lognormal", "loglogistic"}
        The distribution.
    units, seen : float
        Units, and those whose event was seen.
    converged : bool
        Whether a maximum was found; if not, numbers are nan.
    """

    coefficients: Array
    covariance: Array
    scale: float
    loglik: float
    shape: Shape
    units: float
    seen: float
    converged: bool


class _Curve:
    """Log likelihood and derivatives by beta and log scale."""

    def __init__(self, X: Array, low: Array, high: Array, weight: Array, shape: Shape) -> None:
        self.X, self.weight, self.error = X, weight, SHAPES[shape]
        self.exact = low == high
        self.open_left, self.open_right = low == 0, np.isinf(high)
        # Open ends get a harmless day; their terms are switched off below.
        self.log_low = np.log(np.where(self.open_left, 1.0, low))
        self.log_high = np.log(np.where(self.open_right, 1.0, high))

    def _standardised(self, at: Array) -> tuple[Array, Array]:
        eta, scale = self.X @ at[:-1], np.exp(at[-1])
        return (self.log_low - eta) / scale, (self.log_high - eta) / scale

    def _log_chance(self, a: Array, b: Array) -> Array:
        """Give the log chance that the error lies between a and b."""
        top = np.where(self.open_left, 0.0, self.error.log_survival(a))
        bottom = np.where(self.open_right, -np.inf, self.error.log_survival(b))
        with np.errstate(divide="ignore", invalid="ignore"):
            gap = np.where(self.exact, 0.0, np.log(-np.expm1(bottom - top)))
        return np.asarray(top + gap)

    def value(self, at: Array) -> float:
        """Give the log likelihood at (beta, log scale)."""
        a, b = self._standardised(at)
        density = self.error.log_density(a) - at[-1] - self.log_low
        each = np.where(self.exact, density, self._log_chance(a, b))
        total = float((self.weight * each).sum())
        return total if np.isfinite(total) else -np.inf

    def slopes(self, at: Array) -> tuple[Array, Array]:
        """Give score and negative Hessian at (beta, log scale)."""
        a, b = self._standardised(at)
        by_eta, by_scale, ee, es, ss = self._exact(a) if self.exact.all() else self._looked(a, b)
        if self.exact.any() and not self.exact.all():
            known = self._exact(a)
            pairs = zip((by_eta, by_scale, ee, es, ss), known, strict=True)
            by_eta, by_scale, ee, es, ss = (np.where(self.exact, k, one) for one, k in pairs)
        scale, w = np.exp(at[-1]), self.weight
        p = self.X.shape[1]
        score = np.append(self.X.T @ (w * by_eta) / scale, (w * by_scale).sum())
        hessian = np.empty((p + 1, p + 1))
        hessian[:p, :p] = self.X.T @ ((w * ee)[:, None] * self.X) / scale**2
        hessian[:p, p] = hessian[p, :p] = self.X.T @ (w * es) / scale
        hessian[p, p] = (w * ss).sum()
        return score, -hessian

    def _exact(self, z: Array) -> tuple[Array, ...]:
        """Give derivatives of the log density, by eta in units of the scale and by log scale."""
        d1, d2 = self.error.slope(z), self.error.bend(z)
        return -d1, -z * d1 - 1, d2, d1 + z * d2, z * d1 + z**2 * d2

    def _looked(self, a: Array, b: Array) -> tuple[Array, ...]:
        """Give derivatives of the log chance between two looks."""
        chance = self._log_chance(a, b)
        with np.errstate(over="ignore", invalid="ignore"):
            fa = np.where(self.open_left, 0.0, np.exp(self.error.log_density(a) - chance))
            fb = np.where(self.open_right, 0.0, np.exp(self.error.log_density(b) - chance))
        da, db = fa * self.error.slope(a), fb * self.error.slope(b)
        by_eta, by_scale = fa - fb, a * fa - b * fb
        ee = db - da - by_eta**2
        es = b * db - a * da + fb - fa - by_eta * by_scale
        ss = b**2 * db - a**2 * da - by_scale - by_scale**2
        return by_eta, by_scale, ee, es, ss


def _start(X: Array, low: Array, high: Array, weight: Array) -> Array:
    """Give least squares of the log of a day inside each interval, and its spread."""
    day = np.where(np.isinf(high), low * 1.2, np.where(low == 0, high * 0.7, (low + high) / 2))
    log_day = np.log(np.maximum(day, 1e-6))
    root = np.sqrt(weight)
    beta, *_ = np.linalg.lstsq(X * root[:, None], log_day * root, rcond=None)
    spread = np.sqrt((weight * (log_day - X @ beta) ** 2).sum() / weight.sum())
    return np.append(beta, np.log(max(float(spread), 0.05)))


def _climb(curve: _Curve, start: Array) -> tuple[Array, float, bool]:
    at, value = start, curve.value(start)
    for _ in range(_MOST_STEPS):
        score, matrix = curve.slopes(at)
        if not np.isfinite(matrix).all():
            return at, value, False
        values, vectors = np.linalg.eigh(matrix)
        bend = np.maximum(np.abs(values), _FLAT * np.abs(values).max() + 1e-300)
        step = vectors @ ((vectors.T @ score) / bend)
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        if np.abs(step).max() < 1e-10 * (1 + np.abs(at).max()):
            # In a group of which none was seen to get there, later is always more likely.
            summit = values.min() > _FLAT * values.max()
            return at, value, bool(summit and abs(at[-1]) < 20)
        for _ in range(_MOST_HALVINGS):
            new = curve.value(at + step)
            if new >= value - 1e-12 * abs(value):
                break
            step = step / 2
        at, value = at + step, new
    return at, value, False


def fit_accelerated(
    design: npt.ArrayLike,
    left: npt.ArrayLike,
    right: npt.ArrayLike,
    *,
    shape: Shape = "weibull",
    weight: npt.ArrayLike | None = None,
) -> AcceleratedFit:
    """Fit a model of log time to days known exactly, between looks, or only from one side.

    Parameters
    ----------
    design : array_like, shape (n, p)
        Full rank, with a column of ones.
    left : array_like, shape (n,)
        Day of the last look without the event; 0 when there was none.
    right : array_like, shape (n,)
        Day of the first look with the event; infinite when never seen; equal to `left` when exact.
    shape : {"weibull", "lognormal", "loglogistic"}
        Distribution of the time.
    weight : array_like, shape (n,), optional
        Units behind each row.

    Notes
    -----
    Kalbfleisch & Prentice (2002), The Statistical Analysis of Failure Time Data, chapter 3;
    interval censoring as in Odell, Anderson & D'Agostino (1992), Biometrics 48, 951-959. There is
    no accelerated model for interval-censored days in statsmodels.
    """
    low, high = check_looks(left, right)
    X = np.atleast_2d(np.asarray(design, float))
    w = np.ones(len(low)) if weight is None else np.asarray(weight, float)
    if X.shape[0] != len(low) or w.shape != low.shape:
        raise ValueError(f"{X.shape[0]} rows in the design but {len(low)} looks")
    if np.linalg.matrix_rank(X) < X.shape[1]:
        raise ValueError("the columns of the design depend on each other")
    if (high == 0).any():
        raise ValueError("a time of zero has no logarithm; count days from 1")
    # A unit never seen with the event and never seen without it says nothing.
    used = (w > 0) & ~((low == 0) & np.isinf(high))
    curve = _Curve(X[used], low[used], high[used], w[used], shape)
    at, value, converged = _climb(curve, _start(X[used], low[used], high[used], w[used]))
    size = X.shape[1] + 1
    matrix = np.linalg.inv(curve.slopes(at)[1]) if converged else np.full((size, size), np.nan)
    nan = float("nan")
    return AcceleratedFit(
        coefficients=at[:-1] if converged else np.full(size - 1, nan),
        covariance=np.asarray(matrix, float),
        scale=float(np.exp(at[-1])) if converged else nan,
        loglik=value if converged else nan,
        shape=shape,
        units=float(w[used].sum()),
        seen=float(w[used][np.isfinite(high[used])].sum()),
        converged=converged,
    )
