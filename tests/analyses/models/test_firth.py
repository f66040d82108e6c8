"""Penalised logistic fits and profile intervals against published and computed values."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.special import expit

from analyses.models.counts.firth import fit_firth, fit_firth_many
from analyses.models.counts.firth_profile import penalised_test, profile_interval
from tests.reference.load import case, frame, matrix


def _dummies(column, levels):
    return [np.asarray(column == level, float) for level in levels]


def _endometrial():
    d = frame("firth_endometrial")
    return np.column_stack([np.ones(len(d)), d.NV, d.PI, d.EH]), d.HG.to_numpy(), None


def _separated():
    d = frame("bank/sim_sep_open")
    X = np.column_stack([np.ones(len(d)), d.recipe == "pasteurised", d.moisture])
    return X.astype(float), d.spoiled.to_numpy(), None


def _contaminated(batch):
    d = frame("bank/sim_contam_open")
    columns = [np.ones(len(d)), *_dummies(d.recipe, ["bran", "lime", "straw"])]
    if batch:
        columns += _dummies(d.batch, [f"R{k}" for k in range(2, 7)])
    return np.column_stack(columns), d.contaminated.to_numpy(), d.bags.to_numpy()


CONTAMINATED = case("bank/o-bin-16-simcontam")["results"]
BANK = {
    "endometrial": (_endometrial(), case("bank/o-bin-03-endometrial-firth")["results"]),
    "separated": (_separated(), case("bank/o-bin-04-simsep-firth")["results"]["firth"]),
    "recipe": (_contaminated(False), CONTAMINATED["firth_recipe"]),
    "recipe and batch": (_contaminated(True), CONTAMINATED["firth_recipe_batch"]),
}


@pytest.mark.parametrize("name", BANK)
def test_fits_of_the_bank(name):
    data, expected = BANK[name]
    fit = fit_firth(*data)
    assert fit.converged
    assert fit.coefficients == pytest.approx(list(expected["coef"].values()), rel=1e-7)
    assert fit.covariance == pytest.approx(matrix(expected["vcov"]), rel=1e-7)
    assert fit.loglik == pytest.approx(expected["penalised_loglik"], rel=1e-9)


@pytest.mark.parametrize("name", BANK)
def test_profiles_of_the_bank(name):
    data, expected = BANK[name]
    fit = fit_firth(*data)
    for place, term in enumerate(expected["coef"]):
        found = profile_interval(fit, np.eye(len(fit.coefficients))[place])
        limits = expected["profile_ci"]["values"][place]
        assert [found.low, found.high] == pytest.approx(limits, rel=1e-7)
        assert found.statistic == pytest.approx(expected["plr_chisq"][term], rel=1e-7)
        assert found.p == pytest.approx(expected["plr_p"][term], rel=1e-6)


def test_endometrial_as_published():
    # Heinze & Schemper (2002), Statist. Med. 21, 2409-2419: NV 2.93, interval 0.61 to 7.85
    known, fit = case("firth_endometrial"), fit_firth(*_endometrial())
    assert fit.coefficients == pytest.approx([3.7746, 2.9293, -0.0348, -2.6042], abs=6e-5)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors == pytest.approx([1.4887, 1.5508, 0.0396, 0.7760], abs=6e-5)
    found = profile_interval(fit, [0, 1, 0, 0])
    assert (round(found.low, 2), round(found.high, 2)) == (0.61, 7.85)
    assert fit.loglik == pytest.approx(known["penalised_loglik"], rel=1e-9)
    for place in range(4):
        found = profile_interval(fit, np.eye(4)[place])
        assert found.low == pytest.approx(known["profile_low"][place], rel=1e-6)
        assert found.high == pytest.approx(known["profile_high"][place], rel=1e-6)
        assert found.statistic == pytest.approx(known["penalised_lr"][place], rel=1e-6)


def test_a_saturated_fit_adds_half_a_unit_to_each_cell():
    # Firth (1993), section 3.3: one parameter a group, so the groups stand alone.
    for x1, x2 in itertools.product([0, 1, 7, 12], [0, 3, 20]):
        fit = fit_firth([[1, 0], [0, 1]], [x1, x2], [12, 20])
        expected = [np.log((x1 + 0.5) / (12.5 - x1)), np.log((x2 + 0.5) / (20.5 - x2))]
        assert fit.coefficients == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_units_one_by_one_and_grouped_give_the_same():
    X, y, m = _contaminated(True)
    rows = np.repeat(np.arange(len(y)), m)
    ones = np.concatenate([np.r_[np.ones(a), np.zeros(b - a)] for a, b in zip(y, m, strict=True)])
    grouped, single = fit_firth(X, y, m), fit_firth(X[rows], ones)
    assert single.coefficients == pytest.approx(grouped.coefficients, rel=1e-8)
    assert single.loglik == pytest.approx(grouped.loglik, rel=1e-9)


def test_many_trials_at_once_equal_each_alone():
    X, _, m = _contaminated(True)
    y = np.random.default_rng(5).binomial(m, 0.08, (40, len(m)))
    many = fit_firth_many(X, y, m)
    assert many.converged.all()
    for k in range(40):
        one = fit_firth(X, y[k], m)
        assert many.coefficients[k] == pytest.approx(one.coefficients, rel=1e-7, abs=1e-8)
        assert many.covariances[k] == pytest.approx(one.covariance, rel=1e-7)


def test_the_modified_score_vanishes_at_the_fit():
    X, y, m = _contaminated(True)
    fit = fit_firth(X, y, m)
    share = expit(X @ fit.coefficients)
    leverage = m * share * (1 - share) * np.einsum("ia,ab,ib->i", X, fit.covariance, X)
    assert X.T @ (y - m * share + leverage * (0.5 - share)) == pytest.approx(0, abs=1e-9)


def test_a_contrast_is_the_coefficient_of_a_turned_design():
    X, y, m = _contaminated(False)
    fit = fit_firth(X, y, m)
    turned = X.copy()
    turned[:, 1] += X[:, 2]  # now column 2 reads lime less bran
    other = fit_firth(turned, y, m)
    found = profile_interval(fit, [0, -1, 1, 0])
    same = profile_interval(other, [0, 0, 1, 0])
    assert (found.value, found.low, found.high, found.statistic) == pytest.approx(
        (same.value, same.low, same.high, same.statistic), rel=1e-7
    )


def test_joint_test_of_a_factor():
    X, y, m = _contaminated(True)
    fit = fit_firth(X, y, m)
    joint = penalised_test(fit, np.eye(9)[1:4])
    assert joint.df == 3
    singles = [penalised_test(fit, np.eye(9)[k]).statistic for k in (1, 2, 3)]
    assert joint.statistic > max(singles)
    alone = profile_interval(fit, np.eye(9)[1])
    assert singles[0] == pytest.approx(alone.statistic, rel=1e-9)
    assert penalised_test(fit, np.eye(9)).statistic > joint.statistic


def test_lost_rows_take_no_part():
    X, y, m = _contaminated(False)
    short = fit_firth(X[2:], y[2:], m[2:])
    y, m = y.copy(), m.copy()
    y[:2], m[:2] = 0, 0
    assert fit_firth(X, y, m).coefficients == pytest.approx(short.coefficients, rel=1e-8)


def test_an_arm_without_units_gives_no_number():
    fit = fit_firth([[1, 0], [1, 1]], [1, 0], [9, 0])
    assert not fit.converged
    assert np.isnan(fit.coefficients).all()
    with pytest.raises(ValueError, match="no profile"):
        profile_interval(fit, [0, 1])


@pytest.mark.parametrize(
    ("design", "events", "totals", "words"),
    [
        ([[1, 1], [1, 1]], [0, 1], None, "depend"),
        ([[1], [1]], [0, 1, 1], None, "2 rows"),
        ([[1], [1]], [0, 3], [2, 2], "between 0"),
    ],
)
def test_data_that_do_not_fit(design, events, totals, words):
    with pytest.raises(ValueError, match=words):
        fit_firth(design, events, totals)


def test_contrasts_that_do_not_fit():
    fit = fit_firth([[1, 0], [1, 1]], [1, 4], [9, 9])
    with pytest.raises(ValueError, match="3 weights"):
        profile_interval(fit, [0, 1, 0])
    with pytest.raises(ValueError, match="depend"):
        penalised_test(fit, [[0, 1], [0, 2]])
    with pytest.raises(ValueError, match="one contrast"):
        profile_interval(fit, [[0, 1], [1, 0]])
