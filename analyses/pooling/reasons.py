"""Whether something that was recorded goes with how growers differ; looked at afterwards."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analyses.models.families.multiplicity import holm
from analyses.models.linear.student import t_quantile
from analyses.models.trials_together.explained import Regression, regress_on
from analyses.pooling.answers import Reason
from analyses.pooling.own import Own

__all__ = ["reasons"]

_FEWEST = 4
_NUMBER = re.compile(
    r"^\s*(-?\d+(?:[.,]\d+)?)\s*(°\s*[CF]|[CF]|°|%|days?|d|kg|g|l|hours?|h|min|m)?\s*$"
)


def reasons(
    owns: Sequence[Own], notes: Mapping[str, Mapping[str, str]], *, level: float
) -> tuple[Reason, ...]:
    """Hold every recorded fact against the growers' answers.

    Parameters
    ----------
    owns : sequence of Own
        With a variance.
    notes : mapping of str to mapping of str to str
        Facts by grower and name.
    level : float
        Confidence of the limits.

    Returns
    -------
    tuple of Reason
        Facts known of at least four growers that take more than one value and leave at least two
        growers over. Names that stand for one grower alone are taken together as “other”.
    """
    names = dict.fromkeys(name for one in owns for name in notes.get(one.key, {}))
    tried = [_try(name, owns, notes, level) for name in names]
    found = [one for one in tried if one is not None]
    if not found:
        return ()
    adjusted = holm(np.array([one.p for one in found])).tolist()
    return tuple(replace(one, p_holm=p) for one, p in zip(found, adjusted, strict=True))


def _try(
    name: str, owns: Sequence[Own], notes: Mapping[str, Mapping[str, str]], level: float
) -> Reason | None:
    known = [(one, notes[one.key][name]) for one in owns if name in notes.get(one.key, {})]
    if len(known) < _FEWEST:
        return None
    numbers = [_number(told) for _, told in known]
    units = {_unit(told) for _, told in known}
    if all(number is not None for number in numbers) and len(units) == 1:
        values = np.array(numbers, float)
        return _slope(name, [one for one, _ in known], values, units.pop(), level)
    return _names(name, [one for one, _ in known], [told for _, told in known], level)


def _number(told: str) -> float | None:
    found = _NUMBER.match(told)
    return float(found.group(1).replace(",", ".")) if found else None


def _unit(told: str) -> str:
    found = _NUMBER.match(told)
    return (found.group(2) or "") if found else ""


def _limits(found: Regression, level: float) -> tuple[float, float]:
    """Give the limits of the second coefficient by Student's t (Knapp & Hartung 2003)."""
    value, half = found.coefficients[1], t_quantile((1 + level) / 2, found.den_df) * found.errors[1]
    return float(value - half), float(value + half)


def _slope(
    name: str, owns: list[Own], values: np.ndarray, unit: str, level: float
) -> Reason | None:
    if np.ptp(values) == 0:
        return None
    y, v = [one.value for one in owns], [one.variance for one in owns]
    found = regress_on(y, v, values[:, None])
    low, high = _limits(found, level)
    return Reason(
        name=name, kind="number", unit=unit, growers=len(owns), slope=float(found.coefficients[1]),
        low=low, high=high, values=(), p=found.p, p_holm=found.p, tau2_left=found.tau2,
    )  # fmt: skip


def _names(name: str, owns: list[Own], told: list[str], level: float) -> Reason | None:
    plain = [" ".join(one.lower().split()) for one in told]
    counts = Counter(plain)
    groups = [one if counts[one] > 1 else "other" for one in plain]
    levels = list(dict.fromkeys(groups))
    if len(levels) < 2 or len(owns) < len(levels) + 2:
        return None
    y, v = [one.value for one in owns], [one.variance for one in owns]
    columns = np.array([[float(group == level) for level in levels[1:]] for group in groups])
    found = regress_on(y, v, columns)
    base = float(found.coefficients[0])
    shifts = [0.0, *found.coefficients[1:].tolist()]
    values = tuple(
        (level, base + shift, groups.count(level))
        for level, shift in zip(levels, shifts, strict=True)
    )
    low, high = _limits(found, level) if len(levels) == 2 else (math.nan, math.nan)
    return Reason(
        name=name, kind="group", unit="", growers=len(owns), slope=math.nan, low=low, high=high,
        values=values, p=found.p, p_holm=found.p, tau2_left=found.tau2,
    )  # fmt: skip
