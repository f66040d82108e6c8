"""What a piece of work costs inside this process, and the peer that several stand beside."""

from __future__ import annotations

import statistics
import time
import warnings
from collections.abc import Callable

import pandas as pd

__all__ = ["fit_by_statsmodels", "median_seconds"]


def median_seconds(work: Callable[[], object], times: int = 15) -> float:
    """Do it once to warm up, then so many times, and give the median."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def fit_by_statsmodels(data: pd.DataFrame) -> None:
    """Fit treatments over flushes, bags in blocks, by statsmodels' REML (no small-sample df)."""
    import statsmodels.formula.api as smf

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        smf.mixedlm(
            "y ~ C(treatment) * C(flush)",
            data,
            groups="block",
            re_formula="1",
            vc_formula={"bag": "0 + C(bag)"},
        ).fit(reml=True)
