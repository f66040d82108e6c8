"""Logistic models of clusters against published and computed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import binom, norm

from analyses.models.counts.beta_binomial import fit_beta_binomial
from analyses.models.counts.odds import (
    compare_nested,
    latent_correlation,
    marginal_share,
    odds_contrast,
    share_correlation,
)
from analyses.models.counts.random_intercept import (
    between_within_df,
    fit_random_intercept,
    fit_random_intercept_many,
)
from tests.reference.load import case, frame, matrix


def _cattle():
    d = frame("clustered_binary_cattle")
    X = np.column_stack([np.ones(len(d)), *(d.period == k for k in (2, 3, 4))])
    return X.astype(float), d.herd.to_numpy(), d.incidence.to_numpy(), d["size"].to_numpy()


def _plates():
    d = frame("bank/orob2")
    seed, root = (d.seed == "O75").to_numpy(float), (d.root == "CUCUMBER").to_numpy(float)
    X = np.column_stack([np.ones(len(d)), seed, root, seed * root])
    return X, np.arange(len(d)), d.y.to_numpy(), d.n.to_numpy()


def _children():
    d = frame("bank/bacteria")
    X = np.column_stack([np.ones(len(d)), d.trt == "drug", d.trt == "drug+", d.week > 2])
    return X.astype(float), d.ID.to_numpy(), (d.y == "y").to_numpy(float), None


def _arms():
    d = case("bank/o-bin-19-cluster-trial")["results"]["data"]
    X = np.column_stack([np.ones(13), np.array(d["arm"]) == "B"]).astype(float)
    return X, np.arange(13), np.array(d["y"]), np.array(d["n"])


BANK = {
    "cattle": (_cattle(), case("bank/o-bin-09-cbpp-glmer")["results"]["aghq51"]),
    "plates": (
        _plates(),
        case("bank/o-bin-10-orob2-overdispersion")["results"]["random_plate_aghq51"],
    ),
    "children": (_children(), case("bank/o-bin-11-bacteria-clustered")["results"]["aghq51"]),
    "arms": (_arms(), case("bank/o-bin-19-cluster-trial")["results"]["random_intercept"]),
}


@pytest.mark.parametrize("name", BANK)
def test_fits_of_the_bank(name):
    data, expected = BANK[name]
    fit = fit_random_intercept(*data)
    assert fit.converged
    assert fit.coefficients == pytest.approx(list(expected["beta"].values()), rel=1e-6)
    assert fit.covariance == pytest.approx(matrix(expected["vcov_beta"]), rel=1e-5)
    assert fit.sigma == pytest.approx(expected["sigma"], rel=1e-6)
    assert fit.sigma_error == pytest.approx(expected["se_sigma"], rel=1e-6)
    assert fit.loglik == pytest.approx(expected["logLik"], rel=1e-9)


def test_cattle_of_the_reference():
    # Lesnoff et al. (2004), Prev. Vet. Med. 64, 27-40; 25-point quadrature
    known, fit = case("clustered_binary_cattle")["aghq25"], fit_random_intercept(*_cattle())
    assert fit.coefficients == pytest.approx(list(known["fixed"].values()), rel=1e-5)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(known["se"], rel=1e-5)
    assert fit.sigma == pytest.approx(known["sd_group"], rel=1e-5)


def test_plates_as_published():
    # Crowder (1978), Applied Statistics 27, 34-37, seed coded the other way round: intercept
    # -.548, seed .097, extract 1.337, interaction -.810, standard deviation .236
    X, plate, y, n = _plates()
    other = np.column_stack([X[:, 0], 1 - X[:, 1], X[:, 2], (1 - X[:, 1]) * X[:, 2]])
    fit = fit_random_intercept(other, plate, y, n)
    assert fit.coefficients == pytest.approx([-0.548, 0.097, 1.337, -0.810], abs=6e-4)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors == pytest.approx([0.167, 0.278, 0.237, 0.385], abs=6e-4)
    assert fit.sigma == pytest.approx(0.236, abs=5e-4)


@pytest.mark.parametrize(("nodes", "reached"), [(7, 2e-2), (15, 9e-5), (25, 2e-6), (31, 1e-7)])
def test_precision_by_number_of_nodes(nodes, reached):
    # the hardest case of the bank: one row a cluster would be easier
    data, expected = BANK["children"]
    fit = fit_random_intercept(*data, nodes=nodes)
    assert fit.coefficients == pytest.approx(list(expected["beta"].values()), rel=reached)


def test_likelihood_by_plain_integration():
    data, _ = BANK["arms"]
    fit = fit_random_intercept(*data)
    X, _, y, n = data
    total = 0.0
    for row, events, size in zip(X, y, n, strict=True):
        eta = float(row @ fit.coefficients)

        def chance(u, eta=eta, events=events, size=size):
            return binom.pmf(events, size, expit(eta + fit.sigma * u)) * norm.pdf(u)

        total += math.log(quad(chance, -9, 9, epsabs=1e-13)[0])
    assert fit.loglik == pytest.approx(total, rel=1e-8)


def test_units_one_by_one_and_grouped_give_the_same():
    X, herd, y, m = _cattle()
    rows = np.repeat(np.arange(len(y)), m)
    ones = np.concatenate([np.r_[np.ones(a), np.zeros(b - a)] for a, b in zip(y, m, strict=True)])
    grouped, single = (
        fit_random_intercept(X, herd, y, m),
        fit_random_intercept(X[rows], herd[rows], ones),
    )
    assert single.coefficients == pytest.approx(grouped.coefficients, rel=1e-9)
    assert single.sigma == pytest.approx(grouped.sigma, rel=1e-9)
    assert single.df == pytest.approx(grouped.df)
    assert single.statistic == pytest.approx(grouped.statistic, rel=1e-7)


def test_many_trials_at_once_equal_each_alone():
    rng = np.random.default_rng(3)
    X = np.column_stack([np.ones(16), np.repeat([0, 1], 8)])
    y = rng.binomial(12, expit(-1.3 + rng.normal(0, 0.7, (30, 16))))
    many = fit_random_intercept_many(X, np.arange(16), y, np.full(16, 12), nodes=31)
    assert many.converged.all()
    for k in range(30):
        one = fit_random_intercept(X, np.arange(16), y[k], np.full(16, 12))
        assert many.coefficients[k] == pytest.approx(one.coefficients, abs=1e-6)
        assert many.sigma[k] == pytest.approx(one.sigma, abs=1e-6)
        assert many.covariances[k] == pytest.approx(one.covariance, rel=1e-5)


def test_like_clusters_give_a_variance_of_zero_and_the_plain_fit():
    X = np.column_stack([np.ones(8), np.repeat([0, 1], 4)])
    fit = fit_random_intercept(X, np.arange(8), [2, 2, 2, 2, 5, 5, 5, 5], [10] * 8)
    assert fit.at_zero
    assert (fit.sigma, fit.statistic, fit.p) == (0, 0, 1)
    assert "variance at zero" in fit.notes[0]
    plain = [math.log(8 / 32), math.log(20 / 20) - math.log(8 / 32)]
    assert fit.coefficients == pytest.approx(plain, rel=1e-8)
    error = math.sqrt(1 / 8 + 1 / 32 + 1 / 20 + 1 / 20)
    assert math.sqrt(fit.covariance[1, 1]) == pytest.approx(error, rel=1e-7)
    assert latent_correlation(fit) == 0
    assert share_correlation(fit, [1, 0]) == pytest.approx(0, abs=1e-12)


def test_an_arm_without_events_is_refused_and_said():
    X = np.column_stack([np.ones(6), np.repeat([0, 1], 3)])
    fit = fit_random_intercept(X, range(6), [0, 0, 0, 2, 0, 8], [10] * 6)
    assert not fit.converged
    assert np.isnan(fit.coefficients).all()
    assert math.isnan(fit.p)
    assert "Firth" in fit.notes[0]


def test_every_cluster_all_or_nothing_does_not_pass_for_a_fit():
    fit = fit_random_intercept(np.ones((6, 1)), range(6), [0, 10, 0, 10, 0, 10], [10] * 6)
    assert not fit.converged or fit.sigma > 3


def test_lost_clusters_take_no_part():
    X, plate, y, n = _plates()
    short = fit_random_intercept(X[2:], plate[2:], y[2:], n[2:])
    y, n = y.copy(), n.copy()
    y[:2], n[:2] = 0, 0
    lost = fit_random_intercept(X, plate, y, n)
    assert lost.coefficients == pytest.approx(short.coefficients, rel=1e-7)
    assert lost.df == pytest.approx(short.df)
    assert lost.clusters == short.clusters


def test_labels_that_do_not_fit():
    with pytest.raises(ValueError, match="cluster labels"):
        fit_random_intercept([[1], [1]], [1, 2, 3], [0, 1], [5, 5])


def test_degrees_of_freedom_between_and_within():
    # 6 clusters of 10 units: a treatment of whole clusters, a covariate inside them
    cluster = np.repeat(np.arange(6), 2)
    X = np.column_stack([np.ones(12), cluster >= 3, np.tile([0, 1], 6)])
    assert between_within_df(X, cluster, 60).tolist() == [4, 4, 53]
    two = np.column_stack([np.ones(2), [0, 1]])
    assert between_within_df(two, [0, 1], 40).tolist() == [0, 0]


def test_contrast_of_arms():
    data, expected = BANK["arms"]
    fit = fit_random_intercept(*data)
    found = odds_contrast(fit, [0, 1])
    assert found.df == 11
    assert found.error == pytest.approx(expected["se"]["armB"], rel=1e-6)
    assert found.high - found.value == pytest.approx(2.200985 * found.error, rel=1e-6)
    assert found.p == pytest.approx(0.098, abs=5e-4)  # near the t of cluster shares, .098
    reduced = fit_random_intercept(data[0][:, :1], *data[1:])
    test = compare_nested(fit, reduced)
    assert test.df == 1
    assert 0.03 < test.p < found.p  # the chi-squared tail is too short with 13 clusters
    with pytest.raises(ValueError, match="fewer columns"):
        compare_nested(reduced, fit)


def test_two_clusters_leave_no_degrees_of_freedom():
    fit = fit_random_intercept(np.column_stack([np.ones(2), [0, 1]]), [0, 1], [3, 5], [10, 10])
    found = odds_contrast(fit, [0, 1])
    assert found.df == 0
    assert math.isnan(found.p)
    assert math.isnan(found.low)


def test_correlations_and_shares_by_plain_integration():
    data, _ = BANK["arms"]
    fit = fit_random_intercept(*data)
    eta = float(fit.coefficients.sum())
    mean, square = (
        quad(lambda u, k=k: expit(eta + fit.sigma * u) ** k * norm.pdf(u), -9, 9)[0] for k in (1, 2)
    )
    assert marginal_share(fit, [1, 1]) == pytest.approx(mean, rel=1e-7)
    correlation = (square - mean**2) / (mean * (1 - mean))
    assert share_correlation(fit, [1, 1]) == pytest.approx(correlation, rel=1e-6)
    latent = fit.sigma**2 / (fit.sigma**2 + math.pi**2 / 3)
    assert latent_correlation(fit) == pytest.approx(latent)
    assert share_correlation(fit, [1, 1]) < latent


def _mice():
    d = frame("bank/mice")
    X = np.column_stack([np.ones(len(d)), d.group == "TREAT"]).astype(float)
    return X, d.y.to_numpy(), d.n.to_numpy()


def _without_cluster(data, columns=4):
    X, _, y, n = data
    return X[:, :columns], y, n


OVERDISPERSED = case("bank/o-bin-10-orob2-overdispersion")["results"]
BETA = {
    "plates": (_without_cluster(_plates()), OVERDISPERSED["betabinomial"]),
    "plates, additive": (_without_cluster(_plates(), 3), OVERDISPERSED["betabinomial_additive"]),
    "mice": (_mice(), case("bank/o-bin-12-mice-litters")["results"]["betabinomial"]),
    "arms": (
        _without_cluster(_arms()),
        case("bank/o-bin-19-cluster-trial")["results"]["betabinomial"],
    ),
}


@pytest.mark.parametrize("name", BETA)
def test_beta_binomial_of_the_bank(name):
    data, expected = BETA[name]
    fit = fit_beta_binomial(*data)
    assert fit.converged
    assert fit.coefficients == pytest.approx(list(expected["beta"].values()), rel=1e-7)
    assert fit.rho == pytest.approx(expected["rho"], rel=1e-7)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors == pytest.approx(list(expected["se"].values()), rel=1e-6)
    known = expected["se_logit_rho"]["logit_rho"]
    assert fit.logit_rho_error == pytest.approx(known, rel=1e-6)
    assert fit.loglik == pytest.approx(expected["logLik"], rel=1e-9)


def test_beta_binomial_without_spread_is_binomial():
    fit = fit_beta_binomial([[1]] * 4, [2, 2, 2, 2], [10] * 4)
    assert fit.at_zero
    assert (fit.rho, fit.p, fit.logit_rho) == (0, 1, -math.inf)
    assert fit.coefficients[0] == pytest.approx(math.log(0.25), rel=1e-9)
    assert fit.loglik == pytest.approx(4 * binom.logpmf(2, 10, 0.2), rel=1e-9)


def test_beta_binomial_without_events_in_an_arm_gives_no_number():
    X = np.column_stack([np.ones(6), np.repeat([0, 1], 3)])
    fit = fit_beta_binomial(X, [0, 0, 0, 2, 0, 8], [10] * 6)
    assert not fit.converged
    assert np.isnan(fit.coefficients).all()
