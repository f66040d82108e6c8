"""Values as JSON can hold them."""

from __future__ import annotations

import math
from typing import Any

__all__ = ["plain"]


def plain(value: Any) -> Any:  # noqa: ANN401
    """Turn NumPy's numbers into Python's, and what is not finite into None, however deep it lies.

    Parameters
    ----------
    value : dict, list, tuple, number or text

    Examples
    --------
    >>> plain({"low": -math.inf, "counts": (1, 2)})
    {'low': None, 'counts': [1, 2]}
    """
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
