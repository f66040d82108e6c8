"""What it is worth, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.estimate import Span

__all__ = ["BestFlushes", "FlushValue", "MoneyDifference", "Turning", "Worth"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlushValue:
    """What one flush is worth, per unit started.

    Parameters
    ----------
    treatment : str
        Its code.
    flush : int
        From 1.
    days : float
        Days on the shelf that it takes, of a unit that stands at its start.
    per_day : Span
        Its money per day that such a unit takes up its place.
    long_run : Span
        Money per place and day in the long run, the cost of the unit taken off, if every unit is
        replaced after this flush.
    foretold : bool
        Whether it lies beyond the flushes that were picked.
    """

    treatment: str
    flush: int
    days: float
    per_day: Span
    long_run: Span
    foretold: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """The price and the cost at which another number of flushes becomes the best.

    Parameters
    ----------
    flushes : int
        That other number.
    price_per_kg : float
        With the cost of a unit as planned.
    cost_per_unit : float
        With the price as planned.
    """

    flushes: int
    price_per_kg: float
    cost_per_unit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BestFlushes:
    """How many flushes to pick before a new unit takes the place.

    Parameters
    ----------
    treatment : str
        Its code.
    flushes : int
        The number with the best long-run average.
    sure : float
        Share of simulated trials in which it is the best; NaN where there are none.
    others : tuple of (int, float)
        Every number that was the best in some simulated trial, with its share.
    per_week : Span
        Money per place and week with it.
    wrong : tuple of (int, float)
        Money lost per place and week with each other number of flushes.
    foretold : bool
        Whether it lies beyond the flushes that were picked.
    turnings : tuple of Turning
        The nearest number of flushes below and above it, where some price turns to it.
    """

    treatment: str
    flushes: int
    sure: float
    others: tuple[tuple[int, float], ...]
    per_week: Span
    wrong: tuple[tuple[int, float], ...]
    foretold: bool
    turnings: tuple[Turning, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoneyDifference:
    """A treatment less the control, in money.

    Parameters
    ----------
    treatment, control : str
        Codes.
    per_unit : Span
        Price times the difference in weight per unit started, as the finding about yield has it:
        also what a unit may cost more before the gain is gone.
    per_week : Span or None
        Per place and week, both picked as often as they were in the trial.
    """

    treatment: str
    control: str
    per_unit: Span
    per_week: Span | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """Everything about money.

    Parameters
    ----------
    currency : str
        As it is to be printed.
    differences : tuple of MoneyDifference
        Each treatment against the control.
    values : tuple of FlushValue
        Every treatment and flush.
    best : tuple of BestFlushes
        Every treatment.
    """

    currency: str
    differences: tuple[MoneyDifference, ...]
    values: tuple[FlushValue, ...] = ()
    best: tuple[BestFlushes, ...] = ()

    def best_of(self, treatment: str) -> BestFlushes | None:
        """Give the best number of flushes of a treatment, or None."""
        return next((one for one in self.best if one.treatment == treatment), None)
