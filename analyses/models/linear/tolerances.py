"""When a search for variances has ended: the same for one trial and for many at once."""

from __future__ import annotations

__all__ = [
    "BLURRED",
    "CORNER",
    "DECREMENT",
    "FLOOR",
    "HALVINGS",
    "HANDFUL",
    "LOWER",
    "ROUNDING",
    "SLOPING",
    "STEPS",
    "VANISHED",
]

DECREMENT = 1e-17
"""Squared distance to the optimum, in standard errors, that is nought."""

ROUNDING = 1e-12
"""The same where rounding lets the criterion fall no further."""

BLURRED = 1e-9
"""The same where a residual variance is held at its floor, and its weight is huge."""

STEPS = 100
"""Steps after which a search is given up."""

HALVINGS = 40
"""Halvings of one step after which it leads nowhere."""

FLOOR = 1e-7
"""One of several residual variances this small, next to the data's, stands for zero."""

SLOPING = 1e-3
"""Slope along the logarithm of a variance at its floor that shows a fall without end."""

VANISHED = 1e-12
"""A residual variance this far below the largest is lost in rounding."""

HANDFUL = 120
"""Rows up to which several residual variances are sought from several starts."""

LOWER = 1e-6
"""How much lower a second low point must be to be another one."""

CORNER = 0.02
"""How far below the rest one residual variance starts then."""
