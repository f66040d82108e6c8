"""What must not change when nothing that matters does."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analyses.models.mixed import fit_mixed

RANDOM = ["block", "bag"]
FIXED = "treatment * flush"
seeds = st.integers(0, 100_000)
fast = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def trial(seed, lost=0.1):
    """Make up a trial of 4 blocks, 3 treatments, 2 bags and 2 flushes with losses."""
    rng = np.random.default_rng(seed)
    names = ["block", "treatment", "rep", "flush"]
    levels = [["b1", "b2", "b3", "b4"], ["T1", "T2", "T3"], ["x", "y"], ["F1", "F2"]]
    data = pd.MultiIndex.from_product(levels, names=names).to_frame(index=False)
    data["bag"] = data["block"] + data["treatment"] + data["rep"]
    block = data["block"].map(dict(zip(levels[0], rng.normal(0, 20, 4), strict=True)))
    bag = data["bag"].map({one: rng.normal(0, 10) for one in data["bag"].unique()})
    effect = data["treatment"].map({"T1": 0, "T2": 20, "T3": -10})
    data["y"] = 300 + block + bag + effect + rng.normal(0, 15, len(data))
    kept = data[rng.random(len(data)) >= lost]
    whole = kept.groupby(["treatment", "flush"]).size()
    return kept.reset_index(drop=True) if len(whole) == 6 else trial(seed + 1, lost)


def same(one, other, rel=2e-6):
    """Compare two frames of results number by number."""
    numbers = one.select_dtypes("number").columns
    for name in numbers:
        np.testing.assert_allclose(one[name], other[name], rtol=rel, atol=1e-8, err_msg=name)


@fast
@given(seeds)
def test_row_order(seed):
    data = trial(seed)
    fit = fit_mixed(data, "y", FIXED, RANDOM)
    other = fit_mixed(data.sample(frac=1, random_state=seed), "y", FIXED, RANDOM)
    same(fit.contrasts("treatment", "all pairs"), other.contrasts("treatment", "all pairs"))
    same(fit.tests(), other.tests())


@fast
@given(seeds)
def test_relabelling_and_coding(seed):
    """Another first level changes the coding, not a single comparison nor a test."""
    data = trial(seed)
    turned = {"T1": "Z", "T2": "M", "T3": "A"}
    other = data.assign(
        treatment=data["treatment"].map(turned), block="s" + data["block"].str[::-1]
    )
    fit, other = (fit_mixed(one, "y", FIXED, RANDOM) for one in (data, other))
    assert fit.minus2_reml == pytest.approx(other.minus2_reml, rel=1e-9)
    pairs = fit.contrasts("treatment", "all pairs").set_index("contrast")
    back = other.contrasts("treatment", "all pairs").set_index("contrast")
    for name in pairs.index:
        high, low = name.split(" - ")
        found = back.loc[f"{turned[low]} - {turned[high]}"]
        assert pairs.loc[name, "estimate"] == pytest.approx(-found["estimate"], rel=1e-6)
        for key in ("se", "df", "p"):
            assert pairs.loc[name, key] == pytest.approx(found[key], rel=2e-6)
    same(fit.tests(), other.tests())


@fast
@given(seeds, st.floats(-1e6, 1e6))
def test_a_constant_moves_means_only(seed, constant):
    data = trial(seed)
    fit = fit_mixed(data, "y", FIXED, RANDOM)
    moved = fit_mixed(data.assign(y=data["y"] + constant), "y", FIXED, RANDOM)
    same(fit.contrasts("treatment"), moved.contrasts("treatment"), rel=1e-5)
    difference = moved.means("treatment")["mean"] - fit.means("treatment")["mean"]
    np.testing.assert_allclose(difference, constant, atol=1e-6)


@fast
@given(seeds, st.floats(1e-6, 1e6))
def test_scaling(seed, factor):
    data = trial(seed)
    fit = fit_mixed(data, "y", FIXED, RANDOM)
    scaled = fit_mixed(data.assign(y=data["y"] * factor), "y", FIXED, RANDOM)
    one, other = fit.contrasts("treatment"), scaled.contrasts("treatment")
    np.testing.assert_allclose(other["estimate"], one["estimate"] * factor, rtol=1e-6)
    for key in ("df", "t", "p"):
        np.testing.assert_allclose(other[key], one[key], rtol=2e-6)
    for name, value in fit.variances.items():
        assert scaled.variances[name] == pytest.approx(value * factor**2, rel=1e-6)


@fast
@given(seeds, st.sampled_from(["none", "exact"]), st.sampled_from([0.8, 0.95, 0.99]))
def test_interval_and_test_agree(seed, adjust, confidence):
    fit = fit_mixed(trial(seed), "y", FIXED, RANDOM)
    for kind in ("all pairs", "versus control", "consecutive"):
        found = fit.contrasts("treatment", kind, adjust=adjust, confidence=confidence)
        clear = np.abs(found["p"] - (1 - confidence)) > 1e-6
        excluded = (found["low"] > 0) | (found["high"] < 0)
        assert ((found["p"] < 1 - confidence) == excluded)[clear].all()
        if adjust == "exact":
            assert (found["low"] <= found["low_unadjusted"]).all()
            assert (found["p"] >= found["p_unadjusted"]).all()


@fast
@given(seeds)
def test_an_empty_level_changes_nothing(seed):
    data = trial(seed)
    padded = data.copy()
    for name, more in {"treatment": "T9", "block": "b9", "flush": "F0"}.items():
        padded[name] = pd.Categorical(data[name], [*sorted(data[name].unique()), more])
    fit, other = (fit_mixed(one, "y", FIXED, RANDOM) for one in (data, padded))
    assert fit.notes == other.notes
    same(fit.contrasts("treatment", "all pairs"), other.contrasts("treatment", "all pairs"))


@fast
@given(seeds)
def test_kinds_of_columns(seed):
    """Text, categories, whole numbers and plain arrays are the same factors."""
    data = trial(seed)
    fit = fit_mixed(data, "y", FIXED, RANDOM)
    codes = data.assign(block=data["block"].str[1].astype(int))
    codes["bag"] = codes["bag"].astype("category").cat.codes
    arrays = {name: data[name].to_numpy() for name in data}
    for other in (codes, data.astype({"treatment": "category"}), arrays, data.astype(object)):
        same(
            fit.contrasts("treatment"), fit_mixed(other, "y", FIXED, RANDOM).contrasts("treatment")
        )


@fast
@given(seeds)
def test_comparisons_add_up(seed):
    """T3 - T1 is (T2 - T1) + (T3 - T2), and means differ by their contrasts."""
    fit = fit_mixed(trial(seed), "y", FIXED, RANDOM)
    means = fit.means("treatment").set_index("level")["mean"]
    pairs = fit.contrasts("treatment", "all pairs").set_index("contrast")["estimate"]
    steps = fit.contrasts("treatment", "consecutive").set_index("contrast")["estimate"]
    assert pairs["T3 - T1"] == pytest.approx(steps.sum(), rel=1e-9, abs=1e-9)
    for name, value in pairs.items():
        high, low = name.split(" - ")
        assert means[high] - means[low] == pytest.approx(value, rel=1e-9, abs=1e-9)
    cells = fit.means(["treatment", "flush"]).set_index("level")["mean"]
    assert cells[["T1:F1", "T1:F2"]].mean() == pytest.approx(means["T1"])


@fast
@given(seeds)
def test_nested_names_and_unique_names_are_one(seed):
    """A bag named within its block is the same bag under a name of its own."""
    data = trial(seed).assign(plot=lambda d: d["treatment"] + d["rep"])
    one = fit_mixed(data, "y", FIXED, ["block", "bag"])
    other = fit_mixed(data, "y", FIXED, ["block", "block:plot"])
    assert other.variances["block:plot"] == pytest.approx(one.variances["bag"], rel=1e-7)
    same(one.contrasts("treatment"), other.contrasts("treatment"))


def test_balanced_complete_trials_equal_their_strata():
    """Without losses the F of treatments is that of bag means within blocks."""
    data = trial(3, lost=0)
    fit = fit_mixed(data, "y", FIXED, RANDOM)
    assert min(fit.variances.values()) > 0
    bags = data.groupby(["block", "treatment", "bag"], as_index=False)["y"].mean()
    classical = fit_mixed(bags, "y", "treatment + block").tests().set_index("term")
    found = fit.tests().set_index("term").loc["treatment"]
    assert found["f"] == pytest.approx(classical.loc["treatment", "f"], rel=1e-6)
    assert found["den_df"] == pytest.approx(classical.loc["treatment", "den_df"], rel=1e-6)


def test_fits_repeat_to_the_last_bit():
    data = trial(8)
    one, other = (fit_mixed(data, "y", FIXED, RANDOM) for _ in range(2))
    assert one.minus2_reml == other.minus2_reml
    pairs = [f.contrasts("treatment", "all pairs", adjust="exact")["p"] for f in (one, other)]
    assert (pairs[0] == pairs[1]).all()
