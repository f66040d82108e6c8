"""The calendar: when to cool, spawn, look, open and pick."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from reports.parts.blocks import Caution
from reports.parts.cautions import FOLLOW, mould
from reports.sheets.frame import framed
from reports.sheets.mixing_sheet import MIXING_CAUTIONS
from trials.calendar import Window, calendar
from trials.trial import Trial

__all__ = ["calendar_sheet"]

_SPORES = Caution(
    title="Spores",
    text="Pick before the caps flatten, air the room, and wear a respirator where there are many "
    "spores. See a doctor about a cough or fever that lasts after work. " + FOLLOW,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One step as it is printed."""

    step: str
    days: str
    dates: str
    look: str


def calendar_sheet(trial: Trial) -> str:
    """Give the calendar of a trial.

    Parameters
    ----------
    trial : Trial
        Its start is the day of spawning; without one only days are counted.

    Returns
    -------
    str
        One HTML document for A4 and Letter.
    """
    rows = [_row(window) for window in calendar(trial)]
    counted = "Day 0 is the day of spawning."
    return framed(
        "calendar_sheet.html",
        trial,
        kind="Calendar",
        page_style="@page { margin: 12mm; }\ncol.step { width: 32mm; }\ncol.day { width: 22mm; }\n"
        "table tbody td, table tbody th { vertical-align: top; }\n"
        "col.dates { width: 42mm; }\ncol.done { width: 24mm; }\ntbody tr { height: 10mm; }\n"
        "tbody th { font-weight: 700; }",
        lines=(
            f"{counted} The days are what is common for many species at 18 to 24 °C (65 to 75 °F); "
            "yours may be earlier or later. Look at all treatments on the same days.",
        ),
        cautions=(*MIXING_CAUTIONS[:2], mould(), _SPORES),
        rows=rows,
        dated=trial.start is not None,
    )


def _row(window: Window) -> _Row:
    return _Row(
        step=window.step,
        days=_days(window.first, window.last),
        dates=_dates(window.first_date, window.last_date),
        look=window.look,
    )


def _days(first: int, last: int) -> str:
    signed = [str(one).replace("-", "−") for one in (first, last)]
    return signed[0] if first == last else f"{signed[0]} to {signed[1]}"


def _dates(first: dt.date | None, last: dt.date | None) -> str:
    if first is None or last is None:
        return ""
    return first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"
