"""Least squares behind the share of a flush that the next one keeps, in many trials at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.models.linear.arrays import Array, Codes, Flags

__all__ = ["KeptLines", "batch_slopes", "lines_of_batches", "lines_of_units"]

_EXACT = 1e-14  # residuals this small, next to the data, are none


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptLines:
    """A line or a level for each treatment, taken out by least squares in many trials.

    Parameters
    ----------
    q : array, shape (trials, units, flushes, p) or (trials, batches, p)
        Orthonormal columns; the last are the slopes of the treatments.
    start : array, shape (trials, p)
        Their coefficients.
    root : array, shape (trials, treatments)
        What a coefficient of the last columns is divided by to be a slope.
    left : array, shape (trials, units, flushes) or (trials, batches)
        Residuals over `scale`.
    scale : array, shape (trials,)
        Residual standard deviation.
    sure : array of bool, shape (trials,)
        Whether there is an error to estimate.
    """

    q: Array
    start: Array
    root: Array
    left: Array
    scale: Array
    sure: Flags


def lines_of_units(y: Array, came: Flags, treatment: Codes) -> KeptLines:
    """Take a straight line for each treatment out of the logarithms.

    Parameters
    ----------
    y : array, shape (trials, units, flushes)
        0 where there is none.
    came : array of bool, shape (trials, units, flushes)
        Every treatment has two flushes or more in every trial.
    treatment : array of int, shape (units,)
        From 0.
    """
    count, k = int(treatment.max()) + 1, np.arange(came.shape[2], dtype=float)
    mine = np.eye(count)[treatment]
    rows = np.einsum("nuf,ut->nt", came, mine)
    middle = np.einsum("nuf,f,ut->nt", came, k, mine) / rows
    away = np.where(came, k - middle[:, treatment, None], 0.0)
    squares = np.einsum("nuf,ut->nt", away**2, mine)
    root = np.sqrt(squares)
    level = came / np.sqrt(rows)[:, treatment, None]
    slope = away / root[:, treatment, None]
    q = np.concatenate([level[..., None] * mine[:, None], slope[..., None] * mine[:, None]], -1)
    flat = q.reshape(len(y), -1, 2 * count)
    start, rest, scale, sure = _left(y.reshape(len(y), -1), flat, rows.sum(1))
    left = rest.reshape(y.shape)
    return KeptLines(q=q, start=start, root=root, left=left, scale=scale, sure=sure)


def _left(y: Array, q: Array, rows: Array) -> tuple[Array, Array, Array, Flags]:
    """Take least squares out; two passes lose no digits."""
    start, left = np.zeros((len(y), q.shape[-1])), y
    for _ in range(2):
        more = (left[:, None] @ q)[:, 0]
        left, start = left - (q @ more[..., None])[..., 0], start + more
    square, free = (left**2).sum(1), rows - q.shape[-1]
    sure = (free > 0) & (square > rows * (_EXACT * np.abs(y).max(1)) ** 2)
    scale = np.sqrt(np.where(sure, square, 1.0) / np.where(sure, free, 1.0))
    return start, left / scale[:, None], scale, sure


def batch_slopes(logs: Array, batch: Codes) -> Array:
    """Give the least-squares slope of each batch within its units.

    Parameters
    ----------
    logs : array, shape (trials, units, flushes)
        NaN where there is none.
    batch : array of int, shape (units,)
        From 0.

    Returns
    -------
    array, shape (trials, batches)
        NaN where no unit of a batch gave two flushes.
    """
    came = np.isfinite(logs)
    number = np.maximum(came.sum(2, keepdims=True), 1)
    k = np.where(came, np.arange(logs.shape[2], dtype=float), 0.0)
    y = np.where(came, logs, 0.0)
    k = np.where(came, k - k.sum(2, keepdims=True) / number, 0.0)
    y = np.where(came, y - y.sum(2, keepdims=True) / number, 0.0)
    of = np.eye(int(batch.max()) + 1)[batch]
    squares, products = (k * k).sum(2) @ of, (k * y).sum(2) @ of
    told = squares > 0
    return np.where(told, products / np.where(told, squares, 1.0), np.nan)


def lines_of_batches(slopes: Array, treatment: Codes) -> KeptLines:
    """Take the mean slope of each treatment out of those of its batches.

    Parameters
    ----------
    slopes : array, shape (trials, batches)
        NaN where a batch has none.
    treatment : array of int, shape (batches,)
        From 0.
    """
    there = np.isfinite(slopes)
    mine = np.eye(int(treatment.max()) + 1)[treatment]
    rows = there @ mine
    root = np.sqrt(np.maximum(rows, 1.0))
    q = (there / root[:, treatment])[..., None] * mine
    start, left, scale, sure = _left(np.where(there, slopes, 0.0), q, rows.sum(1))
    sure &= (rows > 0).all(1)
    return KeptLines(q=q, start=start, root=root, left=left, scale=scale, sure=sure)
