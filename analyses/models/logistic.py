"""The door to odds: Firth's penalty, a random intercept by quadrature, beta-binomial."""

from __future__ import annotations

from analyses.models.counts.beta_binomial import BetaBinomialFit, fit_beta_binomial
from analyses.models.counts.firth import FirthFit, FirthFits, fit_firth, fit_firth_many
from analyses.models.counts.firth_profile import (
    PenalisedTest,
    ProfileInterval,
    penalised_test,
    profile_interval,
)
from analyses.models.counts.odds import (
    NestedTest,
    OddsContrast,
    compare_nested,
    latent_correlation,
    marginal_share,
    odds_contrast,
    share_correlation,
)
from analyses.models.counts.random_intercept import (
    RandomInterceptFit,
    RandomInterceptFits,
    between_within_df,
    fit_random_intercept,
    fit_random_intercept_many,
)

__all__ = [
    "BetaBinomialFit",
    "FirthFit",
    "FirthFits",
    "NestedTest",
    "OddsContrast",
    "PenalisedTest",
    "ProfileInterval",
    "RandomInterceptFit",
    "RandomInterceptFits",
    "between_within_df",
    "compare_nested",
    "fit_beta_binomial",
    "fit_firth",
    "fit_firth_many",
    "fit_random_intercept",
    "fit_random_intercept_many",
    "latent_correlation",
    "marginal_share",
    "odds_contrast",
    "penalised_test",
    "profile_interval",
    "share_correlation",
]
