"""Sizes and powers against published tables and values computed by general software."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import t as student

from tests.reference.load import case
from trials.sizes import (
    Precision,
    complete_blocks,
    exact_size,
    latin_square,
    smallest_difference,
    sub_plots,
    two_groups,
    units_needed,
    whole_plots,
)
from trials.sizing.control_sizes import against_control_point, power_against_control
from trials.sizing.mean_sizes import (
    expected_width,
    margin_of_error,
    power_any_difference,
    power_better,
    power_no_worse,
    power_same,
)

T = case("bank/o-pow-01-ttests")["results"]
F = case("bank/o-pow-02-anova-rcb")["results"]
POINTS = case("bank/o-pow-04-dunnett-tukey-critical")["results"]
SAME = case("bank/o-pow-05-tost")["results"]
SIZES = case("sample_size")


def known(n, other=None):
    """Two groups whose standard deviation is known, as the z formulas have it."""
    return Precision(factor=1 / n + 1 / (n if other is None else other), df=math.inf)


def test_t_power_of_the_bank():
    power = T["power"]
    found = {
        "n5_d1": power_better(1, 1, two_groups(5)),
        "n10_d0.5": power_better(0.5, 1, two_groups(10)),
        "n20_d1_sd1.6": power_better(1, 1.6, two_groups(20)),
        "n64_d0.5": power_better(0.5, 1, two_groups(64)),
        "paired_n8_d0.9": power_better(0.9, 1, Precision(factor=1 / 8, df=7)),
        "one_sample_n12": power_better(0.7, 1, Precision(factor=1 / 12, df=11)),
        "one_sided_n15_d0.8": power_better(0.8, 1, two_groups(15), sides=1),
        "n3_d3_a01": power_better(3, 1, two_groups(3), confidence=0.99),
    }
    for name, value in found.items():
        assert value == pytest.approx(power[name], rel=1e-8)
    unequal = T["unequal_n"]
    assert power_better(1, 1, two_groups(6, 12)) == pytest.approx(unequal["n1_6_n2_12_d1"])
    assert power_better(0.6, 1, two_groups(10, 30)) == pytest.approx(unequal["n1_10_n2_30_d0.6"])


@pytest.mark.parametrize("row", SIZES["t_two_sided"], ids=str)
def test_t_power_of_the_reference(row):
    found = power_better(row["effect_in_sd"], 1, two_groups(row["n_per_group"]))
    assert found == pytest.approx(row["power"], rel=1e-8)


@pytest.mark.parametrize(
    ("power", "sizes"), [(0.8, (393.41, 63.77, 25.52)), (0.9, (526.33, 85.03, 33.83))]
)
def test_sizes_of_cohen(power, sizes):
    # Cohen (1988), Statistical Power Analysis, table 2.4.1: 393, 64, 26 at 80 %
    for effect, size in zip((0.2, 0.5, 0.8), sizes, strict=True):
        found = exact_size(lambda n, d=effect: power_better(d, 1, two_groups(n)), power)
        assert found == pytest.approx(size, abs=5e-3)
        whole = units_needed(lambda n, d=effect: power_better(d, 1, two_groups(n)), power)
        assert whole == math.ceil(size)


def test_sizes_of_the_bank():
    sizes = T["n"]
    for name, difference, power in [
        ("p80_d0.5", 0.5, 0.8),
        ("p90_d1", 1, 0.9),
        ("p80_d2.5", 2.5, 0.8),
    ]:
        found = exact_size(lambda n, d=difference: power_better(d, 1, two_groups(n)), power)
        assert found == pytest.approx(sizes[name], rel=1e-8)
    paired = exact_size(lambda n: power_better(1.2, 1, Precision(factor=1 / n, df=n - 1)), 0.8)
    assert paired == pytest.approx(sizes["p80_d1.2_paired"], rel=1e-8)
    sided = exact_size(lambda n: power_better(0.8, 1, two_groups(n), sides=1), 0.95)
    assert sided == pytest.approx(sizes["p95_d0.8_one_sided"], rel=1e-8)
    difference = smallest_difference(lambda d: power_better(d, 1, two_groups(12)), 0.8)
    assert difference == pytest.approx(T["detectable"]["n12_p80"], rel=1e-8)


def test_three_ways_round():
    for power in (0.5, 0.8, 0.95):
        size = exact_size(lambda n: power_better(20, 35, complete_blocks(n, 4)), power)
        assert power_better(20, 35, complete_blocks(size, 4)) == pytest.approx(power)
        back = smallest_difference(
            lambda d, b=size: power_better(d, 35, complete_blocks(b, 4)), power
        )
        assert back == pytest.approx(20)


def test_known_standard_deviation_of_chow():
    # Chow, Shao & Wang (2008), Sample Size Calculations in Clinical Research, example 3.2.4
    better = exact_size(lambda n: power_better(0.05, 0.1, known(n)), 0.8)
    assert better == pytest.approx(62.79, abs=5e-3)
    worse = exact_size(lambda n: power_no_worse(0, 0.05, 0.1, known(n)), 0.8)
    assert worse == pytest.approx(49.46, abs=5e-3)
    # For equivalence off the middle the book halves the error although one side takes all of it:
    # its 107 is more than enough, and no waste in the middle.
    same = exact_size(lambda n: power_same(0.01, 0.05, 0.1, known(n)), 0.8)
    assert 75 < same < 107.05
    centred = exact_size(lambda n: power_same(0.0, 0.04, 0.1, known(n)), 0.8)
    assert centred == pytest.approx(107.05, abs=5e-3)


def test_sizes_of_statpsych():
    # size.test.mean2, size.supinf.mean2, size.equiv.mean2: z formulas with a small-sample term
    for ratio, first in [(1, 27), (3, 19), (0.5, 40)]:
        found = units_needed(lambda n, r=ratio: power_better(10, 10, two_groups(n, r * n)), 0.95)
        assert abs(found - first) <= 1
    beyond = units_needed(lambda n: power_better(9, 15, two_groups(n), beyond=4), 0.8)
    assert beyond == 143
    # 50 with the error halved, see above
    same = units_needed(lambda n: power_same(2, 4, math.sqrt(15), two_groups(n), size=0.1), 0.8)
    assert 30 < same <= 50


def test_width_of_statpsych():
    # size.ci.mean2: variance 81, width 12, confidence 99 % gives 32 a group
    widths = {n: expected_width(9, two_groups(n), 0.99) for n in (31, 32)}
    assert widths[32] <= 12 < widths[31]


def test_expected_width_by_integration():
    precision = complete_blocks(4, 3)
    s = np.linspace(1e-6, 5, 200_001)
    density = 2 * 6 * s * np.exp(-6 * s**2 / 2) * (6 * s**2 / 2) ** 2 / 2 / 2
    density /= np.trapezoid(density, s)
    mean = np.trapezoid(s * density, s)
    expected = 2 * student.ppf(0.975, 6) * 12 * math.sqrt(0.5) * mean
    assert expected_width(12, precision) == pytest.approx(expected, rel=1e-7)


BLOCKS = [
    # published rule of the noncentral t with (r - 1)(t - 1) df, blocks for 80 %: coefficient of
    # variation and difference in percent, blocks with 2 and with 4 recipes
    (10, 10, 18, 17), (10, 20, 7, 5), (10, 30, 5, 3), (20, 10, 65, 64), (20, 20, 18, 17),
    (20, 30, 10, 8), (20, 50, 5, 4), (30, 20, 38, 36), (30, 30, 18, 17), (30, 50, 8, 7),
]  # fmt: skip


@pytest.mark.parametrize(("cv", "difference", "two", "four"), BLOCKS)
def test_blocks_for_two_and_four_recipes(cv, difference, two, four):
    for recipes, blocks in ((2, two), (4, four)):
        found = units_needed(
            lambda b, t=recipes: power_better(difference, cv, complete_blocks(b, t)), 0.8
        )
        assert found == blocks


@pytest.mark.parametrize(
    ("recipes", "twelve", "fifteen"),
    [(2, 13, 16), (3, 7, 9), (4, 5, 6), (5, 4, 5), (6, 4, 4), (7, 3, 4)],
)
def test_blocks_for_enough_residual_df(recipes, twelve, fifteen):
    # at least 12 residual df: EPPO PP 1/152(4), Bulletin 42, 367-381
    for least, blocks in ((12, twelve), (15, fifteen)):
        assert (
            complete_blocks(blocks, recipes).df >= least > complete_blocks(blocks - 1, recipes).df
        )


def test_df_of_other_designs():
    assert [latin_square(t).df for t in (3, 4, 5)] == [2, 6, 12]
    assert whole_plots(13, 2).df == 12
    assert whole_plots(12, 2).df < 12
    # Yates's oats: 6 blocks, 3 varieties, 4 levels of nitrogen: 10 and 45
    assert whole_plots(6, 3).df == 10
    assert sub_plots(6, 3, 4).df == 45
    assert sub_plots(6, 3, 4).factor == pytest.approx(2 / 18)
    assert complete_blocks(4, 3, 2).df == 18
    assert complete_blocks(4, 3, 2).factor == pytest.approx(2 / 8)


def test_least_significant_difference():
    # 3 blocks of 4 recipes: t sqrt(2 / 3) = 1.998, by which a published table can be audited
    assert margin_of_error(1, complete_blocks(3, 4)) == pytest.approx(1.998, abs=5e-4)


def test_joint_tests_of_the_bank():
    def one_way(t, n, between, within):
        spread = math.sqrt(between * (t - 1) / 2)  # two means apart give this variance
        means = [-spread, spread] + [0.0] * (t - 2)
        return power_any_difference(means, math.sqrt(within), n, t * (n - 1))

    assert one_way(4, 5, 1, 3) == pytest.approx(F["oneway"]["t4_n5"], rel=1e-8)
    assert one_way(3, 10, 0.5, 2) == pytest.approx(F["oneway"]["t3_n10"], rel=1e-8)
    assert one_way(6, 4, 2, 5) == pytest.approx(F["oneway"]["t6_n4"], rel=1e-8)
    size = exact_size(lambda n: one_way(4, n, 1, 3), 0.8)
    assert size == pytest.approx(F["oneway_n"]["t4_p80"], rel=1e-8)

    def blocks(means, b, sd):
        return power_any_difference(means, sd, b, complete_blocks(b, len(means)).df)

    rcb = F["rcb"]
    assert blocks([0, 0, 0, 60], 5, 40) == pytest.approx(rcb["mu0_0_0_60_b5_s40"], rel=1e-8)
    assert blocks([100, 120, 90], 6, 15) == pytest.approx(rcb["mu100_120_90_b6_s15"], rel=1e-8)
    assert blocks([10, 12, 11, 14, 9], 4, 2) == pytest.approx(rcb["mu5t_b4"], rel=1e-8)
    needed = units_needed(lambda b: blocks([-0.75, 0.75, 0, 0], b, 1), 0.8)
    assert needed == F["blocks_needed_t4_D1.5_p80"]


@pytest.mark.parametrize("row", SIZES["anova"], ids=str)
def test_one_way_of_the_reference(row):
    t, n = row["groups"], row["n"]
    spread = math.sqrt(row["between_var"] * (t - 1) / 2)
    means = [-spread, spread] + [0.0] * (t - 2)
    found = power_any_difference(means, math.sqrt(row["within_var"]), n, t * (n - 1))
    assert found == pytest.approx(row["power"], rel=1e-7)


@pytest.mark.parametrize("row", SIZES["complete_blocks"], ids=str)
def test_blocks_of_the_reference(row):
    df = complete_blocks(row["blocks"], row["treatments"]).df
    found = power_any_difference(row["effects"], row["residual_sd"], row["blocks"], df)
    assert found == pytest.approx(row["power"], rel=1e-7)


def test_unequal_groups_of_statsmodels():
    # the example in statsmodels' tests of one-way power: effect .559 and .590
    means = [527.86, 660.43, 649.14]
    assert power_any_difference(means, 107.4304, 12, 33) == pytest.approx(0.8251, abs=5e-5)
    found = power_any_difference(means, 107.4304, [15, 9, 9], 30)
    assert found == pytest.approx(0.8297, abs=6e-5)


def test_just_as_good_of_the_bank():
    rows = SAME["parallel"]
    assert power_same(0, 1, 1, two_groups(20)) == pytest.approx(rows["n20_th0_m1_sd1"], abs=1e-9)
    found = power_same(0.2, 0.8, 1, two_groups(30))
    assert found == pytest.approx(rows["n30_th0.2_m0.8_sd1"], abs=1e-9)
    assert power_same(0, 1, 1, two_groups(10)) == pytest.approx(rows["n10_th0_m1_sd1"], abs=1e-9)
    found = power_same(0.1, 0.5, 1, two_groups(50))
    assert found == pytest.approx(rows["n50_th0.1_m0.5"], abs=1e-9)
    found = power_same(0, 1, 1.2, Precision(factor=1 / 12, df=11))
    assert found == pytest.approx(SAME["paired"]["n12_th0_m1_sd1.2"], abs=1e-9)
    needed = units_needed(lambda n: power_same(0, 1, 1, two_groups(n)), 0.8)
    assert needed == SAME["n_needed_parallel_th0_m1_sd1_p80"]


@pytest.mark.parametrize("row", SIZES["tost"], ids=str)
def test_just_as_good_of_the_reference(row):
    precision = two_groups(row["n_per_group"])
    found = power_same(row["difference"], row["margin"], row["sd"], precision, size=row["alpha"])
    assert found == pytest.approx(row["power"], abs=1e-9)


def test_no_worse_is_better_than_a_shifted_null():
    precision = two_groups(15)
    assert power_no_worse(2, 8, 10, precision) == pytest.approx(
        power_better(10, 10, precision, sides=1)
    )
    needed = units_needed(lambda n: power_no_worse(0, 8, 10, two_groups(n)), 0.8)
    assert power_no_worse(0, 8, 10, two_groups(needed)) >= 0.8
    assert power_no_worse(0, 8, 10, two_groups(needed - 1)) < 0.8


def test_points_against_a_control_of_the_bank():
    block = POINTS["dunnett_equal"]
    columns = (block[key] for key in ("k", "df", "two_05", "two_01", "one_05"))
    for k, df, two, strict, one in zip(*columns, strict=True):
        units = [1] * int(k)
        assert against_control_point(units, 1, df) == pytest.approx(two, abs=1e-9)
        assert against_control_point(units, 1, df, size=0.01) == pytest.approx(strict, abs=1e-9)
        assert against_control_point(units, 1, df, sides=1) == pytest.approx(one, abs=1e-9)
    unequal = POINTS["dunnett_unequal"]
    found = against_control_point([4, 4, 4], 8, 16)
    assert found == pytest.approx(unequal["n0_8_n_4_4_4_df16"], abs=1e-8)
    found = against_control_point([5, 8, 12], 5, 26)
    assert found == pytest.approx(unequal["n0_5_n_5_8_12_df26"], abs=1e-8)


@pytest.mark.parametrize("row", SIZES["dunnett_95_equal_n"], ids=str)
def test_points_against_a_control_of_the_reference(row):
    # Dunnett (1964), Biometrics 20, 482-491; the reference integrates by sampling
    found = against_control_point([1] * row["treated"], 1, row["df"])
    assert found == pytest.approx(row["two_sided"], abs=3e-4)


def test_power_against_a_control():
    one = power_against_control(1.2, 1, 10, 1, 18)
    assert one == pytest.approx(power_better(1.2, 1, two_groups(10)), rel=1e-9)
    three = power_against_control(1.2, 1, 10, 3, 36)
    assert three < power_better(1.2, 1, Precision(factor=0.2, df=36))
    more = power_against_control(1.2, 1, 10, 3, 43, control=17)
    assert more > three


def test_one_unit_or_one_block_shows_nothing():
    assert power_better(5, 1, two_groups(1)) == 0
    assert power_no_worse(0, 1, 1, complete_blocks(1, 2)) == 0
    assert power_same(0, 1, 1, two_groups(1)) == 0
    assert power_against_control(5, 1, 1, 3, 0) == 0


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: power_no_worse(0, 0, 1, two_groups(5)), "margin"),
        (lambda: power_same(0, -1, 1, two_groups(5)), "margin"),
        (lambda: exact_size(lambda _: 0.5, 0.8), "would not reach"),
        (lambda: exact_size(lambda _: 0.5, 80), "between 0 and 1"),
        (lambda: smallest_difference(lambda _: 0.5, 0.8, 1.0), "no difference"),
    ],
)
def test_questions_without_an_answer(made, words):
    with pytest.raises(ValueError, match=words):
        made()


def test_noncentral_distributions_that_sizes_rest_on():
    """Bank o-pow-06: R's pt with ncp; noncentral F by its Poisson mixture, good to 1e-10."""
    from scipy.special import ncfdtr, nctdtr

    bank = case("bank/o-pow-06-noncentral")["results"]
    for one in bank["pt"]:
        found = nctdtr(one["df"], one["ncp"], one["t"])
        told = one["p"] if "p" in one else 1 - one["upper"]
        assert found == pytest.approx(told, abs=1e-9)
    for one in bank["pf"]:
        found = 1 - ncfdtr(one["df1"], one["df2"], one["ncp"], one["f"])
        assert found == pytest.approx(one["upper"], abs=1e-9)
