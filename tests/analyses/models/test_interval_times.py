"""Times between looks: curves, rank tests and accelerated models against published values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.models.times.accelerated import fit_accelerated
from analyses.models.times.known_times import kaplan_meier
from analyses.models.times.time_ratios import likelihood_ratio, time_quantile, time_ratio
from analyses.models.times.turnbull import check_looks, interval_rank_test, turnbull
from tests.reference.load import case, frame, matrix

# Finkelstein & Wolfe (1985), Biometrics 41, 933-945, table 1: months to cosmetic deterioration,
# (left, right]; radiotherapy alone and with chemotherapy. KMsurv's bcdeter has 95 rows, some of
# them different.
ALONE = """45 inf 25 37 37 inf 6 10 46 inf 0 5 0 7 26 40 18 inf 46 inf 46 inf 24 inf 46 inf 27 34
36 inf 7 16 36 44 5 11 17 inf 46 inf 19 35 7 14 36 48 17 25 37 44 37 inf 24 inf 0 8 40 inf 32 inf
4 11 17 25 33 inf 15 inf 46 inf 19 26 11 15 11 18 37 inf 22 inf 38 inf 34 inf 46 inf 5 12 36 inf
46 inf"""
WITH = """8 12 0 5 30 34 0 22 5 8 13 inf 24 31 12 20 10 17 17 27 11 inf 8 21 17 23 33 40 4 9 24 30
31 inf 11 inf 16 24 13 39 14 19 13 inf 19 32 4 8 11 13 34 inf 34 inf 16 20 13 inf 30 36 18 25 16 24
18 24 17 26 35 inf 16 60 32 inf 15 22 35 39 23 inf 11 17 21 inf 44 48 22 32 11 20 14 17 10 35
48 inf"""
LOOKS = [np.array(text.split(), float).reshape(-1, 2) for text in (ALONE, WITH)]
BOTH = np.vstack(LOOKS)
SECOND = np.repeat([0.0, 1.0], [46, 48])

MASSES = [
    {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926,
     (33, 34): 0.0818, (38, 40): 0.1209, (46, 48): 0.4656},
    {(4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411,
     (19, 20): 0.1157, (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608, (44, 48): 0.0552,
     (48, 60): 0.0552},
]  # fmt: skip


@pytest.mark.parametrize("group", [0, 1])
def test_cosmesis_curves_as_published(group):
    curve = turnbull(*LOOKS[group].T)
    held = curve.mass > 1e-6
    found = {
        (a, b): m
        for a, b, m in zip(curve.left[held], curve.right[held], curve.mass[held], strict=True)
    }
    assert found.keys() == MASSES[group].keys()
    for piece, mass in MASSES[group].items():
        assert found[piece] == pytest.approx(mass, abs=6e-5)


@pytest.mark.parametrize(
    ("scores", "score", "statistic", "p"),
    [("sun", 9.141846, 2.6684, 0.007622), ("finkelstein", 9.944182, 2.6839, 0.007277)],
)
def test_cosmesis_rank_tests_as_published(scores, score, statistic, p):
    # Fay & Shaw (2010), J. Stat. Softw. 36(2), section 4, who count the first group
    found = interval_rank_test(*BOTH.T, SECOND, scores=scores)
    assert found.score == pytest.approx(score, abs=1e-5)
    assert found.statistic == pytest.approx(statistic, abs=5e-5)
    assert found.p == pytest.approx(p, abs=5e-7)
    first = interval_rank_test(*BOTH.T, 1 - SECOND, scores=scores)
    assert (first.score, first.statistic) == pytest.approx((-found.score, -found.statistic))


def test_cosmesis_weibull_as_published():
    X = np.column_stack([np.ones(94), SECOND])
    fit, plain = fit_accelerated(X, *BOTH.T), fit_accelerated(X[:, :1], *BOTH.T)
    found = time_ratio(fit, [0, 1])
    assert (math.log(found.value), found.error) == pytest.approx((-0.568, 0.176), abs=6e-4)
    assert fit.scale == pytest.approx(0.619, abs=5e-4)
    assert likelihood_ratio(fit, plain).statistic == pytest.approx(10.94, abs=5e-3)
    assert (fit.units, fit.seen) == (94, 56)


def _deteriorated():
    d = frame("bank/bcdeter")
    X = np.column_stack([np.ones(len(d)), d.treat == 2]).astype(float)
    return X, d.lower.fillna(0).to_numpy(), d.upper.fillna(np.inf).to_numpy(), d.treat.to_numpy()


def _compare(fit, known):
    assert fit.converged
    found = [*fit.coefficients, math.log(fit.scale)]
    assert found == pytest.approx(known["coef"]["Value"], rel=1e-7)
    assert fit.covariance == pytest.approx(matrix(known["vcov"]), rel=1e-6)
    assert fit.loglik == pytest.approx(known["loglik"], rel=1e-9)


@pytest.mark.parametrize("shape", ["weibull", "lognormal", "loglogistic"])
def test_deterioration_models_of_the_bank(shape):
    # the rows of Klein & Moeschberger (2003), table 1.4
    X, low, high, _ = _deteriorated()
    known = case("bank/o-surv-04-bcdeter-interval")["results"]
    fit = fit_accelerated(X, low, high, shape=shape)
    _compare(fit, known["aft"][shape])
    if shape == "weibull":
        medians = [time_quantile(fit, [1, group]).value for group in (0, 1)]
        assert medians == pytest.approx(known["weibull_median"], rel=1e-7)
        test = likelihood_ratio(fit, fit_accelerated(X[:, :1], low, high))
        assert test.statistic == pytest.approx(known["weibull_lr_treat"]["chisq"], rel=1e-7)
        assert test.p == pytest.approx(known["weibull_lr_treat"]["p"], rel=1e-7)


@pytest.mark.parametrize("shape", ["weibull", "lognormal"])
def test_deterioration_models_of_the_reference(shape):
    d = frame("interval_breast_cosmesis")
    X = np.column_stack([np.ones(len(d)), d.treat == "t2"]).astype(float)
    low, high = d.left.fillna(0).to_numpy(), d.right.fillna(np.inf).to_numpy()
    known = case("interval_breast_cosmesis")[shape]
    fit = fit_accelerated(X, low, high, shape=shape)
    assert fit.coefficients == pytest.approx(known["coef"], rel=1e-6)
    assert fit.scale == pytest.approx(known["scale"], rel=1e-6)
    assert fit.loglik == pytest.approx(known["loglik"], rel=1e-6)
    assert fit.covariance == pytest.approx(np.array(known["vcov"]), rel=1e-5)


@pytest.mark.parametrize("group", [1, 2])
def test_deterioration_curves_of_the_bank(group):
    _, low, high, treat = _deteriorated()
    known = case("bank/o-surv-04-bcdeter-interval")["results"][f"turnbull_treat{group}"]
    curve = turnbull(low[treat == group], high[treat == group])
    assert curve.left.tolist() == known["left"]
    assert curve.right.tolist() == known["right"]
    assert curve.mass == pytest.approx(known["mass"], abs=1e-8)
    assert curve.loglik == pytest.approx(known["loglik"], rel=1e-10)


@pytest.mark.parametrize("shape", ["weibull", "lognormal"])
def test_motors_of_the_bank(shape):
    # Nelson & Hahn (1972), Technometrics 14, 247-276: exact and right-censored hours
    d = frame("bank/motors")
    X = np.column_stack([np.ones(len(d)), d.temp]).astype(float)
    known = case("bank/o-surv-05-motors-aft")["results"]
    fit = fit_accelerated(X, d.time, np.where(d.cens == 1, d.time, np.inf), shape=shape)
    _compare(fit, known[shape])
    if shape == "weibull":
        ahead = known["weibull_quantiles_130"]
        for share, day, error in zip((0.1, 0.5), ahead["fit"], ahead["log_se"], strict=True):
            found = time_quantile(fit, [1, 130], share)
            assert (found.value, found.error) == pytest.approx((day, error), rel=1e-7)


@pytest.mark.parametrize("shape", ["weibull", "lognormal"])
def test_colonising_days_of_the_bank(shape):
    # invented days, looked at every 2 to 4
    d, known = frame("bank/sim_colon_open"), case("bank/o-surv-07-simcolon")["results"]
    X = np.column_stack([np.ones(len(d)), d.spawn == "10pct", d.spawn == "20pct"]).astype(float)
    right = d.right.fillna(np.inf)
    fit = fit_accelerated(X, d.left, right, shape=shape)
    _compare(fit, known[shape])
    for group, piece in known["turnbull"].items():
        one = d.spawn == group
        curve = turnbull(d.left[one], right[one])
        assert curve.mass == pytest.approx(piece["mass"], abs=1e-8)
        assert curve.survival == pytest.approx(piece["surv_after"], abs=1e-8)
    if shape == "weibull":
        ratios = [time_ratio(fit, np.eye(3)[k]) for k in (1, 2)]
        assert [r.value for r in ratios] == pytest.approx(known["time_ratio"]["ratio"], rel=1e-7)
        assert [r.low for r in ratios] == pytest.approx(known["time_ratio"]["lower"], rel=1e-7)
        assert [r.high for r in ratios] == pytest.approx(known["time_ratio"]["upper"], rel=1e-7)
        plain = fit_accelerated(X[:, :1], d.left, right)
        test = likelihood_ratio(fit, plain)
        assert (test.statistic, test.df) == pytest.approx((known["lr_spawn"]["chisq"], 2), rel=1e-7)


def _wheels():
    d = frame("bank/turbine")
    low = np.concatenate([np.zeros(len(d)), d.hours])
    high = np.concatenate([d.hours, np.full(len(d), np.inf)])
    return low, high, np.concatenate([d.failed, d.inspected - d.failed])


def test_one_look_each_of_the_bank():
    # Meeker & Escobar (1998), Statistical Methods for Reliability Data
    low, high, weight = _wheels()
    known = case("bank/o-surv-08-turbine-current-status")["results"]
    curve = turnbull(low, high, weight)
    assert curve.mass == pytest.approx(known["turnbull"]["mass"], abs=1e-8)
    assert curve.loglik == pytest.approx(known["npmle"]["loglik"], rel=1e-10)
    for shape in ("weibull", "lognormal"):
        fit = fit_accelerated(np.ones((len(low), 1)), low, high, shape=shape, weight=weight)
        _compare(fit, known[shape])


def test_exact_days_give_kaplan_and_meier():
    days, seen = np.array([3, 5, 5, 8, 9, 9, 12.0]), np.array([1, 1, 0, 1, 1, 0, 1], bool)
    curve = turnbull(days, np.where(seen, days, np.inf))
    km = kaplan_meier(days, seen)
    for day, mass in zip(curve.left, curve.survival, strict=True):
        assert mass == pytest.approx(km.survival[km.times == day][0], abs=1e-9)
    assert curve.median_low == curve.median_high == km.median


looks = st.lists(
    st.tuples(st.integers(0, 12), st.integers(1, 8), st.booleans()), min_size=2, max_size=25
)


@settings(max_examples=60, deadline=None)
@given(looks)
def test_no_other_curve_is_more_likely(rows):
    low = np.array([float(a) for a, _, _ in rows])
    high = np.array([a + b if seen else np.inf for a, b, seen in rows])
    curve = turnbull(low, high)
    assert curve.mass.sum() == pytest.approx(1, abs=1e-9)
    holds = (low[:, None] <= curve.left) & (curve.right <= high[:, None])
    chance = holds @ curve.mass
    assert curve.loglik == pytest.approx(np.log(chance).sum(), abs=1e-9)
    # slopes of the likelihood: 1 where there is mass, at most 1 elsewhere
    gain = holds.T.astype(float) @ (1 / chance) / len(low)
    assert gain.max() <= 1 + 1e-7
    assert gain[curve.mass > 1e-7] == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("shape", ["weibull", "lognormal", "loglogistic"])
def test_derivatives_by_finite_differences(shape):
    from analyses.models.times.accelerated import _Curve

    rng = np.random.default_rng(8)
    low = rng.integers(1, 20, 12).astype(float)
    high = np.where(np.arange(12) % 3 == 0, low, np.where(np.arange(12) % 3 == 1, np.inf, low + 4))
    low[-1], high[-1] = 0, 6
    curve = _Curve(np.column_stack([np.ones(12), rng.random(12)]), low, high, np.ones(12), shape)
    at, h = np.array([2.3, 0.4, -0.5]), 1e-5
    score, minus_hessian = curve.slopes(at)
    for k, step in enumerate(h * np.eye(3)):
        slope = (curve.value(at + step) - curve.value(at - step)) / (2 * h)
        assert score[k] == pytest.approx(slope, rel=1e-6, abs=1e-7)
        bend = (curve.slopes(at + step)[0] - curve.slopes(at - step)[0]) / (2 * h)
        assert -minus_hessian[k] == pytest.approx(bend, rel=1e-6, abs=1e-6)


def test_looks_every_week_and_every_day_tell_the_same_ratio():
    rng = np.random.default_rng(11)
    group = np.repeat([0.0, 1.0], 200)
    days = np.exp(3 - 0.3 * group + 0.2 * rng.gumbel(size=400) * -1)
    X = np.column_stack([np.ones(400), group])
    daily = fit_accelerated(X, np.floor(days), np.ceil(days))
    weekly = fit_accelerated(X, 7 * np.floor(days / 7), 7 * np.ceil(days / 7))
    one, other = time_ratio(daily, [0, 1]), time_ratio(weekly, [0, 1])
    assert one.low < math.exp(-0.3) < one.high
    assert other.value == pytest.approx(one.value, rel=0.03)
    assert other.error > one.error


def test_a_fit_without_events_gives_no_number():
    fit = fit_accelerated(np.ones((5, 1)), [10.0] * 5, [np.inf] * 5)
    assert not fit.converged
    assert math.isnan(fit.scale)
    assert np.isnan(fit.coefficients).all()


@pytest.mark.parametrize("seed", [15, 16, 30, 37, 39])
def test_a_block_of_which_none_was_seen_has_no_summit(seed):
    """The later its days are said to be the likelier, for ever: no coefficient is the best."""
    rng = np.random.default_rng(seed)
    block, treated = np.repeat(np.arange(6), 4), np.tile([0.0, 1.0], 12)
    right = np.ceil(rng.lognormal(3.2, 0.08, 24))
    unseen = (block == 5) | (rng.random(24) < 0.3)
    left, right = np.where(unseen, 20.0, right - 2), np.where(unseen, np.inf, right)
    marks = (block[:, None] == np.arange(6)).astype(float)
    plain = np.column_stack([np.ones(24), treated])
    blocked = np.column_stack([plain, marks[:, :-1] - marks[:, -1:]])
    assert not fit_accelerated(blocked, left, right, shape="lognormal").converged
    found = fit_accelerated(plain, left, right, shape="lognormal")
    assert found.converged
    assert (np.linalg.eigvalsh(found.covariance) > 0).all()


@pytest.mark.parametrize(
    ("left", "right", "words"),
    [
        ([5, 3], [4, 9], "cannot lie before"),
        ([-1], [4], "below zero"),
        ([1, 2], [3], "equal rows"),
        ([1], [math.nan], "numbers"),
    ],
)
def test_looks_that_cannot_be(left, right, words):
    with pytest.raises(ValueError, match=words):
        check_looks(left, right)


def test_data_that_do_not_fit():
    with pytest.raises(ValueError, match="depend"):
        fit_accelerated([[1, 1], [1, 1]], [1, 2], [2, 3])
    with pytest.raises(ValueError, match="no logarithm"):
        fit_accelerated([[1], [1]], [0, 2], [0, 3])
    with pytest.raises(ValueError, match="2 looks"):
        fit_accelerated([[1], [1], [1]], [1, 2], [2, 3])
    with pytest.raises(ValueError, match="both groups"):
        interval_rank_test([1, 2], [2, 3], [1, 1])
    with pytest.raises(ValueError, match="weights"):
        turnbull([1, 2], [2, 3], [0, 0])
    fit = fit_accelerated([[1], [1]], [1, 2], [2, 3])
    with pytest.raises(ValueError, match="share"):
        time_quantile(fit, [1], 1.0)
