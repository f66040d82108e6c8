"""The published planning values that ship with pinset."""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

__all__ = ["planning_cvs"]

_FILE = "between_bag_cv.csv"


def planning_cvs() -> tuple[tuple[str, float], ...]:
    """Give names and coefficients of variation between bags to plan with, as shares.

    Returns
    -------
    tuple of (str, float)
        From the steadiest bags to the least steady.
    """
    try:
        text = files("pinset.data").joinpath(_FILE).read_text(encoding="utf-8")
    except ModuleNotFoundError:  # a checkout that was never installed
        place = Path(__file__).resolve().parent.parent / "data" / _FILE
        text = place.read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(text.splitlines()) if row["use"] == "plan"]
    return tuple((row["name"], float(row["cv_percent"]) / 100) for row in rows)
