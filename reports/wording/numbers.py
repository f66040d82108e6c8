"""Numbers as the page says them: rounded to what the interval carries, in the grower's unit.

Two figures of an interval's half-width decide the decimals of the number and of both limits.
The same rule is usual for measurement uncertainty (JCGM 100:2008, GUM, 7.2.6).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from trials.measures import GRAMS_IN, WeightUnit

__all__ = [
    "Measure",
    "Rounded",
    "mean_step",
    "measure",
    "number",
    "percentage",
    "round_span",
    "step_for",
]

_FINEST_OUNCE = 0.25
_MOST_REFINEMENTS = 3
# Rounding to a step must not turn 2.5 + an error of the last bit into 3.
_BIT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A unit that the page speaks in.

    Parameters
    ----------
    per : float
        How many units of the estimate make one of these.
    word : str
        As written behind a number; empty for a bare count.
    finest : float
        The smallest step worth saying, in this unit; 0 where there is none.
    """

    per: float
    word: str
    finest: float = 0.0

    def say(self, value: float, step: float) -> str:
        """Say an amount, sign left out, that is already in this measure; 5.0 is said as 5."""
        text = number(abs(value), step)
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        if self.word == "days" and text == "1":
            return "1 day"
        return f"{text} {self.word}" if self.word else text


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounded:
    """A value and its limits, rounded alike.

    Parameters
    ----------
    value, low, high : float
        Rounded, in the measure.
    step : float
        What they are multiples of.
    usual : float
        What those are multiples of that no mark asks to be finer.
    coarse : bool
        Whether rounding hides whole figures, so that “about” is owed.
    """

    value: float
    low: float
    high: float
    step: float
    usual: float
    coarse: bool

    def write(self, amount: float) -> str:
        """Write one of the three without its sign, no finer than it was rounded."""
        size = abs(amount)
        return number(size, self.usual if _to_step(size, self.usual) == size else self.step)


def measure(unit: str, weights: WeightUnit) -> Measure:
    """Give the measure in which an estimate's unit is said.

    Parameters
    ----------
    unit : str
        Unit of the estimate: ``g``, ``bags in 100``, ``days``, ``points``, ``%`` ...
    weights : {"g", "kg", "oz", "lb"}
        What the trial weighs in.

    Returns
    -------
    Measure
        Ounces are said to a quarter at the finest, bags in a hundred whole, days to a tenth.
    """
    if unit == "g":
        finest = _FINEST_OUNCE if weights == "oz" else 0.0
        return Measure(per=GRAMS_IN[weights], word=weights, finest=finest)
    if unit.endswith("in 100"):
        return Measure(per=1.0, word="", finest=1.0)
    return Measure(per=1.0, word=unit, finest=0.1 if unit == "days" else 0.0)


def step_for(half_width: float, *, finest: float = 0.0) -> float:
    """Give the step that leaves two figures of a half-width.

    Parameters
    ----------
    half_width : float
        Half the width of the interval; not finite or 0 gives three figures of nothing, 1.
    finest : float
        No finer than this.

    Returns
    -------
    float
        A power of ten, or `finest`.

    Examples
    --------
    >>> step_for(31), step_for(140), step_for(0.083), step_for(1.3, finest=0.25)
    (1.0, 10.0, 0.001, 0.25)
    """
    if not math.isfinite(half_width) or half_width <= 0:
        return max(1.0, finest)
    # 9.96 is said as 10, so it is rounded to two figures before its size is read.
    size = math.floor(math.log10(float(f"{half_width:.1e}")))
    return max(float(10.0 ** (size - 1)), finest)


def number(value: float, step: float) -> str:
    """Write a number to a step, with a true minus sign.

    Examples
    --------
    >>> number(812, 10), number(-0.4567, 0.01), number(2.3, 0.25), number(-0.2, 1)
    ('810', '−0.46', '2.25', '0')
    """
    if not math.isfinite(value):
        return "–" if math.isnan(value) else ("∞" if value > 0 else "−∞")
    at_step = _to_step(value, step)
    return f"{at_step:.{_decimals(step)}f}".replace("-", "−")


def percentage(value: float, half_width: float = math.nan) -> str:
    """Write a percentage: no decimals from 10 up, and under 10 no more than the interval carries.

    Examples
    --------
    >>> percentage(15.4), percentage(4.56), percentage(4.56, 12.0), percentage(-4.56, 0.8)
    ('15 %', '4.6 %', '5 %', '−4.6 %')
    """
    step = 1.0
    if abs(value) < 9.95:
        carried = step_for(half_width) if math.isfinite(half_width) else 0.1
        step = min(1.0, max(0.1, carried))
    return f"{number(value, step)} %"


def mean_step(value: float, low: float, high: float, unit: Measure) -> float:
    """Give the step to which a mean is told wherever it is told: by its range, if it has one.

    Parameters
    ----------
    value, low, high : float
        In the unit of the estimate; limits may be not known.
    unit : Measure
        The unit spoken, which the step is in.
    """
    half = (high - low) / 2
    known = half if math.isfinite(half) else abs(value) / 10
    return step_for(known / unit.per, finest=unit.finest)


def round_span(
    value: float, low: float, high: float, *, finest: float = 0.0, marks: Iterable[float] = ()
) -> Rounded:
    """Round a value and its limits by the interval, keeping them on their side of every mark.

    Parameters
    ----------
    value, low, high : float
        In the measure; limits may be infinite.
    finest : float
        No finer than this, unless a mark asks for it.
    marks : iterable of float
        Values, such as 0 and the worthwhile difference, that no limit may be rounded across
        or onto; the step of that limit is made finer, up to a thousandfold, until it is not.

    Returns
    -------
    Rounded
    """
    marks = tuple(marks)
    usual = step_for((high - low) / 2, finest=finest)
    low_step, high_step = (_step_beside(limit, usual, marks) for limit in (low, high))
    if low_step != high_step:  # a quarter beside a tenth: both are written with tenths
        tenths = float(10.0 ** math.floor(math.log10(usual) + _BIT))
        low_step, high_step = min(low_step, tenths), min(high_step, tenths)
    return Rounded(
        value=_to_step(value, usual),
        low=_to_step(low, low_step),
        high=_to_step(high, high_step),
        step=min(low_step, high_step),
        usual=usual,
        coarse=usual > 1,
    )


def _step_beside(limit: float, step: float, marks: tuple[float, ...]) -> float:
    """Make a step finer until a limit is rounded across no mark."""
    for _ in range(_MOST_REFINEMENTS):
        shown = _to_step(limit, step)
        if all(_side(limit, mark) == _side(shown, mark) for mark in marks):
            break
        step = float(10.0 ** (math.ceil(math.log10(step) - _BIT) - 1))
    return step


def _side(limit: float, mark: float) -> int:
    return int(limit > mark) - int(limit < mark)


def _to_step(value: float, step: float) -> float:
    if not math.isfinite(value):
        return value
    away = math.floor(abs(value) / step + 0.5 + _BIT) * step
    return math.copysign(round(away, 10), value) if round(away, 10) else 0.0


def _decimals(step: float) -> int:
    places = 0
    while places < 10 and abs(round(step, places) - step) > _BIT * step:
        places += 1
    return places
