"""Turn labels and blocks into numbers, and say what does not fit."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.relabelling_sums import Codes
from analyses.models.numerics.jets import Array

__all__ = ["Statistic", "block_codes", "coded_labels", "number_values"]

_MOST_LABELS = 100  # codes are small integers

Statistic = str | Callable[[npt.NDArray[np.generic]], npt.ArrayLike]


def number_values(values: npt.ArrayLike) -> npt.NDArray[np.intp]:
    """Give each distinct value a number, in sorted order."""
    return np.unique(np.asarray(values), return_inverse=True)[1]


def block_codes(blocks: npt.ArrayLike | None, units: int) -> npt.NDArray[np.intp]:
    """Give each block a number, all units the same one without blocks."""
    codes = np.zeros(units, np.intp) if blocks is None else number_values(blocks)
    if codes.shape != (units,):
        msg = f"blocks have shape {codes.shape}, labels ({units},)"
        raise ValueError(msg)
    return codes


def coded_labels(
    labels: npt.ArrayLike,
    response: npt.ArrayLike,
    treated: object,
    control: object,
    statistic: Statistic,
) -> tuple[npt.NDArray[np.generic], Codes, Array]:
    """Give each label a number, control first and treated last, and check what was passed."""
    given, y = np.asarray(labels), np.asarray(response, float)
    if given.ndim != 1 or given.shape != y.shape:
        msg = f"labels {given.shape} and response {y.shape} need one axis and as many units"
        raise ValueError(msg)
    names = np.unique(given)
    if len(names) < 2:
        msg = "a comparison needs at least two treatments"
        raise ValueError(msg)
    if len(names) > _MOST_LABELS:
        msg = f"{len(names)} different treatments; at most {_MOST_LABELS} can be dealt out again"
        raise ValueError(msg)
    if statistic == "difference":
        for word, one in (("treated", treated), ("control", control)):
            if one not in names.tolist():
                msg = f"{word} label {one!r} is not among {names.tolist()}"
                raise ValueError(msg)
        if treated == control:
            msg = f"treated and control are both {treated!r}"
            raise ValueError(msg)
        between = [n for n in names.tolist() if n not in (treated, control)]
        names = np.array([control, *between, treated], dtype=names.dtype)
    elif isinstance(statistic, str) and statistic != "treatments":
        msg = f"statistic {statistic!r} is not 'difference', 'treatments' or a function"
        raise ValueError(msg)
    codes = (given[:, None] == names[None]).argmax(axis=1).astype(np.int8)
    return names, codes, y
