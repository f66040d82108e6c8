"""Whether the packages `trials`, `analyses` and `reports` that Python finds are ours."""

from __future__ import annotations

import importlib.util
from pathlib import Path

__all__ = ["ROOMS", "check_rooms"]

ROOMS = ("trials", "analyses", "reports")


def check_rooms() -> None:
    """Raise ImportError when another distribution has taken the name of one of our packages."""
    here = Path(__file__).resolve().parent.parent
    for room in ROOMS:
        found = importlib.util.find_spec(room)
        places = (
            [Path(one).resolve() for one in (found.submodule_search_locations or ())]
            if (found is not None)
            else []
        )
        if here / room in places:
            continue
        raise ImportError(_complaint(room, places))


def _complaint(room: str, places: list[Path]) -> str:
    from importlib.metadata import packages_distributions

    mend = "Install pinset into an environment of its own (python -m venv)."
    if not places:
        return f"The part “{room}” of pinset is missing. {mend}"
    owners = [one for one in packages_distributions().get(room, []) if one != "pinset"]
    by = f"the distribution “{owners[0]}”" if owners else f"the folder “{places[0]}”"
    return f"The name “{room}”, which pinset needs, is taken by {by}. {mend}"
