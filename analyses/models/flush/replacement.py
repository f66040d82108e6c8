"""When to replace: the cycle with the best long-run average, and where the choice turns."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["best_cycle", "geometric_total", "long_run", "turning_price"]

Array: TypeAlias = npt.NDArray[np.float64]


def long_run(reward: npt.ArrayLike, length: npt.ArrayLike) -> Array:
    """Give the long-run average of repeating a cycle, for each place to end it.

    Parameters
    ----------
    reward, length : array_like, shape (..., ends)
        Expected reward, costs taken off, and expected length of a cycle that ends there.

    Returns
    -------
    ndarray, shape (..., ends)
        The renewal-reward theorem: expected reward over expected length (Ross 1996, Stochastic
        Processes, 2nd ed., theorem 3.6.1).

    Raises
    ------
    ValueError
        If a length is not above zero.

    Examples
    --------
    >>> long_run([3.0, 5.0], [30, 40]).tolist()
    [0.1, 0.125]
    """
    days = np.asarray(length, float)
    if not (days > 0).all():
        raise ValueError("the length of a cycle must be more than zero")
    return np.asarray(np.asarray(reward, float) / days)


def best_cycle(reward: npt.ArrayLike, length: npt.ArrayLike) -> npt.NDArray[np.intp]:
    """Give the place to end a cycle that has the best long-run average, the earliest if tied.

    Parameters
    ----------
    reward, length : array_like, shape (..., ends)
        As for `long_run`.

    Examples
    --------
    >>> int(best_cycle([3.0, 5.0, 5.5], [30, 40, 50]))
    1
    """
    return np.asarray(np.argmax(long_run(reward, length), axis=-1))


def turning_price(
    amount: tuple[float, float], length: tuple[float, float], cost: float
) -> float | None:
    """Give the price at which two ways to end a cycle are worth the same in the long run.

    Parameters
    ----------
    amount : tuple of float
        What each brings, in units sold.
    length : tuple of float
        How long each takes.
    cost : float
        What a new cycle costs.

    Returns
    -------
    float or None
        (p a1 - c) / l1 = (p a2 - c) / l2 solved for p; None where no price above zero does.

    Examples
    --------
    >>> turning_price((1.0, 1.2), (30.0, 40.0), 2.0)
    5.0
    """
    lean = amount[1] * length[0] - amount[0] * length[1]
    if lean == 0:
        return None
    price = cost * (length[0] - length[1]) / lean
    return float(price) if price > 0 else None


def geometric_total(first: npt.ArrayLike, kept: npt.ArrayLike) -> Array:
    """Give what flushes would add up to without end, each keeping a share of the one before.

    Parameters
    ----------
    first : array_like
        The first flush.
    kept : array_like
        The share kept, 0 or more.

    Returns
    -------
    ndarray
        first / (1 - kept); infinite where the share is 1 or more.

    Examples
    --------
    >>> geometric_total([300.0, 300.0], [0.5, 1.0]).tolist()
    [600.0, inf]
    """
    start, share = np.broadcast_arrays(np.asarray(first, float), np.asarray(kept, float))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(share < 1, start / (1 - share), np.inf))
