"""When what is likely to happen: windows of days from heat treatment to the last flush.

The windows are common practice, without a source, and differ by species and temperature.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from trials.recipes.volumes import celsius
from trials.trial import Trial

__all__ = ["COLONISING_F", "FRUITING_F", "FRUITING_HUMIDITY", "REST_HOURS", "Window", "calendar"]

REST_HOURS = 12
"""Least hours between heat treatment and spawning."""

COLONISING_F = 65
"""Degrees Fahrenheit at which the window for colonising holds."""

FRUITING_F = (65, 70)
"""Degrees Fahrenheit, lowest and highest, for pins and flushes."""

FRUITING_HUMIDITY = 80
"""Relative humidity in per cent, about, for pins and flushes."""

_COLONISED = (14, 28)
_OPEN_TO_PINS = (5, 14)
_PINS_TO_PICKING = (3, 7)
_BETWEEN_FLUSHES = (7, 14)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A step of the trial and the days in which it is likely.

    Parameters
    ----------
    step : str
        What happens.
    first, last : int
        Days after spawning, which is day 0; negative before.
    first_date, last_date : datetime.date or None
        The same on the calendar; None where the plan has no start.
    look : str
        What to do and to write down.
    """

    step: str
    first: int
    last: int
    first_date: dt.date | None
    last_date: dt.date | None
    look: str


def calendar(trial: Trial) -> tuple[Window, ...]:
    """Give the windows of a trial, in order.

    Parameters
    ----------
    trial : Trial
        Its start is the day of spawning; its flushes say how many are picked.

    Returns
    -------
    tuple of Window
    """
    unit = trial.unit
    early, late = _COLONISED
    pins = (early + _OPEN_TO_PINS[0], late + _OPEN_TO_PINS[1])
    picked = (pins[0] + _PINS_TO_PICKING[0], pins[1] + _PINS_TO_PICKING[1])
    fruiting = (
        f"About {FRUITING_HUMIDITY} % humidity and {_warmth(*FRUITING_F)}, unless your species "
        "wants another."
    )
    steps = [
        ("mixing and heat treatment", -2, -1, "Mix, fill, label; write down each batch."),
        ("cooling", -1, 0, f"Rest at least {REST_HOURS} hours, until cool to the hand inside."),
        ("spawning", 0, 0, "Spawn in the order of the labels; write down the day."),
        ("colonising", 1, late, f"Look every two or three days; write the first day that a {unit} "
         f"is white all over, and what else you see. The days hold at about "
         f"{_warmth(COLONISING_F)}."),
        ("opening", early, late, f"Open when white all over; write the day of each {unit}. "
         f"{fruiting}"),
        ("first pins", *pins, "Look every day; write the first day of pins."),
        ("flush 1", *picked, "Pick before the caps flatten; weigh what each one gave."),
    ]  # fmt: skip
    for flush in range(2, trial.flushes + 1):
        gap = (flush - 1) * _BETWEEN_FLUSHES[0], (flush - 1) * _BETWEEN_FLUSHES[1]
        look = "Weigh; write 0 where you looked and nothing came."
        steps.append((f"flush {flush}", picked[0] + gap[0], picked[1] + gap[1], look))
    return tuple(_window(trial, *step) for step in steps)


def _warmth(*fahrenheit: float) -> str:
    """Say a temperature, or two that it lies between, in both scales."""
    told = " to ".join(f"{celsius(one):.0f}" for one in fahrenheit)
    return f"{told} °C ({' to '.join(f'{one:g}' for one in fahrenheit)} °F)"


def _window(trial: Trial, step: str, first: int, last: int, look: str) -> Window:
    def day(number: int) -> dt.date | None:
        return None if trial.start is None else trial.start + dt.timedelta(days=number)

    return Window(
        step=step, first=first, last=last, first_date=day(first), last_date=day(last), look=look
    )
