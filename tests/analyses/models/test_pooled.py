"""Pooling of trials against published and computed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from analyses.models.pooled import chance_above, partly_pooled, pool
from analyses.models.trials_together.heterogeneity import between_variance, q_profile, q_statistic
from tests.reference.load import case, frame

BCG = case("pool_bcg")


def _compared(a, n1, c, n2, measure):
    """Give log odds ratios or differences of shares, and their variances."""
    if measure == "or":
        b, e = n1 - a, n2 - c
        return np.log(a * e / (b * c)), 1 / a + 1 / b + 1 / c + 1 / e
    p, q = a / n1, c / n2
    return p - q, p * (1 - p) / n1 + q * (1 - q) / n2


def _smoking(measure):
    d = frame("bank/smoking")
    return _compared(d.qt, d.tt, d.qc, d.tc, measure)


def _hine(measure):
    d = frame("bank/dat_hine1989")
    return _compared(d.ai, d.n1i, d.ci, d.n2i, measure)


def _curtis():
    d = frame("bank/dat_curtis1998")
    y = np.log(d.m1i / d.m2i)
    return y, d.sd1i**2 / (d.n1i * d.m1i**2) + d.sd2i**2 / (d.n2i * d.m2i**2)


def _listed(name, *path):
    block = case(f"bank/{name}")["results"]
    for step in path:
        block = block[step]
    return block


MD = _listed("o-meta-02-normand-md", "md")
SITES = _listed("o-meta-06-antigua-sites")
CASES = {
    "bcg": (BCG["yi"], BCG["vi"], _listed("o-meta-01-bcg", "random_effects")),
    "normand": (MD["yi"], MD["vi"], MD["random_effects"]),
    "curtis": (*_curtis(), _listed("o-meta-03-curtis-lnrr", "mean_lnrr")),
    "smoking or": (*_smoking("or"), _listed("o-meta-05-smoking-or", "or")),
    "smoking rd": (*_smoking("rd"), _listed("o-meta-05-smoking-or", "rd")),
    "sites": (SITES["yi"], SITES["vi"], SITES["random_effects"]),
    "hine rd": (*_hine("rd"), _listed("o-meta-07-hine-rd", "rd")),
    "hine or": (*_hine("or"), _listed("o-meta-07-hine-rd", "or")),
}
ROWS = [
    (name, spread)
    for name, (_, _, block) in CASES.items()
    for spread in ("FE", "DL", "PM", "ML", "REML")
    if spread in block
]


@pytest.mark.parametrize(("name", "spread"), ROWS)
def test_pools_of_the_bank(name, spread):
    y, v, block = CASES[name]
    known, size = block[spread], dict(rel=1e-7, abs=1e-9)
    found = pool(y, v, spread=spread, inference="normal")
    assert found.trials == block["k"]
    assert (found.value, found.error) == pytest.approx((known["mu"], known["se"]), **size)
    assert [found.low, found.high] == pytest.approx(known["ci"], **size)
    assert found.p == pytest.approx(known["p"], rel=1e-6)
    assert (found.q, found.q_p) == pytest.approx((known["Q"], known["Q_p"]), rel=1e-7)
    if spread == "FE":
        return
    assert found.tau2 == pytest.approx(known["tau2"], rel=1e-7, abs=1e-10)
    assert (found.i2, found.h2) == pytest.approx((known["I2"], known["H2"]), **size)
    assert [found.predict_low, found.predict_high] == pytest.approx(
        known["prediction_interval_z"], **size
    )
    limits = known["Qprofile"]["tau2"]
    assert [found.tau2_low, found.tau2_high] == pytest.approx(limits, rel=1e-7, abs=1e-10)
    known, found = known["knha"], pool(y, v, spread=spread)
    assert (found.error, found.df) == pytest.approx((known["se"], known["df"]), **size)
    assert [found.low, found.high] == pytest.approx(known["ci"], **size)
    assert found.p == pytest.approx(known["p"], rel=1e-6)
    assert [found.predict_low, found.predict_high] == pytest.approx(
        known["prediction_interval"], **size
    )


@pytest.mark.parametrize("spread", ["FE", "DL", "PM", "REML"])
def test_vaccine_trials_of_the_reference(spread):
    # Colditz et al. (1994), JAMA 271, 698-702, log risk ratios
    known = BCG[spread]
    plain = pool(BCG["yi"], BCG["vi"], spread=spread, inference="normal")
    for field, key in [("value", "mu"), ("error", "se"), ("low", "low"), ("high", "high")]:
        assert getattr(plain, field) == pytest.approx(known[key], rel=1e-6)
    for field, key in [("tau2", "tau2"), ("q", "Q"), ("q_p", "Q_p"), ("i2", "I2")]:
        assert getattr(plain, field) == pytest.approx(known[key], rel=1e-6)
    if spread == "FE":
        return
    assert plain.predict_low == pytest.approx(known["predict_low"], rel=1e-6)
    assert plain.predict_high == pytest.approx(known["predict_high"], rel=1e-6)
    hartung = pool(BCG["yi"], BCG["vi"], spread=spread)
    for field, key in [("error", "hk_se"), ("low", "hk_low"), ("high", "hk_high"), ("p", "hk_p")]:
        assert getattr(hartung, field) == pytest.approx(known[key], rel=1e-6)
    assert hartung.predict_low == pytest.approx(known["hk_predict_low"], rel=1e-6)
    assert hartung.predict_high == pytest.approx(known["hk_predict_high"], rel=1e-6)


def test_limits_of_the_variance_solve_their_equation():
    y, v = np.array(BCG["yi"]), np.array(BCG["vi"])
    low, high = q_profile(y, v)
    # chi-squared quantiles on 12 degrees of freedom: 23.33666, 4.403789
    assert q_statistic(y, v, low) == pytest.approx(23.3366642, rel=1e-8)
    assert q_statistic(y, v, high) == pytest.approx(4.4037885, rel=1e-8)
    # The reference's own search stops at 2e-4; the bank solves the equation.
    assert [low, high] == pytest.approx(BCG["REML"]["tau2_qprofile"], rel=3e-4)


def test_teacher_expectancy_as_published():
    # Raudenbush (2009), in Cooper et al., Handbook of Research Synthesis, tables 16.2 and 16.3
    y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80, 0.54, 0.18, -0.02, 0.23]
    y += [-0.18, -0.06, 0.30, 0.07, -0.07]
    v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630, 0.0912]
    v += [0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    plain, hartung = pool(y, v, inference="normal"), pool(y, v)
    assert plain.q == pytest.approx(35.83, abs=5e-3)
    assert plain.tau2 == pytest.approx(0.0188, abs=1e-4)
    assert (plain.value, plain.error) == pytest.approx((0.0837, 0.0516), abs=1e-4)
    assert (plain.low, plain.high) == pytest.approx((-0.0175, 0.1849), abs=2e-4)
    assert (plain.predict_low, plain.predict_high) == pytest.approx((-0.2036, 0.3711), abs=3e-4)
    assert (hartung.error, hartung.statistic) == pytest.approx((0.0616, 1.3593), abs=2e-4)
    assert (hartung.low, hartung.high) == pytest.approx((-0.0457, 0.2131), abs=2e-4)
    ahead = hartung.predict_low, hartung.predict_high
    assert ahead == pytest.approx((-0.2323, 0.3997), abs=3e-4)
    other = pool(y, v, spread="DL")
    assert (other.tau2, other.value, other.error) == pytest.approx(
        (0.0259, 0.0893, 0.0636), abs=1e-4
    )
    other = pool(y, v, spread="ML")
    assert (other.value, other.error) == pytest.approx((0.0777, 0.0593), abs=1e-4)


def test_vaccine_odds_by_maximum_likelihood():
    # van Houwelingen, Arends & Stijnen (2002), Statist. Med. 21, 589-624
    d = frame("bank/dat_bcg")
    y = np.log(d.tpos * d.cneg / (d.tneg * d.cpos))
    v = 1 / d.tpos + 1 / d.tneg + 1 / d.cpos + 1 / d.cneg
    fixed = pool(y, v, spread="FE", inference="normal")
    odds = [math.exp(one) for one in (fixed.value, fixed.low, fixed.high)]
    assert odds == pytest.approx([0.6465, 0.5951, 0.7024], abs=6e-5)
    random = pool(y, v, spread="ML", inference="normal")
    odds = [math.exp(one) for one in (random.value, random.low, random.high)]
    assert odds == pytest.approx([0.4762, 0.3360, 0.6749], abs=6e-5)
    assert random.tau2 == pytest.approx(0.3025, abs=6e-5)
    # The paper's interval for a new trial leaves out the error of the average.
    reach = 1.959964 * math.sqrt(random.tau2)
    assert (random.value - reach, random.value + reach) == pytest.approx(
        (-1.8199, 0.3359), abs=2e-4
    )


def test_statsmodels_agrees():
    y, v = np.array(BCG["yi"]), np.array(BCG["vi"])
    for method, spread in [("dl", "DL"), ("iterated", "PM")]:
        other = combine_effects(y, v, method_re=method, atol=1e-12, use_t=True)
        found = pool(y, v, spread=spread)
        assert found.tau2 == pytest.approx(other.tau2, rel=1e-6)
        assert found.error == pytest.approx(np.sqrt(other.var_hksj_re), rel=1e-6)


def test_many_sets_at_once():
    rng = np.random.default_rng(2)
    v = rng.uniform(0.05, 0.4, (200, 6))
    y = rng.normal(0, np.sqrt(v + 0.15))
    for spread in ("DL", "PM", "ML", "REML"):
        many = between_variance(y, v, spread)
        each = [float(between_variance(y[k], v[k], spread)) for k in range(200)]
        assert many == pytest.approx(np.array(each), rel=1e-9, abs=1e-12)
        assert (many == 0).any()


def test_equal_trials_are_the_plain_t_interval():
    # With one variance for all, Hartung-Knapp is Student's t of the estimates.
    y = np.array([1.0, 3.0, 2.5, 4.0, 1.5])
    found = pool(y, np.full(5, 0.01))
    assert found.value == pytest.approx(y.mean())
    assert found.error == pytest.approx(y.std(ddof=1) / math.sqrt(5))
    assert found.tau2 == pytest.approx(y.var(ddof=1) - 0.01, rel=1e-9)
    plain = pool(y, np.full(5, 100.0))
    assert plain.tau2 == plain.tau2_low == 0
    wide = pool(y, np.full(5, 100.0), at_least_fixed=True)
    assert wide.error == pytest.approx(math.sqrt(20))
    assert plain.error < wide.error


def test_one_giant_trial_among_small_ones():
    y, v = [0.0, 1.0, 1.2], [1e-6, 0.5, 0.6]
    assert pool(y, v, spread="FE").value == pytest.approx(0.0, abs=1e-5)
    found = pool(y, v)
    assert 0.1 < found.value < 0.7  # random effects let the small trials speak
    assert found.predict_low < found.low < found.high < found.predict_high


def test_two_trials():
    found = pool([0.1, 0.9], [0.04, 0.05])
    assert found.df == 1
    assert found.predict_high - found.predict_low >= found.high - found.low > 0


def test_partial_pooling():
    y, v = [0.0, 1.0, 2.0], [0.5, 0.1, 0.9]
    found = pool(y, v)
    part = partly_pooled(y, v, found)
    share = found.tau2 / (found.tau2 + np.array(v))
    assert part.own_share == pytest.approx(share)
    assert part.values == pytest.approx(share * y + (1 - share) * found.value)
    assert (part.errors < np.sqrt(v)).all()
    assert (part.lows < part.values).all()
    same = pool(y, np.full(3, 50.0))
    assert partly_pooled(y, np.full(3, 50.0), same).values == pytest.approx(same.value)


def test_chance_that_one_more_trial_is_worth_it():
    found = pool(BCG["yi"], BCG["vi"])
    assert chance_above(found, found.value) == pytest.approx(0.5)
    assert chance_above(found, found.predict_low) == pytest.approx(0.975)
    assert chance_above(found, found.predict_high) == pytest.approx(0.025)
    plain = pool(BCG["yi"], BCG["vi"], inference="normal")
    assert chance_above(plain, plain.predict_high) == pytest.approx(0.025)


@pytest.mark.parametrize(
    ("y", "v", "words"),
    [
        ([1.0], [1.0], "two trials"),
        ([1.0, 2.0], [1.0], "equal rows"),
        ([1.0, 2.0], [1.0, 0.0], "above zero"),
        ([1.0, math.nan], [1.0, 1.0], "finite"),
    ],
)
def test_trials_that_cannot_be_pooled(y, v, words):
    with pytest.raises(ValueError, match=words):
        pool(y, v)


def test_an_unknown_spread_is_refused():
    with pytest.raises(ValueError, match="spread"):
        pool([1.0, 2.0], [1.0, 1.0], spread="HO")
