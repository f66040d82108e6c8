"""What passes between the parts of a model: kinds of arrays, and the error that all raise."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

__all__ = ["Array", "Codes", "Column", "FitError", "Flags", "plain_list"]

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]
Column: TypeAlias = Any  # one column of a table: an array, or a pandas series or categorical


class FitError(ValueError):
    """A model that cannot be fitted, or a question it cannot answer, in plain words."""


def plain_list(names: Iterable[object]) -> str:
    """Write names as a sentence does: 'a', 'b' and 'c'."""
    words = [f"'{name}'" for name in names]
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
