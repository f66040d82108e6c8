"""Published tables of losses: pooled z, ratios, Firth, one share, and fits with bare arms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar
from scipy.special import ndtr, ndtri
from scipy.stats import chi2, fisher_exact, t

from analyses.losses.counts import loss_counts
from analyses.models.counts.beta_binomial import fit_beta_binomial
from analyses.models.counts.risk_ratio import dispersed_ratio_limits
from analyses.unit import unit_story
from tests.analyses.losses import SAME, batches, companion, lost_records, the_losses_alone


def test_pooled_z_of_two_shares():
    """39/50 against 24/50: pooled z 2.8997, p .00373 (Bonett's statpsych, test.prop2), which takes
    Yates's half a unit off either side. The score test that stands beside, Miettinen & Nurminen
    (1985), is the uncorrected z times the root of 99/100."""
    found = the_losses_alone([("T", 39, 50), ("C", 24, 50)])
    z = -ndtri(companion(found, "risk ratio").p / 2) * math.sqrt(100 / 99)
    error = math.sqrt(0.63 * 0.37 * 2 / 50)
    corrected = z - (1 / 50) / error
    assert corrected == pytest.approx(2.8997, abs=5e-5)
    assert 2 * ndtr(-corrected) == pytest.approx(0.00373, abs=5e-6)
    assert found.estimate.value == pytest.approx(30)
    # Clear of no difference, as that test says.
    assert found.estimate.low > 0


def test_ratio_of_batches_solves_koopmans_equation_with_their_dispersion():
    """Without dispersion it is Koopman's: 7/34 against 1/34, 1.21 to 43 (Fagerland, Lydersen &
    Laake 2015). For batches each limit is where the score statistic of the ratio, its shares found
    by a search, is the t point times the root of the dispersion."""
    p1, p2 = 7 / 34, 1 / 34
    alone = ndtri(0.975) * math.sqrt(p1 * (1 - p1) / 34 + p2 * (1 - p2) / 34)
    low, high = dispersed_ratio_limits(alone, p1, 34, p2, 34)
    assert (float(low), float(high)) == pytest.approx((1.221, 42.58), rel=5e-4)
    mine, control = [3, 1, 5, 2, 4], [1, 0, 2, 0, 1, 1]
    found = the_losses_alone(
        batches("T", mine, 12) + batches("C", control, 12, first=9), by="batch"
    )
    ratio = companion(found, "risk ratio")
    a, b = np.array(mine) / 12, np.array(control) / 12
    assert ratio.value == pytest.approx(a.mean() / b.mean())
    squares = ((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()
    between = squares / 9 * (1 / 5 + 1 / 6)
    single = a.mean() * (1 - a.mean()) / 60 + b.mean() * (1 - b.mean()) / 72
    for limit in (ratio.low, ratio.high):

        def unlikely(share, limit=limit):
            logs = 60 * a.mean() * np.log(limit * share) + 72 * b.mean() * np.log(share)
            kept = 60 * (1 - a.mean()) * np.log1p(-limit * share)
            return -(logs + kept + 72 * (1 - b.mean()) * np.log1p(-share))

        top = min(1.0, 1 / limit)
        share = minimize_scalar(unlikely, bounds=(1e-9, top - 1e-9), method="bounded",
                                options={"xatol": 1e-12}).x  # fmt: skip
        under = limit * share * (1 - limit * share) / 60 + limit**2 * share * (1 - share) / 72
        score = (a.mean() - limit * b.mean()) / math.sqrt(under * between / single)
        assert abs(score) == pytest.approx(t.ppf(0.975, 9), rel=1e-5)


def penalised(odds, table):
    """Firth's penalised log-likelihood of a 2 x 2 table at a log odds ratio, the rest at its best.

    With one share on each side the penalty is half a unit on every cell (Firth 1993, section 3.3).
    """
    x1, n1, x2, n2 = table

    def unlikely(base):
        p1, p2 = 1 / (1 + np.exp(-base - odds)), 1 / (1 + np.exp(-base))
        cells = ((x1, p1), (n1 - x1, 1 - p1), (x2, p2), (n2 - x2, 1 - p2))
        return -sum((count + 0.5) * np.log(share) for count, share in cells)

    return -minimize_scalar(unlikely, bounds=(-15, 15), method="bounded",
                            options={"xatol": 1e-12}).fun  # fmt: skip


def test_firths_odds_of_a_side_that_lost_all():
    """Heinze & Schemper (2002), Statist. Med. 21, 2409-2419: endometrial cancer, 13 of 13 with
    neovascularisation graded high against 17 of 66 without, as two arms of a trial. Firth's odds
    are those of the table with half a unit in every cell; the profile by a search of our own."""
    table = (13, 13, 17, 66)
    found = the_losses_alone([("T", 13, 13), ("C", 17, 66)])
    firth = companion(found, "odds ratio", "Firth")
    assert firth.value == pytest.approx(13.5 * 49.5 / (0.5 * 17.5), rel=1e-7)
    best = penalised(math.log(firth.value), table)
    fall = chi2.ppf(0.95, 1) / 2
    for limit, ends in ((firth.low, (-2, 4)), (firth.high, (5, 14))):
        root = brentq(lambda odds: best - penalised(odds, table) - fall, *ends, xtol=1e-10)
        assert math.log(limit) == pytest.approx(root, abs=1e-5)
    assert firth.p == pytest.approx(chi2.sf(2 * (best - penalised(0.0, table)), 1), rel=1e-5)
    assert found.estimate.p == pytest.approx(fisher_exact([[13, 0], [17, 49]]).pvalue, rel=1e-8)
    assert math.isinf(companion(found, "odds ratio", "conditional").high)


def test_range_of_one_share_within_its_limits():
    """228 of 762, limits .18 and .38 (SAS FREQ, equivalence of one proportion): z 7.1865 and
    -4.8701, 90 % interval .2719 to .3265. The range of an arm is Wilson's, which is centred a
    little nearer to a half; both lie within the limits."""
    records = lost_records([("T", 228, 762), ("C", 200, 762)])
    (one,) = (
        each for each in loss_counts(records, unit_story(records), level=0.90)
        if each.treatment == "T"
    )  # fmt: skip
    share, z = 228 / 762, ndtri(0.95)
    error = math.sqrt(share * (1 - share) / 762)
    assert (share - 0.18) / error == pytest.approx(7.1865, abs=5e-5)
    assert (share - 0.38) / error == pytest.approx(-4.8701, abs=5e-5)
    assert (share - z * error, share + z * error) == pytest.approx((0.2719, 0.3265), abs=5e-5)
    # Wilson's limits answer the same question by the error under each limit.
    for limit in (one.low, one.high):
        assert abs(share - limit) == pytest.approx(z * math.sqrt(limit * (1 - limit) / 762))
    assert 0.18 < one.low < one.high < 0.38
    assert (one.low, one.high) == pytest.approx((0.2719, 0.3265), abs=1.5e-3)


@pytest.mark.parametrize("lost", [(0, 0), (12, 12)])
def test_a_random_intercept_that_has_nothing_to_fit_says_so(lost):
    """All lost, or none: no odds, no correlation, and the reason in words."""
    cells = batches("T", [lost[0]] * 4, 12) + batches("C", [lost[1]] * 4, 12, first=9)
    found = the_losses_alone(cells, by="batch", aim=SAME)
    odds = companion(found, "odds ratio", "quadrature")
    assert math.isnan(odds.value)
    assert odds.p is None
    assert "nothing to fit" in odds.note
    assert not [one for one in found.companions if one.measure == "intracluster correlation"]


@pytest.mark.parametrize("mine", [[0, 0, 0, 0], [12, 12, 12, 12]])
def test_a_random_intercept_with_a_bare_arm_gives_no_number(mine):
    """One side lost none or all: the odds have no end, so none are told, nor a p value."""
    cells = batches("T", mine, 12) + batches("C", [1, 3, 0, 2], 12, first=9)
    found = the_losses_alone(cells, by="batch", aim=SAME)
    odds = companion(found, "odds ratio", "quadrature")
    assert math.isnan(odds.value)
    assert math.isnan(odds.low)
    assert odds.p is None
    assert "no end" in odds.note
    # The difference itself has a range all the same.
    assert math.isfinite(found.estimate.low + found.estimate.high)


@pytest.mark.parametrize(
    "lost", [[1, 3, 0, 2, 0, 0, 0, 0], [1, 3, 0, 2, 12, 12, 12, 12], [0] * 8, [12] * 8]
)
def test_a_beta_binomial_fit_with_a_bare_arm_gives_no_number(lost):
    """A side that lost none or all: the search has no end, and nothing it passed is told."""
    design = np.column_stack([np.ones(8), np.repeat([0, 1], 4)])
    fit = fit_beta_binomial(design, lost, [12] * 8)
    assert not fit.converged
    told = [*fit.coefficients, *np.ravel(fit.covariance), fit.rho, fit.loglik, fit.p]
    assert np.isnan(told).all()
