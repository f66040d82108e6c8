"""The table ``[room]`` of a plan: what the room was like, written down and not planned.

It is kept apart from the plan that is locked at the draw, so that it can be filled in at any time.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from trials.plan_reader import PlanTable

__all__ = ["UNKNOWN_ROOM", "Room", "check_room", "room_facts", "temperature_c"]

_TEMPERATURE = re.compile(
    r"^(?P<number>[+-−]?\d+(?:[.,]\d+)?)\s*(?:°|º|deg(?:rees)?)?\s*(?P<unit>c|f|celsius|fahrenheit)\.?$",
    re.IGNORECASE,
)
_COLDEST, _HOTTEST = -40.0, 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Facts about a grower's room.

    Parameters
    ----------
    temperature_c : float or None
        The usual temperature while fruiting, in degrees Celsius.
    humidity : float or None
        The usual relative humidity while fruiting, in per cent.
    heat_treatment : str
        How the substrate was heat-treated, in the grower's words.
    heat_hours : float or None
        For how many hours.
    note : str
        Free text.
    """

    temperature_c: float | None = None
    humidity: float | None = None
    heat_treatment: str = ""
    heat_hours: float | None = None
    note: str = ""


UNKNOWN_ROOM = Room()
"""Nothing written down."""


def temperature_c(found: object) -> float | None:
    """Read a temperature with its unit into degrees Celsius, or None where it cannot be.

    Examples
    --------
    >>> temperature_c("18 °C"), temperature_c("64.4 F"), temperature_c("18")
    (18.0, 18.0, None)
    """
    match = _TEMPERATURE.match(found.strip()) if isinstance(found, str) else None
    if match is None:
        return None
    value = float(match["number"].replace(",", ".").replace("−", "-"))
    if match["unit"].lower().startswith("f"):
        value = (value - 32) / 1.8
    return round(value, 2) if _COLDEST <= value <= _HOTTEST else None


def check_room(table: PlanTable | None) -> Room:
    """Read the table ``[room]``; mistakes are gathered by the table.

    Parameters
    ----------
    table : PlanTable or None
        None where the plan has none.

    Returns
    -------
    Room
    """
    if table is None:
        return UNKNOWN_ROOM
    room = Room(
        temperature_c=table.parsed(
            "temperature",
            temperature_c,
            mend='Write it with its unit: temperature = "18 °C" or "64 °F".',
        ),
        humidity=table.number("humidity", low=0, high=100),
        heat_treatment=table.text("heat_treatment", longest=60) or "",
        heat_hours=table.number("heat_hours", low=0, high=1000),
        note=table.text("note", longest=1000) or "",
    )
    table.refuse_unknown()
    return room


def room_facts(room: Room) -> dict[str, str]:
    """Give the facts that were written down, by name, numbers with their unit.

    Parameters
    ----------
    room : Room

    Returns
    -------
    dict of str to str
        Names among ``temperature``, ``humidity``, ``heat treatment`` and ``heat treatment time``.

    Examples
    --------
    >>> room_facts(Room(temperature_c=18.0, heat_treatment="steam", heat_hours=2.5))
    {'temperature': '18 °C', 'heat treatment': 'steam', 'heat treatment time': '2.5 hours'}
    """
    facts = {
        "temperature": _with_unit(room.temperature_c, "°C"),
        "humidity": _with_unit(room.humidity, "%"),
        "heat treatment": room.heat_treatment,
        "heat treatment time": _with_unit(room.heat_hours, "hours"),
    }
    return {name: told for name, told in facts.items() if told}


def _with_unit(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:.4g} {unit}"
