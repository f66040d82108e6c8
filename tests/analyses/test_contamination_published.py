"""Losses on published tables: records in, judged findings out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t, ttest_ind

from analyses.losses.counts import loss_counts
from analyses.models.counts.dispersed import dispersed_stretch
from analyses.unit import unit_story
from tests.analyses.losses import (
    BETTER,
    NO_WORSE,
    batches,
    companion,
    lost_records,
    the_losses_alone,
)
from tests.reference.load import case

TABLES = {tuple(row["counts"]): row for row in case("two_proportions")["rows"]}

# Newcombe (1998), Statist. Med. 17, 873-890, table II: limits of Mee, of method 10.
NEWCOMBE = [
    ((56, 70, 48, 80), (0.0533, 0.3377), (0.0524, 0.3339)),
    ((9, 10, 3, 10), (0.1821, 0.8370), (0.1705, 0.8090)),
    ((6, 7, 2, 7), (0.0544, 0.8478), (0.0582, 0.8062)),
    ((5, 56, 0, 29), (-0.0313, 0.1926), (-0.0381, 0.1926)),
    ((0, 10, 0, 20), (-0.1611, 0.2775), (-0.1611, 0.2775)),
]


def of_two(table, **kind):
    x1, n1, x2, n2 = table
    return the_losses_alone([("T", x1, n1), ("C", x2, n2)], **kind)


@pytest.mark.parametrize(("table", "mee", "hybrid"), NEWCOMBE)
def test_no_worse_is_judged_by_the_interval_of_mee(table, mee, hybrid):
    found = of_two(table, aim=NO_WORSE)
    assert (found.estimate.low / 100, found.estimate.high / 100) == pytest.approx(mee, abs=6e-5)
    beside = companion(found, "risk difference, bags in 100")
    assert (beside.low / 100, beside.high / 100) == pytest.approx(hybrid, abs=6e-5)


@pytest.mark.parametrize("table", TABLES)
def test_reference_tables_of_two_proportions(table):
    known, found = TABLES[table], of_two(table, aim=BETTER)
    estimate = found.estimate
    assert estimate.value == pytest.approx(100 * known["difference"], rel=1e-9, abs=1e-9)
    limits = [100 * limit for limit in known["miettinen_nurminen"]]
    assert (estimate.low, estimate.high) == pytest.approx(limits, abs=1e-4)
    assert estimate.p == pytest.approx(known["fisher_p"], rel=1e-7)
    beside = companion(found, "risk difference, bags in 100")
    limits = [100 * limit for limit in known["newcombe"]]
    assert (beside.low, beside.high) == pytest.approx(limits, rel=1e-9, abs=1e-9)
    margin = companion(of_two(table, aim=NO_WORSE), "less than 10 in 100 more", "Farrington")
    assert margin.p == pytest.approx(known["fm_p_noninferior_10pct"], rel=1e-6, abs=1e-12)


def test_miettinen_and_nurminen_ratio_when_all_are_lost():
    """Miettinen & Nurminen (1985), example 6: 10/10 against 20/20, ratio .7156 to 1.1987."""
    ratio = companion(of_two((10, 10, 20, 20)), "risk ratio")
    assert (ratio.low, ratio.high) == pytest.approx((0.7156, 1.1987), abs=6e-5)


def test_fagerland_example():
    """Fagerland, Lydersen & Laake (2015), Statist. Methods Med. Res. 24, 224-254: 7/34, 1/34.

    Their score row (.028, .34) is the one without the factor n / (n - 1), which is Mee's.
    """
    score = of_two((7, 34, 1, 34), aim=NO_WORSE).estimate
    assert (round(score.low, 1), round(score.high)) == (2.8, 34)
    found = of_two((7, 34, 1, 34))
    odds = companion(found, "odds ratio", "exact")
    assert (odds.low, odds.high) == pytest.approx((0.97, 397), rel=0.01)


def test_chan_example_no_worse():
    """Chan (1998), Statist. Med. 17, 1403-1413: 69/76 against 83/88, margin .10: z -2.957, exact
    p .0017, normal p .00155. Losses are what is counted here, so fewer is better."""
    found = of_two((69, 76, 83, 88), aim=NO_WORSE)
    normal = companion(found, "less than 10 in 100 more", "Farrington")
    exact = companion(found, "less than 10 in 100 more", "Chan")
    assert normal.p == pytest.approx(0.00155, abs=5e-6)
    assert exact.p == pytest.approx(0.0017, abs=5e-5)
    assert found.verdict == "shown"


@pytest.mark.parametrize("lost", range(0, 30, 3))
@pytest.mark.parametrize("claim", ["no worse", "same"])
def test_verdict_and_margin_test_never_disagree(lost, claim):
    """The plan's two-sided 95 % interval decides just as one-sided tests of size 2.5 % do."""
    aim = f'outcome = "contamination"\nclaim = "{claim}"\nworthwhile = "10 in 100"'
    found = of_two((lost, 70, 9, 80), aim=aim)
    measure = "less than 10 in 100 more" if claim == "no worse" else "within 10 in 100 either way"
    words = "Farrington-Manning" if claim == "no worse" else "two one-sided"
    assert (found.verdict == "shown") == (companion(found, measure, words).p < 0.025)


def test_fishers_tea():
    """Fisher (1935), chapter 2: odds ratio 6.408, two-sided p .4857."""
    found = of_two((3, 4, 1, 4))
    assert companion(found, "odds ratio", "exact").value == pytest.approx(6.408, abs=5e-4)
    assert found.estimate.p == pytest.approx(0.4857, abs=5e-5)


def test_rothman_strata_as_blocks():
    """Rothman et al. (2008), table 15-1, 90 %: risk difference .0349, ratio 1.3256 (.8658, 2.0296),
    odds ratio 1.4031 (.8411, 2.3409), conditional 1.4022, homogeneity p .5556."""
    cells = [
        ("T", 8, 106, "", "young"), ("C", 5, 120, "", "young"),
        ("T", 22, 98, "", "old"), ("C", 16, 85, "", "old"),
    ]  # fmt: skip
    found = the_losses_alone(cells, aim=BETTER + "\nconfidence = 0.90", blocked=True)
    assert found.estimate.value == pytest.approx(3.49, abs=5e-3)
    assert found.estimate.p == pytest.approx(0.275, abs=5e-4)
    assert "Cochran" in found.estimate.method
    sato = companion(found, "risk difference, bags in 100", "Sato")
    assert (sato.low, sato.high) == pytest.approx((-1.76, 8.74), abs=6e-3)
    ratio = companion(found, "risk ratio")
    assert (ratio.value, ratio.low, ratio.high) == pytest.approx((1.3256, 0.8658, 2.0296), abs=6e-5)
    odds = companion(found, "odds ratio", "Mantel-Haenszel")
    assert (odds.value, odds.low, odds.high) == pytest.approx((1.4031, 0.8411, 2.3409), abs=6e-5)
    assert companion(found, "odds ratio", "exact").value == pytest.approx(1.4022, abs=6e-5)
    # The published test has no Tarone correction; with it p moves in the fourth figure.
    assert companion(found, "the same odds ratio everywhere").p == pytest.approx(0.5556, abs=2e-3)


@pytest.mark.parametrize(("n", "upper"), [(10, 0.3085), (20, 0.1684), (30, 0.1157), (60, 0.0596)])
def test_none_lost_has_the_exact_bound(n, upper):
    """Exact two-sided 95 % bound of zero events, 1 - .025^(1/n)."""
    records = lost_records([("T", 0, n), ("C", 1, n)])
    counts = {one.treatment: one for one in loss_counts(records, unit_story(records), level=0.95)}
    assert counts["T"].low == 0
    assert counts["T"].high == pytest.approx(upper, abs=5e-5)
    assert counts["T"].method == "Clopper-Pearson"


@pytest.mark.parametrize(
    ("mine", "control"),
    [([1, 0, 11, 0, 4, 2], [0, 1, 0, 0, 1, 0]), ([5, 3, 7, 2], [1, 4, 2, 2, 3]), ([9, 8], [2, 4])],
)
def test_batches_are_students_t_of_their_shares(mine, control):
    """The batch analysis of Donner & Klar (2000), section 6.2, by scipy's t test of the shares."""
    cells = batches("T", mine, 12) + batches("C", control, 12, first=20)
    found = the_losses_alone(cells, by="batch", aim=NO_WORSE)
    test = ttest_ind([one / 0.12 for one in mine], [one / 0.12 for one in control])
    span, estimate = test.confidence_interval(0.95), found.estimate
    assert estimate.p == pytest.approx(test.pvalue, rel=1e-8)
    assert estimate.df == pytest.approx(test.df)
    # The limits reach no less far than the t's: near none and near all they are held to the score.
    assert estimate.low <= max(span.low, -100) + 1e-9
    assert estimate.high >= min(span.high, 100) - 1e-9
    less = ttest_ind(
        [one / 0.12 - 10 for one in mine], [one / 0.12 for one in control], alternative="less"
    )
    shares = [np.mean(side) / 12 for side in (mine, control)]
    stretch = max(
        1.0, dispersed_stretch(shares[0], 12 * len(mine), shares[1], 12 * len(control), 0.1)
    )
    one_sided = companion(found, "less than 10 in 100 more")
    assert one_sided.p == pytest.approx(t.cdf(less.statistic / stretch, less.df), rel=1e-8)


def test_plates_of_crowder():
    """Crowder (1978), Applied Statistics 27, 34-37: plates of seed O75 (bean, cucumber); the
    plates hold 4 to 81 seeds and each counts once."""
    bean = [(10, 39), (23, 62), (23, 81), (26, 51), (17, 39)]
    cucumber = [(5, 6), (53, 74), (55, 72), (32, 51), (46, 79), (10, 13)]
    cells = [("T", *plate, f"plate {n}") for n, plate in enumerate(cucumber)]
    cells += [("C", *plate, f"plate {n}") for n, plate in enumerate(bean, start=10)]
    found = the_losses_alone(cells, by="batch")
    shares = [[100 * x / n for x, n in side] for side in (cucumber, bean)]
    test = ttest_ind(*shares)
    assert found.estimate.p == pytest.approx(test.pvalue, rel=1e-8)
    assert found.estimate.units == 11
    odds = companion(found, "odds ratio", "adaptive quadrature")
    assert odds.df == pytest.approx(9)
    assert odds.low > 1
    assert any("6 to 81" in note for note in found.estimate.notes)
