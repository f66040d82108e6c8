"""Volumes and temperatures as growers write them, by the libraries pint and SciPy.

A cup, pint, quart or gallon is the one of the United States (NIST Handbook 44, appendix C) unless
it is called imperial. Pint takes a third of a second to load, so that it is loaded when a volume is
first asked about.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

__all__ = ["celsius", "millilitres"]

_WORD = re.compile("[a-z_]{1,30}")


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry()


def millilitres(amount: float, unit: str) -> float | None:
    """Turn a volume into millilitres, or give None when `unit` is no volume.

    Examples
    --------
    >>> round(millilitres(1.5, "cups"))
    355
    >>> millilitres(1, "scoop") is None
    True
    """
    word = "_".join(unit.lower().split())
    if not _WORD.fullmatch(word):
        return None
    import pint

    registry = _registry()
    try:
        return float(registry.Quantity(amount, word).to("millilitre").magnitude)
    except (pint.PintError, AttributeError):  # not known, or no volume
        return None


def celsius(fahrenheit: float) -> float:
    """Turn degrees Fahrenheit into degrees Celsius.

    Examples
    --------
    >>> round(celsius(65), 1)
    18.3
    """
    from scipy.constants import convert_temperature

    return float(convert_temperature(fahrenheit, "Fahrenheit", "Celsius"))
