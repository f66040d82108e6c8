"""The way to seaborn, which draws heat maps and marks coded by treatment, at little cost."""

from __future__ import annotations

import sys
from types import ModuleType

__all__ = ["statistical_drawing"]

_FOR_DENSITIES = ("scipy.stats", "scipy.cluster")
"""What seaborn takes half a second to import for density curves and trees, and can do without."""


def statistical_drawing() -> ModuleType:
    """Import seaborn, without what only its density curves and trees need.

    Returns
    -------
    module
        seaborn. Where nothing else has loaded SciPy's distributions, it is told that they are not
        there and uses its own stand-in for density curves; SciPy itself is left as it was.
    """
    if "seaborn" in sys.modules:
        return sys.modules["seaborn"]
    hidden = [name for name in _FOR_DENSITIES if name not in sys.modules]
    # A name that holds None cannot be imported (Python reference, 5.3.1).
    sys.modules.update(dict.fromkeys(hidden))  # type: ignore[arg-type]
    try:
        import seaborn
    finally:
        for name in hidden:
            del sys.modules[name]
    return seaborn
