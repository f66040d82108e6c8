"""Odd tables: a right answer, or an error in plain words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analyses.models.linear.arrays import FitError
from analyses.models.mixed import fit_mixed


def blocks(seed=0, sd=1.0, block=1.0, treatments="abc", count=6):
    rng = np.random.default_rng(seed)
    names = [f"b{i}" for i in range(count)]
    data = pd.MultiIndex.from_product([names, [*treatments]], names=["block", "treatment"])
    data = data.to_frame(index=False)
    shift = dict(zip(names, block * rng.normal(size=count), strict=True))
    data["y"] = 50 + data["block"].map(shift) + sd * rng.normal(size=len(data))
    return data


def test_block_variance_at_zero_is_said():
    data = blocks(seed=1)
    data["y"] -= data.groupby("block")["y"].transform("mean")
    fit = fit_mixed(data, "y", "treatment", ["block"])
    assert fit.variances["block"] == 0
    assert fit.optimum.at_zero[0]
    assert any("'block' is estimated at zero" in note for note in fit.notes)
    # Kenward-Roger keeps the blocks in the df, Satterthwaite drops them (STATISTICS 13)
    np.testing.assert_allclose(fit.contrasts("treatment")["df"], 10, rtol=1e-9)
    np.testing.assert_allclose(fit.contrasts("treatment", df="satterthwaite")["df"], 15, rtol=1e-9)


@pytest.mark.parametrize(("size", "rel"), [(1e2, 1e-8), (1e4, 1e-6), (1e5, 1e-5)])
def test_huge_block_variance(size, rel):
    """Comparisons within blocks then equal those with fixed blocks; later, it is refused."""
    data = blocks(seed=2, block=size)
    mixed = fit_mixed(data, "y", "treatment", ["block"]).contrasts("treatment")
    fixed = fit_mixed(data, "y", "treatment + block").contrasts("treatment")
    for name in ("estimate", "se", "df", "p"):
        np.testing.assert_allclose(mixed[name], fixed[name], rtol=rel)
    with pytest.raises(FitError, match="no residual variation"):
        fit_mixed(blocks(seed=2, block=1e8), "y", "treatment", ["block"])


@pytest.mark.parametrize("offset", [1e6, 1e9])
def test_far_from_zero(offset):
    data = blocks(seed=3)
    near = fit_mixed(data, "y", "treatment", ["block"]).contrasts("treatment")
    far = fit_mixed(data.assign(y=data["y"] + offset), "y", "treatment", ["block"])
    np.testing.assert_allclose(far.contrasts("treatment")["se"], near["se"], rtol=1e-6)


def test_one_bag_a_cell():
    """One row a block and treatment is a complete block trial; a term for each row is not."""
    data = blocks(seed=4).assign(bag=lambda d: d["block"] + d["treatment"])
    assert fit_mixed(data, "y", "treatment", ["block"]).contrasts("treatment")["df"][0] == (
        pytest.approx(10)
    )
    with pytest.raises(FitError, match="every row is a level of its own of 'bag'"):
        fit_mixed(data, "y", "treatment", ["block", "bag"])


def test_a_treatment_lost_whole():
    data = blocks(seed=5)
    data.loc[data["treatment"] == "b", "y"] = np.nan
    fit = fit_mixed(data, "y", "treatment", ["block"])
    assert "6 rows without 'y' left out" in fit.notes
    assert "no row left for treatment 'b': not compared" in fit.notes
    assert list(fit.contrasts("treatment")["contrast"]) == ["c - a"]
    with pytest.raises(FitError, match="none of the levels a, c"):
        fit.contrasts("treatment", control="b")


def test_an_empty_cell_is_named_not_invented():
    data = pd.concat([blocks(seed=6).assign(flush=f) for f in ("F1", "F2")], ignore_index=True)
    data["y"] += np.random.default_rng(1).normal(size=len(data))
    data = data[~((data["treatment"] == "c") & (data["flush"] == "F2"))]
    fit = fit_mixed(data, "y", "treatment * flush", ["block"])
    means = fit.means("treatment")
    assert np.isnan(means.loc[2, "mean"])
    assert means.attrs["notes"] == ["c: cannot be estimated from these rows"]
    assert means.loc[:1, "mean"].notna().all()
    found = fit.contrasts("treatment", "all pairs", adjust="exact").set_index("contrast")
    assert np.isfinite(found.loc["b - a", ["estimate", "p", "low"]].astype(float)).all()
    assert found.loc[["c - a", "c - b"], "estimate"].isna().all()
    single = fit.contrasts("treatment", "all pairs").set_index("contrast")
    assert found.loc["b - a", "p"] == pytest.approx(single.loc["b - a", "p"])
    first = fit.contrasts("treatment", by="flush").set_index(["flush", "contrast"])
    assert np.isfinite(first.loc[("F1", "c - a"), "estimate"])
    assert np.isnan(first.loc[("F2", "c - a"), "estimate"])
    tests = fit.tests()
    assert tests.set_index("term").loc["treatment:flush", "num_df"] == 1
    assert any("treatment:flush: only 1 of 2" in note for note in tests.attrs["notes"])
    assert any("treatment[c]:flush[F2]" in note for note in fit.notes)
    assert fit.effects.set_index("effect")["estimate"].isna().sum() >= 1


def test_disconnected_blocks():
    """Two sets of blocks with no treatment in common (as the bank's IncBlk, fixed blocks)."""
    rows = [(f"b{i}", t) for i in range(6) for t in ("ab" if i < 3 else "cd")]
    data = pd.DataFrame(rows, columns=["block", "treatment"])
    data["y"] = np.random.default_rng(0).normal(size=len(data))
    found = fit_mixed(data, "y", "block + treatment").contrasts("treatment", "all pairs")
    found = found.set_index("contrast")["estimate"]
    assert found[["b - a", "d - c"]].notna().all()
    assert found[["c - a", "d - a", "c - b", "d - b"]].isna().all()


def test_all_yields_equal():
    for y in (7.3, 0.0, 1e9):
        for random in ([], ["block"]):
            with pytest.raises(FitError, match="nothing varies"):
                fit_mixed(blocks().assign(y=y), "y", "treatment", random)


def test_no_variation_within_units():
    data = blocks(seed=7)
    data = pd.concat([data, data], ignore_index=True)
    data["bag"] = data["block"] + data["treatment"]
    with pytest.raises(FitError, match="no residual variation"):
        fit_mixed(data, "y", "treatment", ["bag"])


def test_three_rows():
    data = pd.DataFrame({"y": [1.0, 2.0, 4.0], "t": ["a", "a", "b"], "k": ["u", "v", "u"]})
    found = fit_mixed(data, "y", "t").contrasts("t").iloc[0]
    assert found["estimate"] == pytest.approx(2.5)
    assert found["df"] == pytest.approx(1)
    assert found["se"] == pytest.approx(np.sqrt(0.5 * 1.5))
    with pytest.raises(FitError, match="more rows than means"):
        fit_mixed(data.iloc[:2], "y", "t + k")


def test_a_factor_with_one_level():
    data = blocks().assign(room="r1")
    fit = fit_mixed(data, "y", "treatment + room", ["block"])
    assert list(fit.tests()["term"]) == ["treatment"]
    assert len(fit.means("room")) == 1
    with pytest.raises(FitError, match="one level"):
        fit.contrasts("room")
    with pytest.raises(FitError, match="'room'"):
        fit_mixed(data, "y", "treatment", ["room"])


def test_missing_values():
    data = blocks(seed=8)
    data.loc[[0, 5], "y"] = np.nan
    data["block"] = data["block"].astype(object)
    data.loc[7, "block"] = None
    fit = fit_mixed(data, "y", "treatment", ["block"])
    assert fit.rows == len(data) - 3
    assert fit.notes[:2] == ("2 rows without 'y' left out", "1 row without 'block' left out")
    assert list(fit.design.used) == [i for i in range(len(data)) if i not in (0, 5, 7)]
    whole = fit_mixed(data.drop(index=[0, 5, 7]), "y", "treatment", ["block"])
    assert fit.minus2_reml == whole.minus2_reml
    with pytest.raises(FitError, match="no row has a value"):
        fit_mixed(data.assign(y=np.nan), "y", "treatment", ["block"])


@pytest.mark.parametrize("gap", [False, True])
def test_columns_of_pandas_own_types(gap):
    data = blocks(seed=8).assign(room=[True, False] * 9)
    own = data.convert_dtypes()
    own["shelf"] = pd.array([int(name[1]) for name in data["block"]], dtype="Int64")
    if gap:
        own.loc[2, "y"] = pd.NA
        own.loc[3, "treatment"] = pd.NA
        own.loc[4, "shelf"] = pd.NA
        own.loc[5, "room"] = pd.NA
        data = data.drop(index=[2, 3, 4, 5])
    found = fit_mixed(own, "y", "treatment + room", ["shelf"])
    plain = fit_mixed(data, "y", "treatment + room", ["block"])
    assert found.rows == len(data)
    assert found.minus2_reml == pytest.approx(plain.minus2_reml, rel=1e-12)
    assert found.basis.factors["room"].levels == (False, True)


def test_rows_entered_twice_are_noted():
    data = pd.concat([blocks(seed=9), blocks(seed=9).iloc[[4]]], ignore_index=True)
    assert any(
        "1 row repeats another row" in note
        for note in fit_mixed(data, "y", "treatment", ["block"]).notes
    )
    assert fit_mixed(blocks(seed=9), "y", "treatment", ["block"]).notes == ()


@pytest.mark.parametrize(
    ("random", "words"),
    [
        (["block", "block"], "cannot be told apart"),
        (["treatment"], "takes up all there is between levels of 'treatment'"),
        (["shelf"], "no column 'shelf'"),
    ],
)
def test_random_terms_that_cannot_be(random, words):
    with pytest.raises(FitError, match=words):
        fit_mixed(blocks(), "y", "treatment", random)


def test_plain_words_for_wrong_tables():
    data = blocks()
    with pytest.raises(FitError, match="no column 'weight'"):
        fit_mixed(data, "weight", "treatment")
    with pytest.raises(FitError, match="no column 'recipe'"):
        fit_mixed(data, "y", "recipe")
    with pytest.raises(FitError, match="must hold numbers"):
        fit_mixed(data, "treatment", "block")
    with pytest.raises(FitError, match="not a finite number"):
        fit_mixed(data.assign(y=np.inf), "y", "treatment")
    with pytest.raises(FitError, match=r"not above 0 in 18 rows"):
        fit_mixed(data.assign(y=-data["y"]), "y", "treatment", log=True)
    with pytest.raises(FitError, match="no rows"):
        fit_mixed(data.iloc[:0], "y", "treatment")
    with pytest.raises(FitError, match="cannot be read"):
        fit_mixed(data, "y", "treatment *")
    with pytest.raises(FitError, match="one length"):
        fit_mixed({"y": [1.0, 2.0], "t": ["a"]}, "y", "t")


def test_plain_words_for_wrong_questions():
    fit = fit_mixed(blocks(), "y", "treatment", ["block"])
    for wrong, words in [
        ({"kind": "some pairs"}, "kind is one of"),
        ({"adjust": "tukey"}, "adjust is"),
        ({"df": "normal"}, "df is one of"),
        ({"confidence": 95}, "between 0 and 1"),
        ({"control": "z"}, "the control 'z'"),
        ({"kind": {"odd": [1, -1]}}, "2 weights for 3 levels"),
        ({"by": "flush"}, "not a factor"),
        ({"weights": "some"}, "weights are"),
        ({"at": {"flush": "F1"}}, "not in the fixed part"),
        ({"kind": "all pairs", "control": "a"}, "no part in"),
    ]:
        with pytest.raises(FitError, match=words):
            fit.contrasts("treatment", **wrong)
    with pytest.raises(FitError, match="not a factor"):
        fit.means("block")
    with pytest.raises(FitError, match="not a covariate"):
        fit.slopes("treatment")
    with pytest.raises(FitError, match="'conditional' or 'marginal'"):
        fit.residuals("raw")


def test_a_residual_variance_that_is_nought():
    data = blocks(seed=2).assign(flush=lambda d: d["treatment"])
    data.loc[data["flush"] == "a", "y"] = 50.0
    with pytest.raises(FitError, match="no residual variation"):
        fit_mixed(data, "y", "treatment", residual_by="flush")


def test_variances_by_level_without_random_terms():
    """Then each is the sample variance of its group (Welch's setting)."""
    rng = np.random.default_rng(4)
    data = pd.DataFrame({"g": np.repeat(list("ab"), [6, 9]), "y": rng.normal(size=15)})
    data.loc[data["g"] == "b", "y"] *= 5
    fit = fit_mixed(data, "y", "g", residual_by="g")
    for level in "ab":
        expected = data.loc[data["g"] == level, "y"].var()
        assert fit.variances[f"residual[{level}]"] == pytest.approx(expected, rel=1e-8)
    from scipy.stats import ttest_ind

    welch = ttest_ind(*(data.loc[data["g"] == level, "y"] for level in "ba"), equal_var=False)
    found = fit.contrasts("g", df="satterthwaite").iloc[0]
    assert found["t"] == pytest.approx(welch.statistic)
    assert found["df"] == pytest.approx(welch.df)
    assert found["p"] == pytest.approx(welch.pvalue)


def test_one_residual_variance_may_be_zero():
    """Bags picked twice: where all of the first flush's spread is the bags', it has no more.

    The criterion is finite there, so this is a boundary, not an exact fit: the variance is given
    as zero, and the rest is what a tiny residual variance gives.
    """
    from scipy.stats import ttest_rel

    rng = np.random.default_rng(8)
    bag = np.repeat(np.arange(12), 2)
    flush = np.tile(["F1", "F2"], 12)
    shift = rng.normal(size=12)
    y = 5 + shift[bag] + np.where(flush == "F2", shift[bag] + 2 * rng.normal(size=24), 0.0)
    data = pd.DataFrame({"y": y, "bag": [f"b{i}" for i in bag], "flush": flush})
    fit = fit_mixed(data, "y", "flush", ["bag"], residual_by="flush")
    assert fit.variances["residual[F1]"] == 0
    assert any("'residual[F1]' is estimated at zero" in note for note in fit.notes)
    assert fit.variances["bag"] == pytest.approx(np.var(5 + shift, ddof=1), rel=1e-4)
    found = fit.contrasts("flush").iloc[0]
    assert found["estimate"] == pytest.approx(y[1::2].mean() - y[::2].mean(), rel=1e-4)
    # two pickings of each bag: the paired t test
    paired = ttest_rel(y[1::2], y[::2])
    assert found["t"] == pytest.approx(paired.statistic, rel=1e-5)
    assert found["df"] == pytest.approx(11, abs=1e-4)
