"""The door to shares: one, two, against a margin, in strata, exactly, in clusters."""

from __future__ import annotations

from analyses.models.counts.clusters import (
    ClusterDifference,
    DesignEffectTest,
    adjusted_test,
    anova_correlation,
    cluster_difference,
    design_effect,
)
from analyses.models.counts.exact_tables import ConditionalOdds, conditional_odds
from analyses.models.counts.margins import (
    MarginTest,
    TwoOneSided,
    exact_margin_p,
    farrington_manning,
    two_one_sided,
)
from analyses.models.counts.one_share import (
    OneShareTest,
    Proportion,
    clopper_pearson,
    clopper_pearson_limits,
    wilson,
    wilson_limits,
)
from analyses.models.counts.risk_ratio import Ratio, koopman, miettinen_nurminen_ratio, ratio_limits
from analyses.models.counts.strata import (
    Pooled,
    Strata,
    StrataTest,
    breslow_day,
    cochran_mantel_haenszel,
    exact_common_odds,
    pooled_difference,
    pooled_odds,
    pooled_ratio,
)
from analyses.models.counts.stratified_score import (
    is_sparse,
    stratified_limits,
    stratified_score,
    stratified_statistic,
)
from analyses.models.counts.two_proportions import (
    Difference,
    mee,
    miettinen_nurminen,
    newcombe,
    newcombe_limits,
    score_limits,
    score_statistic,
)
from analyses.models.counts.whole_clusters import hit_cluster_limits, whole_cluster_limits

__all__ = [
    "ClusterDifference",
    "ConditionalOdds",
    "DesignEffectTest",
    "Difference",
    "MarginTest",
    "OneShareTest",
    "Pooled",
    "Proportion",
    "Ratio",
    "Strata",
    "StrataTest",
    "TwoOneSided",
    "adjusted_test",
    "anova_correlation",
    "breslow_day",
    "clopper_pearson",
    "clopper_pearson_limits",
    "cluster_difference",
    "cochran_mantel_haenszel",
    "conditional_odds",
    "design_effect",
    "exact_common_odds",
    "exact_margin_p",
    "farrington_manning",
    "hit_cluster_limits",
    "is_sparse",
    "koopman",
    "mee",
    "miettinen_nurminen",
    "miettinen_nurminen_ratio",
    "newcombe",
    "newcombe_limits",
    "pooled_difference",
    "pooled_odds",
    "pooled_ratio",
    "ratio_limits",
    "score_limits",
    "score_statistic",
    "stratified_limits",
    "stratified_score",
    "stratified_statistic",
    "two_one_sided",
    "whole_cluster_limits",
    "wilson",
    "wilson_limits",
]
