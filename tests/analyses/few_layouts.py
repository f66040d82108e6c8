"""For tests that look at something else: deal the treatments out again few times only."""

from __future__ import annotations

import pytest

from analyses.layouts import rerandomised

__all__ = ["few_layouts"]


def few_layouts(patch: pytest.MonkeyPatch) -> None:
    """Let re-randomisation count 500 layouts and draw 999; it is most of the work of an analysis.

    Use it only where no test looks at its p value; other tests hold that against other ways.
    """
    patch.setattr(rerandomised, "COUNT_UP_TO", 500)
    patch.setattr(rerandomised, "LIST_UP_TO", 500)
    patch.setattr(rerandomised, "_MOST_DEALT", 1)
