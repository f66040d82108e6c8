"""The door to times: known to the day, or only between two looks."""

from __future__ import annotations

from analyses.models.times.accelerated import AcceleratedFit, fit_accelerated
from analyses.models.times.known_times import LogRank, SurvivalCurve, kaplan_meier, log_rank
from analyses.models.times.time_ratios import (
    LikelihoodRatio,
    TimeQuantile,
    TimeRatio,
    likelihood_ratio,
    time_quantile,
    time_ratio,
)
from analyses.models.times.turnbull import (
    IntervalCurve,
    IntervalRankTest,
    interval_rank_test,
    turnbull,
)

__all__ = [
    "AcceleratedFit",
    "IntervalCurve",
    "IntervalRankTest",
    "LikelihoodRatio",
    "LogRank",
    "SurvivalCurve",
    "TimeQuantile",
    "TimeRatio",
    "fit_accelerated",
    "interval_rank_test",
    "kaplan_meier",
    "likelihood_ratio",
    "log_rank",
    "time_quantile",
    "time_ratio",
    "turnbull",
]
