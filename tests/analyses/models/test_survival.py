"""Curves and log-rank tests of exact days against published and computed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.duration.survfunc import survdiff

from analyses.models.times.known_times import check_times, kaplan_meier, log_rank
from tests.reference.load import case, frame

AML = frame("bank/aml")
GEHAN = frame("bank/gehan")


def _close(found, expected, **size):
    """Compare arrays, missing places of the bank included."""
    np.testing.assert_allclose(found, np.array(expected, float), equal_nan=True, **size)


def _rows(block, label):
    mine = [one == label for one in block["strata"]]
    return {
        key: [v for v, keep in zip(values, mine, strict=True) if keep]
        for key, values in block.items()
        if key != "strata"
    }


@pytest.mark.parametrize("group", [1, 2])
def test_remission_curves_of_the_bank(group):
    # Miller (1997), Survival Analysis: maintained (1) or not (2)
    results = case("bank/o-surv-01-aml-km")["results"]
    d = AML[AML.group == group]
    known = _rows(results["km_log"], f"group={group}")
    log = kaplan_meier(d.time, d.cens, scale="log")
    for field, key in [("times", "time"), ("at_risk", "n_risk"), ("events", "n_event")]:
        assert getattr(log, field).tolist() == known[key]
    _close(log.survival, known["surv"], rtol=1e-9, atol=1e-12)
    _close(log.error, known["std_err"], rtol=1e-9)
    _close(log.low, known["lower"], rtol=1e-9)
    _close(log.high, known["upper"], rtol=1e-9)
    known = _rows(results["km_loglog_limits"], f"group={group}")
    loglog = kaplan_meier(d.time, d.cens)
    _close(loglog.low, known["lower"], rtol=1e-9)
    _close(loglog.high, known["upper"], rtol=1e-9)


def test_remission_of_the_reference():
    known, d = case("time_aml"), frame("time_aml")
    for place, label in enumerate(["Maintained", "Nonmaintained"]):
        one = d[d.x == label]
        curve = kaplan_meier(one.time, one.status, scale="log")
        assert curve.median == known["median"][place]
        assert curve.median_low == known["median_low"][place]
        assert curve.median_high == math.inf  # the reference says NA
        steps = np.isin(curve.times, known["km"][place]["time"])
        _close(curve.survival[steps], known["km"][place]["surv"], rtol=1e-9, atol=1e-12)
        _close(curve.error[steps], known["km"][place]["se"], rtol=1e-9)
    test = log_rank(d.time, d.status, d.x)
    assert (test.statistic, test.p) == pytest.approx((known["logrank"], known["logrank_p"]))


def test_leukaemia_as_published():
    # Freireich et al. (1963), Blood 21, 699-716; Gehan (1965), Biometrika 52, 203-223
    mp = GEHAN[GEHAN.treat == "6-MP"]
    curve = kaplan_meier(mp.time, mp.cens)
    at = dict(zip(curve.times, curve.survival, strict=True))
    printed = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    for day, share in printed.items():
        assert at[day] == pytest.approx(share, abs=6e-5)
    assert curve.error[0] == pytest.approx(0.0764, abs=5e-5)
    test = log_rank(GEHAN.time, GEHAN.cens, GEHAN.treat)
    assert test.groups == ("6-MP", "control")
    assert test.observed.tolist() == [9, 21]
    assert test.expected == pytest.approx([19.25, 10.75], abs=5e-3)
    assert test.statistic == pytest.approx(16.79, abs=5e-3)
    assert test.p == pytest.approx(4.2e-5, abs=1e-6)


def test_log_rank_of_the_bank():
    results = case("bank/o-surv-02-gehan-stratified")["results"]
    plain = log_rank(GEHAN.time, GEHAN.cens, GEHAN.treat)
    assert plain.statistic == pytest.approx(results["logrank"]["chisq"], rel=1e-9)
    paired = log_rank(GEHAN.time, GEHAN.cens, GEHAN.treat, GEHAN.pair)
    assert paired.strata == 21
    known = results["logrank_stratified"]
    assert paired.statistic == pytest.approx(known["chisq"], rel=1e-9)
    rats, known = frame("bank/rats_litter"), case("bank/o-surv-03-rats-litters")["results"]
    litters = log_rank(rats.time, rats.tumor, rats.trt, rats.litter)
    assert litters.statistic == pytest.approx(known["logrank_stratified"]["chisq"], rel=1e-9)
    assert litters.p == pytest.approx(known["logrank_stratified"]["p"], rel=1e-9)


def test_lung_of_the_bank():
    d = frame("bank/cancer").dropna(subset=["sex", "age", "ph.ecog"])
    known = case("bank/o-surv-06-lung")["results"]
    test = log_rank(d.time, d.status == 2, d.sex)
    assert test.statistic == pytest.approx(known["logrank"]["chisq"], rel=1e-9)
    for sex in (1, 2):
        one = d[d.sex == sex]
        curve = kaplan_meier(one.time, one.status == 2)
        rows = _rows(known["km_at"], f"sex={sex}")
        step = np.searchsorted(curve.times, rows["time"], side="right") - 1
        _close(curve.survival[step], rows["surv"], rtol=1e-9)
        _close(curve.low[step], rows["lower"], rtol=1e-9)
        _close(curve.high[step], rows["upper"], rtol=1e-9)
        assert curve.median == known["median"]["quantile"]["values"][sex - 1][0]
        assert curve.median_low == known["median"]["lower"]["values"][sex - 1][0]
        assert curve.median_high == known["median"]["upper"]["values"][sex - 1][0]


def test_three_groups_agree_with_statsmodels():
    rng = np.random.default_rng(4)
    t, d, g, s = (
        rng.integers(1, 20, 60),
        rng.random(60) < 0.7,
        rng.integers(0, 3, 60),
        rng.integers(0, 2, 60),
    )
    plain, layered = log_rank(t, d, g), log_rank(t, d, g, s)
    assert plain.df == 2
    assert plain.statistic == pytest.approx(survdiff(t, d, g)[0], rel=1e-9)
    assert layered.statistic == pytest.approx(survdiff(t, d, g, strata=s)[0], rel=1e-9)
    assert plain.observed.sum() == pytest.approx(plain.expected.sum())


def test_without_censoring_the_curve_is_the_share_left():
    curve = kaplan_meier([3, 1, 2, 2], [1, 1, 1, 1])
    assert curve.survival.tolist() == pytest.approx([0.75, 0.25, 0.0], abs=1e-12)
    assert curve.error[0] == pytest.approx(math.sqrt(0.75 * 0.25 / 4))
    assert curve.median == 2


def test_a_stretch_at_just_a_half_gives_its_middle():
    assert kaplan_meier([4, 6, 10, 12], [1, 1, 1, 1]).median == 8


def test_nothing_happened():
    curve = kaplan_meier([5, 5, 7], [0, 0, 0])
    assert curve.survival.tolist() == [1, 1]
    assert curve.low.tolist() == curve.high.tolist() == [1, 1]
    assert curve.median == math.inf
    test = log_rank([5, 5, 7], [0, 0, 0], [0, 1, 1])
    assert math.isnan(test.statistic)
    assert test.p == 1


def test_a_group_never_at_risk_beside_another():
    test = log_rank([1, 2, 9, 9], [1, 1, 1, 0], ["a", "a", "b", "b"], [0, 0, 1, 1])
    assert math.isnan(test.statistic)
    assert test.p == 1


@pytest.mark.parametrize(
    ("t", "d", "words"),
    [([1, 2], [1], "equal rows"), ([-1.0], [1], "below zero"), ([], [], "equal rows")],
)
def test_times_that_cannot_be(t, d, words):
    with pytest.raises(ValueError, match=words):
        check_times(t, d)
    with pytest.raises(ValueError, match="two groups"):
        log_rank([1, 2], [1, 1], [0, 0])
