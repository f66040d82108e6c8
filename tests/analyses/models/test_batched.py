"""Thousands of trials at once, against textbook formulas, least squares and each other."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.models.batches import batched
from analyses.models.batches.batched import fit_batch
from analyses.models.batches.nested_design import arrange
from analyses.models.mixed import fit_mixed
from tests.analyses.models.dense_mixed import dense_mixed


class Layout:
    """Treatments in every block, bags in each cell, flushes in each bag."""

    def __init__(self, treatments=3, blocks=4, bags=2, flushes=2, batches=1):
        places = np.indices((treatments, blocks, bags, flushes)).reshape(4, -1)
        self.treatment, self.block, bag, self.flush = places
        self.bag = (self.treatment * blocks + self.block) * bags + bag
        self.batch = self.block * batches + bag % batches
        self.x = np.eye(treatments)[self.treatment]
        self.rows = np.eye(treatments)[1:] - np.eye(treatments)[:1]

    def responses(self, rng, trials, variances, lost=0.1):
        """Draw responses; `variances` of block, batch, bag and residual."""
        y = rng.normal(size=(len(self.x), trials)) * np.sqrt(variances[-1])
        for labels, variance in zip((self.block, self.batch, self.bag), variances, strict=False):
            effects = rng.normal(size=(labels.max() + 1, trials))
            y += np.sqrt(variance) * effects[labels]
        y[rng.random(y.shape) < lost] = np.nan
        return y + 400.0


STRUCTURES = {
    "least squares": (),
    "blocks": ("block",),
    "bags": ("bag",),
    "blocks and bags": ("block", "bag"),
    "blocks and batches": ("block", "batch"),
    "blocks, batches and bags": ("block", "batch", "bag"),
}


def _agree_with_textbook(layout, y, fit, names, trial):
    there = np.isfinite(y[:, trial])
    labels = [getattr(layout, name)[there] for name in names]
    found = dense_mixed(
        y[there, trial] - 400, layout.x[there], labels, fit.variances[:, trial], layout.rows
    )
    np.testing.assert_allclose(fit.estimates[:, trial], found.estimates, rtol=1e-8, atol=1e-8)
    np.testing.assert_allclose(fit.standard_errors[:, trial], found.standard_errors, rtol=1e-7)
    np.testing.assert_allclose(fit.df[:, trial], found.df, rtol=1e-7)
    zero = fit.at_zero[:, trial]
    assert (found.scaled_slopes[zero] < 1e-6).all()
    np.testing.assert_allclose(found.scaled_slopes[~zero], 0, atol=1e-6)


@pytest.mark.parametrize("names", STRUCTURES.values(), ids=STRUCTURES.keys())
def test_without_errors_the_rest_is_the_same(names):
    layout = Layout()
    y = layout.responses(np.random.default_rng(12), 40, (1.0, 0.5, 0.5, 1.0))
    groups = {name: getattr(layout, name) for name in names}
    whole = fit_batch(y, layout.x, layout.rows, groups)
    quick = fit_batch(y, layout.x, layout.rows, groups, errors=False)
    np.testing.assert_array_equal(quick.estimates, whole.estimates)
    np.testing.assert_array_equal(quick.variances, whole.variances)
    np.testing.assert_array_equal(quick.converged, whole.converged)
    assert np.isfinite(whole.standard_errors).all()
    assert np.isnan(quick.standard_errors).all()
    assert np.isnan([quick.df, quick.t, quick.p, quick.low, quick.high]).all()


@pytest.mark.parametrize("names", STRUCTURES.values(), ids=STRUCTURES.keys())
@pytest.mark.parametrize("variances", [(1.0, 0.5, 0.5, 1.0), (0.0, 0.0, 0.1, 1.0)])
def test_textbook_formulas_with_the_whole_covariance_matrix(names, variances):
    """Kenward & Roger (1997) and the REML score by n x n matrices, at the variances found."""
    layout = Layout(bags=4, batches=2)
    y = layout.responses(np.random.default_rng(11), 40, variances)
    fit = fit_batch(y, layout.x, layout.rows, {name: getattr(layout, name) for name in names})
    assert fit.converged.all()
    for trial in range(40):
        _agree_with_textbook(layout, y, fit, names, trial)


def test_zero_block_variance_in_nearly_half_of_the_trials():
    layout = Layout(treatments=4, blocks=4, bags=2, flushes=1)
    y = layout.responses(np.random.default_rng(5), 300, (0.02, 0.0, 0.0, 1.0), lost=0.08)
    fit = fit_batch(y, layout.x, layout.rows, {"block": layout.block})
    assert fit.converged.all()
    assert 0.35 < fit.at_zero[0].mean() < 0.65
    assert any("block variance is at zero" in note for note in fit.notes)
    for trial in range(0, 300, 3):
        _agree_with_textbook(layout, y, fit, ("block",), trial)


@pytest.mark.parametrize("variances", [(0.5, 0.3, 0.4, 1.0), (0.02, 0.0, 0.0, 1.0)])
@pytest.mark.parametrize("names", [v for v in STRUCTURES.values() if v], ids=" and ".join)
def test_each_trial_equals_its_own_fit(names, variances):
    """The general engine, which shares no code with the batched one, trial by trial."""
    layout = Layout(treatments=3, blocks=4, bags=4, flushes=2, batches=2)
    y = layout.responses(np.random.default_rng(21), 8, variances, lost=0.08)
    groups = {name: getattr(layout, name) for name in names}
    fit = fit_batch(y, layout.x, layout.rows, groups)
    for trial in range(8):
        columns = {name: np.char.add(name, labels.astype(str)) for name, labels in groups.items()}
        recipe = np.array(["a", "b", "c"])[layout.treatment]
        data = pd.DataFrame({"grams": y[:, trial], "recipe": recipe, **columns}).dropna()
        alone = fit_mixed(data, "grams", "recipe", list(names))
        table = alone.contrasts("recipe", kind="versus control", control="a", df="kenward-roger")
        for column, got in (
            ("se", fit.standard_errors),
            ("df", fit.df),
            ("t", fit.t),
            ("p", fit.p),
            ("low", fit.low),
            ("high", fit.high),
        ):
            np.testing.assert_allclose(got[:, trial], table[column], rtol=1e-6, atol=1e-7)
        found = [alone.variances[name] for name in fit.components]
        np.testing.assert_allclose(fit.variances[:, trial], found, rtol=1e-6, atol=1e-6 * found[-1])


def test_least_squares_equals_statsmodels():
    layout = Layout()
    y = layout.responses(np.random.default_rng(3), 5, (0.0, 0.0, 0.0, 2.0))
    fit = fit_batch(y, layout.x, layout.rows)
    for trial in range(5):
        there = np.isfinite(y[:, trial])
        peer = sm.OLS(y[there, trial], layout.x[there]).fit().t_test(layout.rows)
        np.testing.assert_allclose(fit.estimates[:, trial], peer.effect)
        np.testing.assert_allclose(fit.standard_errors[:, trial], peer.sd)
        np.testing.assert_allclose(fit.p[:, trial], peer.pvalue)
        np.testing.assert_allclose(fit.df[:, trial], peer.df_denom)
        limits = peer.conf_int()
        np.testing.assert_allclose(fit.low[:, trial], limits[:, 0])
        np.testing.assert_allclose(fit.high[:, trial], limits[:, 1])


def test_balanced_split_plot_is_the_analysis_of_variance():
    """Yates (1935) oats by strata: F 1.4853 for varieties on 10 df, t for one contrast of two."""
    layout = Layout(treatments=3, blocks=6, bags=1, flushes=4)
    y = layout.responses(np.random.default_rng(8), 3, (4.0, 0.0, 2.0, 1.0), lost=0.0)
    fit = fit_batch(y, layout.x, layout.rows, {"block": layout.block, "plot": layout.bag})
    plots = y.reshape(3, 6, 4, 3).mean(axis=2)
    left = plots - plots.mean(axis=0) - plots.mean(axis=1, keepdims=True) + plots.mean(axis=(0, 1))
    mean_square = (left**2).sum(axis=(0, 1)) / 10
    inside = (fit.variances[:-1] > 0).all(axis=0)
    assert inside.any()
    errors = np.sqrt(2 * mean_square / 6)[inside]
    np.testing.assert_allclose(fit.standard_errors[:, inside], [errors, errors], rtol=1e-6)
    np.testing.assert_allclose(fit.df[:, inside], 10, rtol=1e-6)


def test_sums_by_size_and_group_by_group_agree(monkeypatch):
    layout = Layout(treatments=3, blocks=4, bags=3, flushes=3)
    y = layout.responses(np.random.default_rng(2), 30, (1.0, 0.0, 0.4, 1.0), lost=0.15)
    groups = {"block": layout.block, "bag": layout.bag}
    compressed = fit_batch(y, layout.x, layout.rows, groups)
    monkeypatch.setattr(batched, "arrange", lambda x, g: arrange(x, g, compress=False))
    spread = fit_batch(y, layout.x, layout.rows, groups)
    for name in ("estimates", "standard_errors", "df", "p", "variances"):
        np.testing.assert_allclose(
            getattr(compressed, name), getattr(spread, name), rtol=1e-6, atol=1e-7
        )


def test_a_trial_alone_equals_the_trial_in_a_batch():
    layout = Layout()
    y = layout.responses(np.random.default_rng(4), 700, (1.0, 0.0, 0.5, 1.0))
    groups = {"block": layout.block, "bag": layout.bag}
    many = fit_batch(y, layout.x, layout.rows, groups)
    for trial in (0, 511, 512, 699):
        alone = fit_batch(y[:, [trial]], layout.x, layout.rows, groups)
        np.testing.assert_allclose(alone.p[:, 0], many.p[:, trial], rtol=1e-6)
        np.testing.assert_allclose(alone.df[:, 0], many.df[:, trial], rtol=1e-6)


# ---------------------------------------------------------------------------------------------
# What must not matter
# ---------------------------------------------------------------------------------------------


def _small(seed, trials=6):
    layout = Layout()
    y = layout.responses(np.random.default_rng(seed), trials, (0.5, 0.0, 0.5, 1.0))
    return layout, y, {"block": layout.block, "bag": layout.bag}


def _same(a, b, factor=1.0):
    np.testing.assert_allclose(b.estimates, factor * a.estimates, rtol=1e-7, atol=1e-7 * factor)
    np.testing.assert_allclose(b.standard_errors, factor * a.standard_errors, rtol=1e-6)
    np.testing.assert_allclose(b.df, a.df, rtol=1e-6)
    np.testing.assert_allclose(
        b.variances, factor**2 * a.variances, rtol=1e-5, atol=1e-6 * factor**2
    )


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_order_of_rows_does_not_matter(seed):
    layout, y, groups = _small(seed)
    order = np.random.default_rng(seed).permutation(len(y))
    shuffled = fit_batch(
        y[order], layout.x[order], layout.rows, {k: v[order] for k, v in groups.items()}
    )
    _same(fit_batch(y, layout.x, layout.rows, groups), shuffled)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.floats(-1e6, 1e6), scale=st.floats(1e-3, 1e3))
def test_shift_and_scale(seed, shift, scale):
    layout, y, groups = _small(seed)
    plain = fit_batch(y, layout.x, layout.rows, groups)
    _same(plain, fit_batch(scale * y, layout.x, layout.rows, groups), scale)
    _same(plain, fit_batch(y + shift, layout.x, layout.rows, groups))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_names_of_blocks_and_bags_do_not_matter(seed):
    layout, y, groups = _small(seed)
    names = np.random.default_rng(seed).permutation(100)
    renamed = {k: np.array([f"n{names[one]}" for one in v]) for k, v in groups.items()}
    _same(
        fit_batch(y, layout.x, layout.rows, groups),
        fit_batch(y, layout.x, layout.rows, renamed),
    )


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_coding_of_the_treatments_does_not_matter(seed):
    layout, y, groups = _small(seed)
    turn = np.random.default_rng(seed).normal(size=(3, 3)) + 3 * np.eye(3)
    turned = fit_batch(y, layout.x @ turn, layout.rows @ turn, groups)
    _same(fit_batch(y, layout.x, layout.rows, groups), turned)
    too_many = np.concatenate([np.ones((len(y), 1)), layout.x], axis=1)
    rows = np.concatenate([np.zeros((2, 1)), layout.rows], axis=1)
    _same(fit_batch(y, layout.x, layout.rows, groups), fit_batch(y, too_many, rows, groups))


def test_interval_and_test_agree():
    layout, y, groups = _small(1, trials=200)
    fit = fit_batch(y, layout.x, layout.rows, groups, confidence=0.9)
    outside = (fit.low > 0) | (fit.high < 0)
    assert 0 < outside.mean() < 1
    np.testing.assert_array_equal(outside, fit.p < 0.1)


# ---------------------------------------------------------------------------------------------
# Edges
# ---------------------------------------------------------------------------------------------


def test_a_treatment_lost_whole_leaves_the_other_contrasts():
    layout, y, groups = _small(7, trials=4)
    y[layout.treatment == 2, 1] = np.nan
    fit = fit_batch(y, layout.x, layout.rows, groups)
    assert np.isnan([a[1, 1] for a in (fit.estimates, fit.p, fit.df, fit.low)]).all()
    kept = layout.treatment < 2
    alone = fit_batch(
        y[kept][:, [1]],
        layout.x[kept][:, :2],
        layout.rows[:1, :2],
        {k: v[kept] for k, v in groups.items()},
    )
    np.testing.assert_allclose(fit.p[0, 1], alone.p[0, 0], rtol=1e-6)
    np.testing.assert_allclose(fit.df[0, 1], alone.df[0, 0], rtol=1e-6)
    assert "1 of 4 trials: contrast 1 cannot be estimated from the rows left" in fit.notes
    others = [0, 2, 3]
    np.testing.assert_allclose(
        fit.p[:, others], fit_batch(y[:, others], layout.x, layout.rows, groups).p, rtol=1e-6
    )


def test_a_contrast_that_the_design_cannot_give_is_missing_everywhere():
    layout, y, groups = _small(7)
    x = np.concatenate([np.ones((len(y), 1)), layout.x], axis=1)
    fit = fit_batch(y, x, [[0, 1, 0, 0], [0, 1, -1, 0]], groups)
    assert np.isnan(fit.p[0]).all()
    assert np.isfinite(fit.p[1]).all()


def test_all_responses_equal():
    layout, y, groups = _small(9, trials=3)
    y[:, 1] = 250.0
    fit = fit_batch(y, layout.x, layout.rows, groups)
    np.testing.assert_allclose(fit.estimates[:, 1], 0, atol=1e-10)
    assert np.isnan(fit.p[:, 1]).all()
    assert (fit.variances[:, 1] == 0).all()
    assert np.isfinite(fit.p[:, [0, 2]]).all()
    assert any(note.startswith("1 of 3 trials: responses do not vary") for note in fit.notes)


def test_blocks_with_one_treatment_left_and_one_block_left():
    layout, y, groups = _small(10, trials=3)
    y[(layout.block == 0) & (layout.treatment > 0), 0] = np.nan
    y[layout.block > 0, 1] = np.nan
    fit = fit_batch(y, layout.x, layout.rows, groups)
    _agree_with_textbook(layout, y, fit, ("block", "bag"), 0)
    one = layout.block == 0
    alone = fit_batch(y[one][:, [1]], layout.x[one], layout.rows, {"bag": layout.bag[one]})
    np.testing.assert_allclose(fit.p[:, 1], alone.p[:, 0], rtol=1e-6)
    np.testing.assert_allclose(fit.df[:, 1], alone.df[:, 0], rtol=1e-6)


def test_bags_with_one_row_each_leave_the_residual():
    layout = Layout(flushes=1)
    y = layout.responses(np.random.default_rng(1), 4, (0.5, 0.0, 0.5, 1.0), lost=0.0)
    both = fit_batch(y, layout.x, layout.rows, {"block": layout.block, "bag": layout.bag})
    blocks = fit_batch(y, layout.x, layout.rows, {"block": layout.block})
    np.testing.assert_allclose(both.p, blocks.p, rtol=1e-6)
    np.testing.assert_allclose(both.df, blocks.df, rtol=1e-6)
    np.testing.assert_allclose(both.variances[[0, 2]], blocks.variances, rtol=1e-5, atol=1e-7)
    assert not both.at_zero[1].any()
    assert any("4 of 4 trials: each bag left is a single row" in note for note in both.notes)


def test_too_few_rows_and_none_at_all():
    layout, y, groups = _small(12, trials=3)
    y[:, 0] = np.nan
    y[:, 1] = np.where(np.isin(np.arange(len(y)), (0, 16, 32)), y[:, 1], np.nan)
    fit = fit_batch(y, layout.x, layout.rows, groups)
    assert np.isnan(fit.p[:, :2]).all()
    assert np.isfinite(fit.p[:, 2]).all()
    assert not fit.converged[:2].any()


def test_huge_block_variance():
    layout = Layout()
    y = layout.responses(np.random.default_rng(6), 10, (1e8, 0.0, 0.5, 1.0), lost=0.05)
    fit = fit_batch(y, layout.x, layout.rows, {"block": layout.block, "bag": layout.bag})
    assert fit.converged.all()
    fixed = np.concatenate([layout.x, np.eye(4)[layout.block][:, 1:]], axis=1)
    rows = np.concatenate([layout.rows, np.zeros((2, 3))], axis=1)
    inside = fit_batch(y, fixed, rows, {"bag": layout.bag})
    np.testing.assert_allclose(fit.p, inside.p, rtol=1e-4)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"design": np.ones((3, 1))}, "as many rows"),
        ({"contrasts": np.ones((1, 5))}, "5 weights for 3 coefficients"),
        ({"groups": {"block": [1, 2]}}, "labels of 'block'"),
        ({"design": np.full((48, 3), np.nan)}, "finite"),
        ({"confidence": 95.0}, "between 0 and 1"),
        ({"responses": np.zeros((48, 0))}, "no trial"),
    ],
)
def test_what_does_not_fit_is_said(change, message):
    layout, y, groups = _small(0)
    given_ = {"responses": y, "design": layout.x, "contrasts": layout.rows, "groups": groups}
    with pytest.raises(ValueError, match=message):
        fit_batch(**{**given_, **change})


@pytest.mark.parametrize("names", [("bag",), ("block", "bag"), ("block", "batch", "bag")])
@pytest.mark.parametrize("tiny", [1e-12, 1e-16, 0.0])
def test_a_residual_lost_in_rounding_gives_no_answer_for_that_trial_only(names, tiny):
    """As `fit_mixed` refuses it; the other trials of the batch keep theirs."""
    layout = Layout(bags=2, flushes=3)
    rng = np.random.default_rng(3)
    sound = layout.responses(rng, 5, (1.0, 0.0, 1.0, 0.01))
    lost = layout.responses(rng, 5, (1.0, 0.0, 1.0, tiny))
    groups = {name: getattr(layout, name) for name in names}
    fit = fit_batch(np.hstack([sound, lost]), layout.x, layout.rows, groups)
    assert fit.converged[:5].all()
    assert not fit.converged[5:].any()
    assert np.isfinite(fit.p[:, :5]).all()
    assert np.isnan(fit.p[:, 5:]).all()
    assert any("no residual beside the others" in note for note in fit.notes)
