"""Re-randomisation of Latin squares, split plots, drawn designs and mixed models."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest

from analyses.models.batches.batched import fit_batch
from analyses.models.layouts.rerandomise import rerandomise
from analyses.models.layouts.rerandomise_designs import (
    rerandomise_layouts,
    rerandomise_split_plot,
    rerandomise_square,
)
from analyses.models.layouts.rerandomise_mixed import rerandomise_mixed
from tests.reference.load import case

# ---------------------------------------------------------------------------------------------
# Latin squares
# ---------------------------------------------------------------------------------------------


def _latin():
    expected = case("bank/o-perm-05-latin")["results"]
    rows, columns = np.indices((4, 4)).reshape(2, -1)
    return expected, np.array(expected["square"]).ravel(), rows, columns


def test_latin_square_of_the_bank():
    """All 4! x 4! orders of rows and columns; letters change nothing in a sum of squares."""
    expected, labels, rows, columns = _latin()
    y = np.array(expected["y"], float).ravel()
    test = rerandomise_square(labels, rows, columns, y, statistic="treatments")
    assert test.exact
    assert test.total == 24**3
    assert Fraction(test.count, test.total) == Fraction(expected["count"], expected["total"])


def test_latin_square_difference_one_layout_at_a_time():
    expected, labels, rows, columns = _latin()
    y = np.array(expected["y"], float)
    square = np.searchsorted(list("ABCD"), np.array(expected["square"]))
    count = 0
    observed = abs(y[square == 3].mean() - y[square == 0].mean())
    orders = list(itertools.permutations(range(4)))
    for r, c in itertools.product(orders, orders):
        moved = square[np.ix_(r, c)]
        sums = np.array([y[moved == k].mean() for k in range(4)])
        pairs = np.abs(sums[:, None] - sums[None])[~np.eye(4, dtype=bool)]
        count += 2 * np.count_nonzero(pairs >= observed - 1e-9)  # two letters of four, 2! others
    test = rerandomise_square(labels, rows, columns, y.ravel(), treated="D", control="A")
    assert (test.count, test.total) == (count, 24**3)
    assert abs(test.statistic) == pytest.approx(observed)


def test_latin_square_with_a_lost_unit_is_drawn_near_the_exact_p():
    expected, labels, rows, columns = _latin()
    y = np.array(expected["y"], float).ravel()
    y[5] = np.nan
    kind = {"treated": "D", "control": "A"}
    exact = rerandomise_square(labels, rows, columns, y, **kind)
    rng = np.random.default_rng(1)
    drawn = rerandomise_square(labels, rows, columns, y, **kind, enumerate_up_to=0, generator=rng)
    assert abs(drawn.p - exact.p) < 5 * np.sqrt(exact.p * (1 - exact.p) / 100_000)


def test_no_latin_square():
    _, labels, rows, columns = _latin()
    labels[0] = "B"
    with pytest.raises(ValueError, match="once in every row and column"):
        rerandomise_square(labels, rows, columns, np.arange(16.0), treated="B", control="A")


def test_layouts_of_the_designs_own_draw():
    """A draw that shuffles within blocks gives the p of the test within blocks."""
    rng = np.random.default_rng(4)
    labels, blocks = np.array(list("abc") * 4), np.repeat(np.arange(4), 3)
    y = rng.normal(size=12)

    def draw(source, count):
        shuffled = source.permuted(np.tile(list("abc"), (count * 4, 1)), axis=1)
        return shuffled.reshape(count, 12)

    kind = {"treated": "c", "control": "a"}
    exact = rerandomise(labels, y, blocks=blocks, **kind)
    drawn = rerandomise_layouts(labels, y, draw, nuisance=np.eye(4)[blocks], generator=rng, **kind)
    assert not drawn.exact
    assert drawn.statistic == pytest.approx(exact.statistic)
    assert abs(drawn.p - exact.p) < 5 * np.sqrt(exact.p * (1 - exact.p) / 100_000)


# ---------------------------------------------------------------------------------------------
# Split plots
# ---------------------------------------------------------------------------------------------


def _split(seed=2, lost=()):
    rng = np.random.default_rng(seed)
    block, whole, sub = np.indices((4, 3, 2)).reshape(3, -1)
    y = rng.normal(size=24) + 0.8 * (whole == 2) + 0.5 * sub
    y[list(lost)] = np.nan
    return block, whole, sub, block * 3 + whole, y


def test_whole_plot_factor_is_a_test_on_plot_means():
    block, whole, sub, plot, y = _split()
    test = rerandomise_split_plot(whole, sub, plot, y, blocks=block, treated=2, control=0)
    means = y.reshape(12, 2).mean(axis=1)
    plain = rerandomise(whole[::2], means, blocks=block[::2], treated=2, control=0)
    assert (test.count, test.total) == (plain.count, plain.total)
    assert test.statistic == pytest.approx(plain.statistic)


def test_subplot_factor_is_a_test_within_plots():
    block, whole, sub, plot, y = _split()
    test = rerandomise_split_plot(sub, whole, plot, y, blocks=block, treated=1, control=0)
    signs = y.reshape(12, 2) @ [-1, 1]
    sums = np.array([np.dot(s, signs) for s in itertools.product([-1, 1], repeat=12)])
    count = np.count_nonzero(np.abs(sums) >= abs(signs.sum()) - 1e-9)
    assert (test.count, test.total) == (count, 2**12)


def test_lost_subplots_are_adjusted_for_the_other_factor():
    block, whole, sub, plot, y = _split(lost=(4, 9))
    test = rerandomise_split_plot(whole, sub, plot, y, blocks=block, treated=2, control=0)
    there = np.isfinite(y)
    x = np.concatenate([np.eye(3)[whole], np.eye(4)[block], np.eye(2)[sub]], axis=1)[there]
    solved = np.linalg.lstsq(x, y[there], rcond=None)[0]
    assert test.statistic == pytest.approx(solved[2] - solved[0])
    assert test.total == 6**4


def test_a_plot_in_two_blocks():
    block, whole, sub, plot, y = _split()
    with pytest.raises(ValueError, match="more than one block"):
        rerandomise_split_plot(whole, sub, whole, y, blocks=block, treated=2, control=0)
    assert plot.max() == 11


# ---------------------------------------------------------------------------------------------
# Mixed models
# ---------------------------------------------------------------------------------------------


def _flushes(lost=0.1):
    rng = np.random.default_rng(6)
    block, bag, flush = np.indices((3, 3, 2)).reshape(3, -1)
    unit = block * 3 + bag
    labels = np.concatenate([rng.permutation(3) for _ in range(3)])
    y = rng.normal(size=18) + rng.normal(size=9)[unit] + rng.normal(size=3)[block]
    y[rng.random(18) < lost] = np.nan
    return labels, block, unit, flush, y


def _design(labels, unit, flush):
    return np.concatenate([np.eye(3)[labels[unit]], np.eye(2)[flush][:, 1:]], axis=1)


def test_mixed_model_statistic_one_layout_at_a_time():
    """Moving responses between bags is giving the bags other labels."""
    labels, block, unit, flush, y = _flushes()
    groups, contrast = {"block": block, "bag": unit}, [-1, 0, 1, 0]
    blocks = np.repeat(np.arange(3), 3)
    x = _design(labels, unit, flush)
    order = np.argsort(flush, kind="stable")  # rows of one bag need not stand together
    test = rerandomise_mixed(
        labels,
        y[order],
        unit[order],
        x[order],
        contrast,
        {name: values[order] for name, values in groups.items()},
        blocks=blocks,
    )
    t = []
    for chosen in itertools.product(itertools.permutations(range(3)), repeat=3):
        moved = _design(np.concatenate(chosen), unit, flush)
        t.append(fit_batch(y[:, None], moved, [contrast], groups).t[0, 0])
    t = np.abs(t)
    own = abs(fit_batch(y[:, None], x, [contrast], groups).t[0, 0])
    usable = np.isfinite(t)
    assert test.total == np.count_nonzero(usable)
    assert test.count == np.count_nonzero(t[usable] >= own * (1 - 1e-6))
    assert abs(test.statistic) == pytest.approx(own)


@pytest.mark.parametrize("what", ["rows", "fixed part", "random term"])
def test_what_cannot_be_moved_is_said(what):
    labels, block, unit, flush, y = _flushes()
    x, groups = _design(labels, unit, flush), {"block": block, "bag": unit}
    keep = slice(None)
    if what == "rows":
        keep, message = slice(1, None), "same number of rows"
    elif what == "fixed part":
        labels = np.array([0, 0, 1, 1, 2, 2, 0, 1, 2])
        x = np.concatenate([_design(labels, unit, flush), unit[:, None]], axis=1)
        message = "same fixed part"
    else:
        groups, message = {"block": block, "batch": unit // 2}, "random term 'batch'"
    with pytest.raises(ValueError, match=message):
        rerandomise_mixed(
            labels,
            y[keep],
            unit[keep],
            x[keep],
            [-1, 0, 1] + [0] * (x.shape[1] - 3),
            {name: values[keep] for name, values in groups.items()},
            blocks=np.repeat(np.arange(3), 3),
        )
