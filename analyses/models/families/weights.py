"""Which weights of the levels make up a family of comparisons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analyses.models.linear.arrays import Array, FitError
from analyses.models.linear.basis import written

__all__ = ["KINDS", "family_rows", "interaction_rows"]

KINDS = ("versus control", "all pairs", "consecutive")

Weights = Mapping[str, Sequence[float]]


def family_rows(
    levels: Sequence[Any], kind: str | Weights, control: object = None
) -> tuple[list[str], Array]:
    """Give names and weights of a family of comparisons among levels.

    Parameters
    ----------
    levels : sequence, length m
        The levels in order.
    kind : {"versus control", "all pairs", "consecutive"} or mapping of str to weights
        The family, or custom contrasts: for each name one weight a level.
    control : optional
        The level to compare with; the first one if not given.

    Returns
    -------
    names : list of str
        "b - a" for level b minus level a; later levels come first.
    weights : array, shape (contrasts, m)
        One row a contrast.

    Raises
    ------
    FitError
        If the family or the control does not exist, or custom weights do not fit the levels.
    """
    if isinstance(kind, Mapping):
        return _custom(levels, kind)
    if kind not in KINDS:
        message = f"kind is one of {', '.join(KINDS)} or weights by name, not '{kind}'"
        raise FitError(message)
    if control is not None and kind != "versus control":
        message = f"a control has no part in '{kind}'"
        raise FitError(message)
    count = len(levels)
    if kind == "versus control":
        base = _place(levels, control)
        pairs = [(base, at) for at in range(count) if at != base]
    elif kind == "all pairs":
        pairs = [(low, high) for high in range(count) for low in range(high)]
    else:
        pairs = [(at, at + 1) for at in range(count - 1)]
    weights: Array = np.zeros((len(pairs), count))
    for row, (low, high) in enumerate(pairs):
        weights[row, low], weights[row, high] = -1.0, 1.0
    return [f"{written(levels[high])} - {written(levels[low])}" for low, high in pairs], weights


def interaction_rows(families: Sequence[tuple[list[str], Array]]) -> tuple[list[str], Array]:
    """Multiply families of several factors: differences of differences.

    The last factor runs fastest, in the names as in the columns.
    """
    names, weights = families[0]
    names = [f"({name})" for name in names]
    for more, factor in families[1:]:
        names = [f"{one}:({name})" for one in names for name in more]
        weights = np.asarray(np.kron(weights, factor), float)
    return names, weights


def _place(levels: Sequence[Any], control: object) -> int:
    if control is None:
        return 0
    found = [at for at, level in enumerate(levels) if written(level) == written(control)]
    if not found:
        known = ", ".join(written(level) for level in levels)
        message = f"the control '{control}' is none of the levels {known}"
        raise FitError(message)
    return found[0]


def _custom(levels: Sequence[Any], kind: Weights) -> tuple[list[str], Array]:
    weights = np.zeros((len(kind), len(levels)))
    for row, (name, given) in enumerate(kind.items()):
        if len(given) != len(levels):
            message = f"'{name}' has {len(given)} weights for {len(levels)} levels"
            raise FitError(message)
        weights[row] = given
    return list(kind), weights
