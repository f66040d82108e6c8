"""The shapes that a time may have: Weibull, log-normal and log-logistic on the log scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtri

__all__ = ["SHAPES", "Shape", "TimeShape"]

Array: TypeAlias = npt.NDArray[np.float64]
Shape: TypeAlias = Literal["weibull", "lognormal", "loglogistic"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeShape:
    """The distribution of the error of log time, as functions of the standardised log time.

    Attributes
    ----------
    log_survival, log_density : callable
        Logarithms of the chance of a longer time and of the density.
    slope, bend : callable
        First two derivatives of the log density.
    quantile : callable
        The standardised log time by which a share has passed.
    """

    log_survival: Callable[[Array], Array]
    log_density: Callable[[Array], Array]
    slope: Callable[[Array], Array]
    bend: Callable[[Array], Array]
    quantile: Callable[[float], float]


def _bounded_exp(z: Array) -> Array:
    return np.asarray(np.exp(np.minimum(z, 700.0)))


def _log_logistic_tail(z: Array) -> Array:
    return np.asarray(-np.logaddexp(0, z))


SHAPES: dict[Shape, TimeShape] = {
    "weibull": TimeShape(
        log_survival=lambda z: -_bounded_exp(z),
        log_density=lambda z: z - _bounded_exp(z),
        slope=lambda z: 1 - _bounded_exp(z),
        bend=lambda z: -_bounded_exp(z),
        quantile=lambda p: float(np.log(-np.log1p(-p))),
    ),
    "lognormal": TimeShape(
        log_survival=lambda z: np.asarray(log_ndtr(-z)),
        log_density=lambda z: -0.5 * z**2 - 0.5 * np.log(2 * np.pi),
        slope=lambda z: -z,
        bend=lambda z: -np.ones_like(z),
        quantile=lambda p: float(ndtri(p)),
    ),
    "loglogistic": TimeShape(
        log_survival=_log_logistic_tail,
        log_density=lambda z: z + 2 * _log_logistic_tail(z),
        slope=lambda z: 1 - 2 * np.exp(-np.logaddexp(0, -z)),
        bend=lambda z: -2 * np.exp(z + 2 * _log_logistic_tail(z)),
        quantile=lambda p: float(np.log(p / (1 - p))),
    ),
}
