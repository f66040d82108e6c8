"""Tails and quantiles of t and F with fractional and infinite degrees of freedom."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, fdtrc, ndtr, ndtri, stdtr, stdtrit

from analyses.models.linear.arrays import Array

__all__ = ["f_tail", "t_quantile", "t_two_sided"]


def t_two_sided(t: npt.ArrayLike, df: npt.ArrayLike) -> Array:
    """Give the chance of a larger |t|; infinite df mean the normal distribution."""
    below, many = -np.abs(np.asarray(t, float)), np.asarray(df, float)
    finite = np.where(np.isinf(many), 1.0, many)
    return np.asarray(2 * np.where(np.isinf(many), ndtr(below), stdtr(finite, below)))


def t_quantile(p: npt.ArrayLike, df: npt.ArrayLike) -> Array:
    """Give the value that t falls below with chance p."""
    chance, many = np.asarray(p, float), np.asarray(df, float)
    finite = np.where(np.isinf(many), 1.0, many)
    return np.asarray(np.where(np.isinf(many), ndtri(chance), stdtrit(finite, chance)))


def f_tail(f: npt.ArrayLike, num: npt.ArrayLike, den: npt.ArrayLike) -> Array:
    """Give the chance of a larger F; infinite denominator df mean chi-squared over its df."""
    f, num, den = np.asarray(f, float), np.asarray(num, float), np.asarray(den, float)
    finite = np.where(np.isinf(den), 1.0, den)
    return np.asarray(np.where(np.isinf(den), chdtrc(num, f * num), fdtrc(num, finite, f)))
