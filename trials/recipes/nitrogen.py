"""Nitrogen of common ingredients: a small rough table, which the grower's own number overrides."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

from trials.trial import Ingredient

__all__ = ["Nitrogen", "nitrogen_of", "nitrogen_table"]

_FILE = "nitrogen.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class Nitrogen:
    """How much nitrogen an ingredient holds.

    Parameters
    ----------
    low, high : float
        Per cent of dry matter; what it is lies somewhere between.
    source : str
        Where that stands, or that nobody read it anywhere.
    """

    low: float
    high: float
    source: str


def nitrogen_of(ingredient: Ingredient) -> Nitrogen | None:
    """Give the nitrogen of an ingredient: the grower's own number, or the table's range.

    Parameters
    ----------
    ingredient : Ingredient

    Returns
    -------
    Nitrogen or None
        None where neither knows it.
    """
    if ingredient.nitrogen is not None:
        own = ingredient.nitrogen
        return Nitrogen(low=own, high=own, source="the plan")
    return nitrogen_table().get(ingredient.name.strip().casefold())


@cache
def nitrogen_table() -> dict[str, Nitrogen]:
    """Read ``data/nitrogen.csv``, by every name that it knows, in lower case."""
    try:
        text = (files("pinset.data") / _FILE).read_text(encoding="utf-8")
    except ModuleNotFoundError:  # a checkout that was never installed
        folder = Path(__file__).resolve().parents[2] / "data"
        text = (folder / _FILE).read_text(encoding="utf-8")
    table = {}
    for row in csv.DictReader(text.splitlines()):
        found = Nitrogen(
            low=float(row["low_percent"]), high=float(row["high_percent"]), source=row["source"]
        )
        for name in (row["ingredient"], *row["also"].split(";")):
            if name:
                table[name.casefold()] = found
    return table
