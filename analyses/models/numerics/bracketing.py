"""Find roots of many one-variable functions at once, each inside its own bracket."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["find_root"]

Array: TypeAlias = npt.NDArray[np.float64]

_MOST_STEPS = 200


def find_root(function: Callable[[Array], Array], low: npt.ArrayLike, high: npt.ArrayLike) -> Array:
    """Give, element by element, the place between `low` and `high` where a function is zero.

    Parameters
    ----------
    function : callable
        Takes an array of the common shape of `low` and `high` and gives the values there, each
        element on its own.
    low, high : array_like
        Ends of the brackets. Where both ends have the same sign, the end nearer to zero is given:
        an interval that runs to the edge of what is possible then ends at that edge.

    Returns
    -------
    ndarray
        The roots, to within four units in the last place of the argument.

    Notes
    -----
    Chandrupatla (1997), Advances in Engineering Software 28, 145-149: inverse quadratic
    interpolation where it is safe, bisection elsewhere.
    """
    a, b = np.broadcast_arrays(np.asarray(high, float), np.asarray(low, float))
    a, b = np.array(a), np.array(b)
    fa, fb = function(a), function(b)
    bracketed = np.sign(fa) * np.sign(fb) < 0
    edge = np.where(np.abs(fa) <= np.abs(fb), a, b)
    if not bracketed.any():
        return edge
    return np.where(bracketed, _inside(function, a, b, fa, fb), edge)


def _inside(function: Callable[[Array], Array], a: Array, b: Array, fa: Array, fb: Array) -> Array:
    t = np.full_like(a, 0.5)
    for _ in range(_MOST_STEPS):
        x = a + t * (b - a)
        fx = function(x)
        same = np.sign(fx) == np.sign(fa)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, fx
        nearest = np.where(np.abs(fa) < np.abs(fb), a, b)
        slack = 4 * np.finfo(float).eps * np.abs(nearest) + 1e-300
        width = np.abs(b - a)
        done = (width <= 2 * slack) | (fa == 0) | (fb == 0) | (np.sign(fa) == np.sign(fb))
        if done.all():
            break
        with np.errstate(all="ignore"):
            least = slack / width
            t = _next_place(a, b, c, fa, fb, fc)
        t = np.where(done, 0.0, np.clip(t, least, 1 - least))
        t = np.where(np.isfinite(t), t, 0.0)
    return np.where(np.abs(fa) < np.abs(fb), a, b)


def _next_place(a: Array, b: Array, c: Array, fa: Array, fb: Array, fc: Array) -> Array:
    """Give the share of the way from a to b at which to look next (0.5 is bisection)."""
    xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
    safe = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
    inverse = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    return np.where(safe & np.isfinite(inverse), inverse, 0.5)
