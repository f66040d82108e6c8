"""Weights as growers write them: grams, kilograms, ounces, pounds.

The avoirdupois pound is exactly 0.45359237 kg (International Yard and Pound Agreement, 1959;
NIST Handbook 44, appendix C) and holds sixteen ounces.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

__all__ = ["GRAMS_IN", "WeightUnit", "grams", "weight_unit"]

WeightUnit: TypeAlias = Literal["g", "kg", "oz", "lb"]

GRAMS_IN: dict[WeightUnit, float] = {
    "g": 1.0,
    "kg": 1000.0,
    "oz": 453.59237 / 16,
    "lb": 453.59237,
}

_SPELLINGS: dict[str, WeightUnit] = {
    "g": "g", "gr": "g", "gram": "g", "grams": "g", "gramme": "g", "grammes": "g",
    "kg": "kg", "kgs": "kg", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg",
    "oz": "oz", "ozs": "oz", "ounce": "oz", "ounces": "oz",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
}  # fmt: skip


def weight_unit(word: str) -> WeightUnit | None:
    """Give the unit that a word names, or None.

    Examples
    --------
    >>> weight_unit("Ounces")
    'oz'
    """
    return _SPELLINGS.get(word.strip().lower().rstrip("."))


def grams(amount: float, unit: WeightUnit) -> float:
    """Turn an amount in `unit` into grams.

    Examples
    --------
    >>> round(grams(1, "lb"), 2)
    453.59
    """
    return amount * GRAMS_IN[unit]
