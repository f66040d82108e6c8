"""Meta-regression, trials that stand apart, predictions and odds over trials."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.special import expit

from analyses.models.counts.random_intercept import fit_random_intercept
from analyses.models.pooled import partly_pooled, pool
from analyses.models.trials_together.apart import stand_apart
from analyses.models.trials_together.explained import regress_on
from analyses.models.trials_together.heterogeneity import q_statistic
from analyses.models.trials_together.odds_together import fit_odds_together
from analyses.models.trials_together.prediction import (
    draw_between_variance,
    draw_one_more,
    draw_together,
    predict_one_more,
)
from tests.reference.load import case, frame

BCG = case("bank/o-meta-01-bcg")["results"]
VACCINE = frame("bank/dat_bcg")
Y, V = np.array(BCG["yi"]), np.array(BCG["vi"])


def test_meta_regression_of_the_bank():
    # Colditz et al. (1994): log risk ratio on latitude, with Knapp and Hartung's inference
    known = BCG["meta_regression_ablat_knha"]
    found = regress_on(Y, V, VACCINE[["ablat"]].to_numpy())
    assert found.coefficients == pytest.approx(known["b"], rel=1e-8)
    assert found.errors == pytest.approx(known["se"], rel=1e-8)
    assert found.tau2 == pytest.approx(known["tau2"], rel=1e-8)
    assert (found.f, found.p) == pytest.approx((known["QM"], known["QMp"]), rel=1e-8)
    assert (found.num_df, found.den_df) == (1, 11)


def test_meta_regression_on_names_of_the_bank():
    known = BCG["moderator_alloc"]
    columns = [VACCINE.alloc == name for name in ("random", "systematic")]
    found = regress_on(Y, V, np.column_stack(columns).astype(float))
    assert found.coefficients == pytest.approx(known["b"], rel=1e-8)
    assert found.tau2 == pytest.approx(known["tau2"], rel=1e-8)


def test_meta_regression_without_variance_between_trials_is_weighted_least_squares():
    import statsmodels.api as sm

    x, v = np.arange(6.0), np.array([1.0, 2, 1, 3, 1, 2])
    y = 2 + 0.1 * x + 0.01 * np.array([1, -1, 1, -1, 1, -1])
    found = regress_on(y, v, x[:, None])
    other = sm.WLS(y, sm.add_constant(x), weights=1 / v).fit()
    assert found.tau2 == 0
    assert found.coefficients == pytest.approx(other.params, rel=1e-10)
    assert found.errors == pytest.approx(other.bse, rel=1e-10)


@pytest.mark.parametrize("columns", [np.eye(3)[:, :2], np.ones((3, 1))])
def test_columns_that_leave_nothing_over_are_refused(columns):
    with pytest.raises(ValueError, match="columns"):
        regress_on([1.0, 2.0, 3.0], [1.0, 1.0, 1.0], columns)


def test_each_trial_left_out_of_the_bank():
    known = BCG["leave_one_out"]
    found = stand_apart(Y, V)
    assert found.averages == pytest.approx(known["estimate"], rel=1e-8)
    assert found.errors == pytest.approx(known["se"], rel=1e-8)
    assert found.tau2 == pytest.approx(known["tau2"], rel=1e-8)
    assert found.away == pytest.approx(Y - known["estimate"])


def test_one_trial_far_from_the_others_stands_apart():
    found = stand_apart([1.0, 1.1, 0.9, 1.0, 9.0], np.full(5, 0.04))
    assert found.p[4] < 0.001
    assert (found.p[:4] > 0.3).all()
    assert np.isnan(stand_apart([1.0, 2.0], [1.0, 1.0]).p).all()


def test_drawn_variances_follow_the_distribution_of_q():
    # P(tau2 <= t) must be the chance that Q at t exceeds the Q that was seen.
    rng = np.random.default_rng(5)
    v = np.array([0.3, 1.0, 0.5, 2.0, 0.8])
    y = np.array([0.1, 2.5, -0.6, 1.9, 0.4])
    drawn = draw_between_variance(y, v, 200_000, rng)
    seen = q_statistic(y, v, np.asarray(0.0))
    for tau2 in (0.0, 0.4, 2.0):
        made = rng.normal(0, np.sqrt(v + tau2), (200_000, 5))
        chance = (
            q_statistic(made, np.broadcast_to(v, made.shape), np.zeros(200_000)) >= seen
        ).mean()
        assert (drawn <= tau2).mean() == pytest.approx(chance, abs=0.005)


def test_prediction_of_alike_trials_with_known_spread():
    # With equal variances the average at any variance between trials is the plain mean.
    y, v = np.array([1.0, 3.0, 2.5, 4.0, 1.5]), np.full(5, 1e-9)
    drawn = draw_one_more(y, v, 400_000, np.random.default_rng(1))
    assert np.median(drawn) == pytest.approx(y.mean(), abs=0.01)
    # Without error within trials the confidence distribution of the variance is the usual one, so
    # the prediction is Student's: mean +- t s sqrt(1 + 1/k) on k - 1 (Geisser 1993, section 2.2).
    reach = 2.776445 * y.std(ddof=1) * np.sqrt(1 + 1 / 5)
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert (y.mean() - low, high - y.mean()) == pytest.approx((reach, reach), rel=0.02)


def test_prediction_is_wider_than_the_average_and_deterministic():
    found, again = (predict_one_more(Y, V, seed=3) for _ in range(2))
    assert (found.low, found.high) == (again.low, again.high)
    average = pool(Y, V)
    assert found.low < average.low < average.high < found.high
    assert found.chance_above(found.low) == pytest.approx(0.975, abs=3e-3)
    assert found.chance_above(np.inf) == 0
    with pytest.raises(ValueError, match="two trials"):
        predict_one_more([1.0], [1.0], seed=1)


def test_drawn_together_is_near_empirical_bayes_where_the_spread_is_known_well():
    rng = np.random.default_rng(8)
    v = rng.uniform(0.5, 1.0, 150)
    y = rng.normal(0, np.sqrt(v + 2))
    found, plain = draw_together(y, v, seed=1), partly_pooled(y, v, pool(y, v))
    assert found.values == pytest.approx(plain.values, abs=0.05)
    assert found.highs - found.lows == pytest.approx(plain.highs - plain.lows, rel=0.06)
    assert found.own_share == pytest.approx(plain.own_share, abs=0.03)


def test_odds_with_one_effect_are_a_random_intercept():
    # Where the effect does not vary the model is the one that the bank checks.
    lost = np.array([[3, 2], [6, 4], [1, 1], [9, 7], [4, 2], [0, 0]])
    made = np.array([[20, 20], [22, 21], [18, 20], [25, 24], [20, 19], [15, 15]])
    found = fit_odds_together(lost, made, nodes=31)
    assert found.sigma_effect == 0
    assert found.differ_p == 1
    side = np.tile([-0.5, 0.5], 6)
    design = np.column_stack([np.ones(12), side])
    other = fit_random_intercept(design, np.repeat(np.arange(6), 2), lost.ravel(), made.ravel())
    assert found.value == pytest.approx(other.coefficients[1], rel=1e-4)
    assert found.error == pytest.approx(np.sqrt(other.covariance[1, 1]), rel=1e-3)
    assert found.sigma_level == pytest.approx(other.sigma, rel=1e-4)


def test_odds_of_the_vaccine_trials():
    counts = VACCINE[["cpos", "tpos"]].to_numpy(), VACCINE[["cneg", "tneg"]].to_numpy()
    found = fit_odds_together(counts[0], counts[0] + counts[1])
    finer = fit_odds_together(counts[0], counts[0] + counts[1], nodes=31)
    assert found.value == pytest.approx(finer.value, abs=1e-6)
    assert found.error == pytest.approx(finer.error, abs=1e-6)
    # The two-stage answer of van Houwelingen et al. (2002) by maximum likelihood: 0.4762, 0.3025.
    assert np.exp(found.value) == pytest.approx(0.4762, abs=0.015)
    assert found.sigma_effect**2 == pytest.approx(0.3025, abs=0.03)


def test_odds_likelihood_is_the_integral():
    lost, made = np.array([[2, 0], [5, 1], [3, 4]]), np.array([[10, 10], [12, 11], [9, 10]])
    found = fit_odds_together(lost, made, nodes=41)
    total = 0.0
    for y, n in zip(lost, made, strict=True):

        def height(w, u, y=y, n=n):
            eta = [
                found.base + u * found.sigma_level + x * (found.value + w * found.sigma_effect)
                for x in (-0.5, 0.5)
            ]
            likely = np.prod(
                [expit(e) ** a * expit(-e) ** (b - a) for e, a, b in zip(eta, y, n, strict=True)]
            )
            return likely * np.exp(-(u * u + w * w) / 2) / (2 * np.pi)

        total += np.log(dblquad(height, -8, 8, -8, 8)[0])
    assert found.loglik == pytest.approx(total, abs=1e-6)


def test_odds_keep_trials_without_a_loss_and_count_alike_ones_once():
    lost, made = np.array([[3, 1], [4, 2], [0, 0]]), np.full((3, 2), 20)
    found = fit_odds_together(lost, made)
    assert found.df == 2
    without = fit_odds_together(lost[:2], made[:2])
    assert found.base < without.base
    twice = fit_odds_together(np.vstack([lost, lost]), np.vstack([made, made]))
    assert twice.loglik == pytest.approx(2 * found.loglik, rel=1e-6)


def test_odds_without_an_end_say_so():
    found = fit_odds_together([[3, 0], [4, 0]], [[10, 10], [10, 10]])
    assert not found.converged
    assert np.isnan(found.value)
    with pytest.raises(ValueError, match="two columns"):
        fit_odds_together([[1, 2]], [[3, 3]])
    with pytest.raises(ValueError, match="between 0"):
        fit_odds_together([[4, 2], [1, 1]], [[3, 3], [3, 3]])


def test_heart_trials_with_empty_cells_of_the_bank():
    # Yusuf et al. (1985), table 6: log odds, half a patient added where a cell is empty
    known = case("bank/o-meta-04-yusuf-peto")["results"]
    d = frame("bank/dat_yusuf1985")
    d = d[(d.table.astype(str) == "6") & d.ai.notna()]
    cells = np.array([d.ai, d.n1i - d.ai, d.ci, d.n2i - d.ci], float)
    cells += 0.5 * (cells == 0).any(axis=0)
    y, v = np.log(cells[0] * cells[3] / (cells[1] * cells[2])), (1 / cells).sum(axis=0)
    assert y == pytest.approx(np.array(known["yi"]), rel=1e-10)
    for spread in ("REML", "DL", "FE"):
        block, found = known["inverse_variance"][spread], pool(y, v, spread=spread)
        plain = pool(y, v, spread=spread, inference="normal")
        assert (plain.value, plain.error) == pytest.approx((block["mu"], block["se"]), rel=1e-7)
        assert plain.q == pytest.approx(block["Q"], rel=1e-7)
        if spread != "FE":
            assert plain.tau2 == pytest.approx(block["tau2"], abs=1e-9)
            assert found.error == pytest.approx(block["knha"]["se"], rel=1e-7)
