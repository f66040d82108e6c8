"""Re-randomisation against exact fractions, plain enumeration, and what must not matter."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.models.layouts.rerandomise import rerandomise, rerandomise_batches
from tests.reference.load import case, frame

ALL = 10**14


def _fraction(test):
    assert test.exact
    assert test.p == pytest.approx(test.count / test.total)
    return Fraction(test.count, test.total)


# ---------------------------------------------------------------------------------------------
# Exact fractions from outside
# ---------------------------------------------------------------------------------------------


def test_three_treatments_in_five_blocks():
    data, expected = frame("rerandomise_blocks"), case("rerandomise_blocks")
    test = rerandomise(data["treatment"], data["y"], blocks=data["block"], statistic="treatments")
    assert _fraction(test) == Fraction(expected["extreme"], expected["total"])
    assert test.total == 6**5


def test_darwin_signs():
    """Fisher (1935) The Design of Experiments, section 21: 1726 of 32768."""
    difference = frame("bank/darwin")["y"].to_numpy(float)
    response = np.stack([difference, np.zeros(15)], axis=1).ravel()
    test = rerandomise(
        ["crossed", "selfed"] * 15,
        response,
        treated="crossed",
        control="selfed",
        blocks=np.repeat(np.arange(15), 2),
    )
    assert (test.count, test.total) == (1726, 32768)


@pytest.mark.parametrize(("ranks", "key"), [(False, "mean_difference"), (True, "rank_sum")])
def test_two_groups_of_sleepers(ranks, key):
    """Student (1908), pairing ignored: all 184,756 ways."""
    data = frame("bank/sleep")
    expected = case("bank/o-perm-02-sleep-two-sample")["results"]
    response = data["extra"].rank() if ranks else data["extra"]
    test = rerandomise(data["group"], response, treated=2, control=1)
    assert (test.count, test.total) == (expected[key]["two_sided_count"], 184756)


@pytest.mark.parametrize(("ranks", "key"), [(False, "F_test"), (True, "friedman")])
def test_penicillin_blocks(ranks, key):
    """Box, Hunter & Hunter (1978): all 24^5 layouts; the file holds one block fixed."""
    data = frame("bank/penicillin_bhh")
    expected = case("bank/o-perm-03-blocks-penicillin")["results"]
    response = data.groupby("blend")["yield"].rank() if ranks else data["yield"]
    test = rerandomise(
        data["treat"],
        response,
        blocks=data["blend"],
        statistic="treatments",
        enumerate_up_to=ALL,
    )
    total = expected["F_test"]["total"]
    assert _fraction(test) == Fraction(expected[key]["count"], total)
    assert test.total == expected["total_full"]


@pytest.mark.parametrize(("ranks", "key"), [(False, "rotarod_means"), (True, "rotarod_ranks")])
def test_rotarod(ranks, key):
    """Bergmann, Ludbrook & Spooren (2000): exact two-sided 0.0373."""
    data = frame("bank/rotarod")
    expected = case("bank/o-perm-04-blocked-two-treatments")["results"][key]
    response = data["time"].rank() if ranks else data["time"]
    test = rerandomise(
        data["group"], response, treated="treatment", control="control", enumerate_up_to=ALL
    )
    assert (test.count, test.total) == (expected["two_sided_count"], expected["total"])


def test_two_treatments_twice_in_each_of_four_blocks():
    expected = case("bank/o-perm-04-blocked-two-treatments")["results"]["invented_blocks"]
    data = expected["data"]
    test = rerandomise(data["trt"], data["y"], treated="b", control="a", blocks=data["block"])
    assert (test.count, test.total) == (expected["two_sided_count"], expected["total"])


def test_two_billion_layouts_by_equal_sums():
    """Hothorn (1999) data: C(34, 15) layouts counted without listing them."""
    data, expected = frame("bank/asat"), case("bank/o-perm-06-asat-kgroups")["results"]
    kind = {"treated": "Compound", "control": "Control", "enumerate_up_to": ALL}
    means = rerandomise(data["group"], data["asat"], **kind)
    ranks = rerandomise(data["group"], data["asat"].rank(), **kind)
    assert means.p == pytest.approx(expected["oneway_exact"], abs=1e-12)
    assert ranks.p == pytest.approx(expected["wilcoxon_exact"], abs=1e-12)


def test_friedman_over_all_arrangements_of_nine_blocks():
    """Ranks of the stools (Pinheiro & Bates 2000): 24^9 layouts by joining equal rank totals."""
    data, expected = frame("bank/ergoStool"), case("bank/o-perm-07-friedman-exact")["results"]
    test = rerandomise(
        data["Type"],
        data.groupby("Subject")["effort"].rank(),
        blocks=data["Subject"],
        statistic="treatments",
        enumerate_up_to=ALL,
    )
    assert (test.count, test.total) == (expected["count"], 24**9)


def test_litters_as_batches():
    """Kupper & Haseman (1978): proportions of 10 + 10 litters, exact."""
    data = frame("bank/mice")
    expected = case("bank/o-bin-12-mice-litters")["results"]["permutation_mean_proportion"]
    litter = np.repeat(np.arange(len(data)), data["n"])
    dead = np.concatenate([np.arange(n) < y for y, n in zip(data["y"], data["n"], strict=True)])
    levels = sorted(data["group"].unique())
    test = rerandomise_batches(
        data["group"].to_numpy()[litter], litter, dead, treated=levels[1], control=levels[0]
    )
    assert (test.count, test.total) == (expected["count"], expected["total"])


# ---------------------------------------------------------------------------------------------
# Plain enumeration and least squares
# ---------------------------------------------------------------------------------------------


def _coefficient(labels, y, blocks, treated, control):
    """Least squares with every column; NaN where the difference cannot be estimated."""
    there = np.isfinite(y)
    kinds = sorted(set(labels))
    x = np.concatenate(
        [
            (np.array(labels)[:, None] == kinds).astype(float),
            np.eye(max(blocks) + 1)[blocks],
        ],
        axis=1,
    )[there]
    row = np.zeros(x.shape[1])
    row[kinds.index(treated)], row[kinds.index(control)] = 1, -1
    inside = x.T @ np.linalg.pinv(x @ x.T) @ x @ row
    if np.abs(inside - row).max() > 1e-8:
        return np.nan
    return float(np.linalg.lstsq(x, y[there], rcond=None)[0] @ row)


def _by_hand(labels, y, blocks, treated, control):
    """Count over every layout, one at a time."""
    units = [np.flatnonzero(np.array(blocks) == b) for b in sorted(set(blocks))]
    ways = [sorted(set(itertools.permutations([labels[i] for i in one]))) for one in units]
    observed = abs(_coefficient(labels, y, blocks, treated, control))
    count = total = 0
    for chosen in itertools.product(*ways):
        layout = list(labels)
        for one, own in zip(units, chosen, strict=True):
            for i, label in zip(one, own, strict=True):
                layout[i] = label
        value = _coefficient(layout, y, blocks, treated, control)
        total += np.isfinite(value)
        count += np.isfinite(value) and abs(value) >= observed * (1 - 1e-9) - 1e-9
    return count, total, observed


@pytest.mark.parametrize(
    ("labels", "blocks", "lost"),
    [
        ("ababaabb", [0, 0, 0, 0, 1, 1, 1, 1], []),
        ("abcbcacab", [0, 0, 0, 1, 1, 1, 2, 2, 2], [4]),
        ("aabbcabbc", [0, 0, 0, 0, 0, 1, 1, 1, 1], [1, 8]),
        ("aababbab", [0, 0, 0, 1, 1, 1, 2, 2], [6]),
        ("aaabb", [0, 0, 0, 0, 0], [0]),
    ],
)
def test_every_layout_one_by_one(labels, blocks, lost):
    """Losses, unequal numbers, a block with one treatment left: least squares layout by layout."""
    y = np.random.default_rng(len(labels)).normal(300, 40, len(labels))
    y[lost] = np.nan
    test = rerandomise(list(labels), y, treated="b", control="a", blocks=blocks)
    count, total, observed = _by_hand(list(labels), y, blocks, "b", "a")
    assert (test.count, test.total) == (count, total)
    assert abs(test.statistic) == pytest.approx(observed)


def test_a_layout_that_losses_make_useless_is_left_out():
    """One pair left whole: the layouts of that pair alone decide."""
    test = rerandomise(
        ["a", "b"] * 3,
        [10.0, 14.0, 11.0, np.nan, np.nan, 15.0],
        treated="b",
        control="a",
        blocks=[0, 0, 1, 1, 2, 2],
    )
    assert test.p == 1.0
    assert test.statistic == pytest.approx(4.0)
    with pytest.raises(ValueError, match="cannot tell the two labels apart"):
        rerandomise(["a", "b"] * 2, [1, np.nan, np.nan, 2], treated="b", control="a",
                    blocks=[0, 0, 1, 1])  # fmt: skip


def test_a_function_as_statistic_equals_the_built_in_one():
    rng = np.random.default_rng(5)
    labels, blocks = np.array(list("abba" * 3)), np.repeat([0, 1, 2], 4)
    y = rng.normal(size=12)

    def difference(layouts):
        return (y * (layouts == "b")).sum(1) / 6 - (y * (layouts == "a")).sum(1) / 6

    own = rerandomise(labels, y, blocks=blocks, statistic=difference)
    built_in = rerandomise(labels, y, blocks=blocks, treated="b", control="a")
    assert (own.count, own.total) == (built_in.count, built_in.total)
    assert own.statistic == pytest.approx(built_in.statistic)


def test_batches_in_blocks_count_once_each():
    labels = np.repeat(list("abab"), [3, 4, 5, 2])
    batches = np.repeat([1, 2, 3, 4], [3, 4, 5, 2])
    blocks = np.repeat(["x", "x", "y", "y"], [3, 4, 5, 2])
    y = np.array([0, 0, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 1, 1], float)
    y[3] = np.nan
    test = rerandomise_batches(labels, batches, y, treated="b", control="a", blocks=blocks)
    assert test.statistic == pytest.approx(((1 - 1 / 3) + (1 - 0)) / 2)
    assert (test.count, test.total) == (2, 4)


@pytest.mark.parametrize(
    ("labels", "blocks", "message"),
    [("aaab", None, "batch 2 has more than one treatment"), ("aabb", [1, 1, 1, 2], "one block")],
)
def test_batches_that_are_no_units(labels, blocks, message):
    with pytest.raises(ValueError, match=message):
        rerandomise_batches(
            list(labels), [1, 1, 2, 2], [0, 1, 1, 1], treated="b", control="a", blocks=blocks
        )


# ---------------------------------------------------------------------------------------------
# Drawn layouts
# ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lost", [[], [2, 13]])
@pytest.mark.parametrize("statistic", ["difference", "treatments"])
def test_drawn_p_is_near_the_exact_one(statistic, lost):
    rng = np.random.default_rng(8)
    labels, blocks = np.tile([0, 1, 2], 6), np.repeat(np.arange(6), 3)
    y = rng.normal(size=18) + 0.7 * (labels == 2)
    y[lost] = np.nan
    kind = {"treated": 2, "control": 0, "blocks": blocks, "statistic": statistic}
    exact = rerandomise(labels, y, **kind)
    drawn = rerandomise(labels, y, **kind, enumerate_up_to=0, generator=rng)
    assert exact.exact
    assert not drawn.exact
    error = np.sqrt(exact.p * (1 - exact.p) / 100_000)
    assert abs(drawn.p - exact.p) < 5 * error
    assert drawn.total <= 100_001


def test_large_blocks_are_drawn_and_counted():
    """Blocks of 20 are too large to tabulate but not to count."""
    rng = np.random.default_rng(9)
    labels, blocks = np.tile([0, 1], 20), np.repeat([0, 1], 20)
    y = rng.integers(300, 500, 40).astype(float)
    kind = {"treated": 1, "control": 0, "blocks": blocks}
    exact = rerandomise(labels, y, **kind, enumerate_up_to=ALL)
    drawn = rerandomise(labels, y, **kind, generator=rng)
    assert exact.total == 184756**2
    assert abs(drawn.p - exact.p) < 5 * np.sqrt(exact.p * (1 - exact.p) / 100_000)


def test_the_same_generator_gives_the_same_p_and_the_layout_used_counts():
    y = np.array([1.0, 2.0] * 30) + np.arange(60) / 100
    kind = {"treated": 1, "control": 0, "blocks": np.repeat(np.arange(30), 2), "draws": 5000}
    one, two = (
        rerandomise([0, 1] * 30, y, **kind, generator=np.random.default_rng(3)) for _ in range(2)
    )
    assert one == two
    assert one.count == 1
    assert one.p == 1 / 5001


def test_drawing_needs_a_generator():
    with pytest.raises(ValueError, match="pass a generator"):
        rerandomise([0, 1] * 30, np.arange(60.0), treated=1, control=0)


# ---------------------------------------------------------------------------------------------
# What must not matter
# ---------------------------------------------------------------------------------------------


def _small(seed):
    rng = np.random.default_rng(seed)
    labels = np.concatenate([rng.permutation(list("abcb")) for _ in range(3)])
    y = rng.integers(300, 320, 12).astype(float)
    y[rng.random(12) < 0.1] = np.nan
    return rng, labels, np.repeat([0, 1, 2], 4), y


def _p(labels, y, blocks, **kind):
    test = rerandomise(labels, y, **{"treated": "b", "control": "a", "blocks": blocks, **kind})
    return test.count, test.total


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_names_and_order_do_not_matter(seed):
    rng, labels, blocks, y = _small(seed)
    try:
        plain = _p(labels, y, blocks)
    except ValueError:
        return
    assert _p(labels, y, rng.permutation(90)[blocks]) == plain
    order = rng.permutation(12)
    assert _p(labels[order], y[order], blocks[order]) == plain
    assert _p(labels, y, blocks, treated="a", control="b") == plain
    other = np.array([{"a": "z", "b": "m", "c": "k"}[one] for one in labels])
    assert _p(other, y, blocks, treated="m", control="z") == plain


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.floats(-1e6, 1e6), scale=st.floats(-100, 100))
def test_shift_scale_and_block_levels_do_not_matter(seed, shift, scale):
    rng, labels, blocks, y = _small(seed)
    factor = scale if abs(scale) > 0.01 else 1.0
    try:
        plain = _p(labels, y, blocks)
    except ValueError:
        return
    assert _p(labels, factor * y + shift, blocks) == plain
    assert _p(labels, y + 50 * rng.integers(0, 9, 3)[blocks], blocks) == plain


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_exact_p_is_at_least_the_share_of_the_layout_used(seed):
    _, labels, blocks, y = _small(seed)
    y = np.where(np.isnan(y), 300.0, y)
    count, total = _p(labels, y, blocks)
    assert total == 12**3
    assert 1 <= count <= total


# ---------------------------------------------------------------------------------------------
# Edges
# ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("statistic", ["difference", "treatments"])
def test_all_responses_equal(statistic):
    test = rerandomise(
        [0, 1, 2] * 3, np.full(9, 0.1), treated=1, control=0, blocks=np.repeat([0, 1, 2], 3),
        statistic=statistic,
    )  # fmt: skip
    assert test.p == 1.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"treated": "d"}, "treated label 'd' is not among"),
        ({"treated": "a"}, "both 'a'"),
        ({"statistic": "median"}, "'median' is not"),
        ({"blocks": [1, 2]}, "blocks have shape"),
        ({"labels": ["a"] * 4}, "at least two treatments"),
        ({"response": [1.0, 2.0]}, "as many units"),
        ({"labels": np.arange(101), "response": np.zeros(101)}, "at most 100"),
    ],
)
def test_what_does_not_fit_is_said(change, message):
    plain = {"labels": list("abab"), "response": [1.0, 2, 3, 4], "treated": "b", "control": "a"}
    arguments = {**plain, **change}
    with pytest.raises(ValueError, match=message):
        rerandomise(arguments.pop("labels"), arguments.pop("response"), **arguments)
