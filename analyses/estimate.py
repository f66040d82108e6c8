"""One number with its doubt: the tidy row that every table, figure and judgement reads."""

from __future__ import annotations

from dataclasses import dataclass

from trials.trial import Outcome

__all__ = ["Estimate", "Span"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A value with the interval that goes with it.

    Parameters
    ----------
    value, low, high : float
        All in `unit`; a limit may be infinite.
    unit : str
        ``g``, ``%``, ``bags in 100``, ``points`` and the like.
    """

    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """The difference between one treatment and the control, in one outcome.

    Parameters
    ----------
    outcome : str
        What was measured.
    estimand : str
        Over which units: ``per bag started``, ``per bag that fruited``.
    treatment, control : str
        Codes of the treatments; the difference is treatment less control.
    value, low, high : float
        In `unit`; NaN when `withheld`.
    level : float
        Confidence of the interval; where several treatments are compared with one control the
        level holds for all of them together.
    low_alone, high_alone : float
        The interval of this comparison by itself, not widened for the others.
    p : float or None
        Two-sided, for no difference, of the same family as the interval.
    df : float or None
        Denominator degrees of freedom.
    unit : str
        ``g`` or ``bags in 100``.
    units : int
        How many independent units the comparison rests on (all treatments of the fit).
    unit_counted : str
        What such a unit is: the grower's word for a bag, or ``batch``.
    method : str
        In words, for the statistician.
    percent : Span or None
        The same difference in per cent of the control.
    efficiency : Span or None
        The same difference in points of biological efficiency.
    withheld : str
        Why there is no inference; empty where there is.
    notes : tuple of str
        Doubts that belong to this number.
    """

    outcome: Outcome
    estimand: str
    treatment: str
    control: str
    value: float
    low: float
    high: float
    level: float
    low_alone: float
    high_alone: float
    p: float | None
    df: float | None
    unit: str
    units: int
    unit_counted: str
    method: str
    percent: Span | None = None
    efficiency: Span | None = None
    withheld: str = ""
    notes: tuple[str, ...] = ()
