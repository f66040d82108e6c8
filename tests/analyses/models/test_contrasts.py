"""Comparisons rest on the contract of `fit.py` alone: any model that keeps it will do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.special import ndtr

from analyses.models.contrasts import adjusted_means, comparisons, joint_tests, slopes
from analyses.models.families.weights import family_rows, interaction_rows
from analyses.models.linear.arrays import FitError
from analyses.models.linear.basis import Basis, Factor
from analyses.models.linear.fit import JointTest
from analyses.models.linear.student import f_tail
from analyses.models.mixed import fit_mixed
from tests.reference.load import frame


@dataclass(frozen=True)
class Known:
    """A model whose coefficients are known up to normal errors: infinite df."""

    basis: Basis
    coefficients: np.ndarray
    covariance: np.ndarray

    def covariance_under(self, method):
        assert method == "normal"
        return self.covariance

    def estimable(self, rows):
        return np.ones(len(rows), bool)

    def df(self, rows, method):
        assert method == "normal"
        return np.full(len(rows), np.inf)

    def joint(self, rows, method):
        assert method == "normal"
        estimate = rows @ self.coefficients
        square = estimate @ np.linalg.solve(rows @ self.covariance @ rows.T, estimate)
        f, q = square / len(rows), float(len(rows))
        return JointTest(num_df=q, den_df=np.inf, f=f, p=float(f_tail(f, q, np.inf)))


def known():
    levels = {"a": ("x", "y", "z"), "b": ("u", "v")}
    factors = {
        name: Factor(name=name, levels=one, shares=np.full(len(one), 1 / len(one)))
        for name, one in levels.items()
    }
    terms = (("a",), ("b",), ("a", "b"))
    blocks = ((("a", False),), (("b", False),), (("a", False), ("b", False)))
    basis = Basis(intercept=True, terms=terms, blocks=blocks, factors=factors, covariates={})
    root = np.random.default_rng(0).normal(size=(6, 6))
    return Known(basis, np.array([5.0, 1, 2, -1, 0.5, 0.25]), root @ root.T / 10)


def test_any_model_can_be_compared():
    fit = known()
    cells = adjusted_means(fit, ["a", "b"], df="normal")
    assert cells.labels == ("x:u", "x:v", "y:u", "y:v", "z:u", "z:v")
    np.testing.assert_allclose(cells.estimate, [5, 4, 6, 5.5, 7, 6.25])
    pairs = comparisons(fit, "a", "all pairs", df="normal", adjust="exact")
    np.testing.assert_allclose(pairs.estimate, [1.25, 2.125, 0.875])
    np.testing.assert_allclose(pairs.p_unadjusted, 2 * ndtr(-np.abs(pairs.t)))
    assert (pairs.p >= pairs.p_unadjusted).all()
    terms, tests, notes = joint_tests(fit, df="normal")
    assert terms == ["a", "b", "a:b"]
    assert [test.num_df for test in tests] == [2, 1, 2]
    assert notes == []


def test_factorial_effects():
    """Differences of differences, by name and by value."""
    fit = known()
    found = comparisons(fit, ["a", "b"], "interaction", df="normal")
    assert found.labels == ("(y - x):(v - u)", "(z - x):(v - u)")
    np.testing.assert_allclose(found.estimate, [0.5, 0.25])
    custom = comparisons(fit, "a", {"ends": [-1, 0, 1], "middle": [-0.5, 1, -0.5]}, df="normal")
    np.testing.assert_allclose(custom.estimate, [2.125, 1.25 - 2.125 / 2])
    with pytest.raises(FitError, match="not a covariate"):
        slopes(fit, "a", df="normal")


def test_families_by_name():
    levels = ["a", "b", "c"]
    assert family_rows(levels, "versus control")[0] == ["b - a", "c - a"]
    assert family_rows(levels, "versus control", "b")[0] == ["a - b", "c - b"]
    assert family_rows(levels, "all pairs")[0] == ["b - a", "c - a", "c - b"]
    assert family_rows(levels, "consecutive")[0] == ["b - a", "c - b"]
    for kind in ("versus control", "all pairs", "consecutive"):
        np.testing.assert_array_equal(family_rows(levels, kind)[1].sum(1), 0)
    names, rows = interaction_rows([family_rows("xy", "versus control")] * 2)
    assert names == ["(y - x):(y - x)"]
    np.testing.assert_array_equal(rows, [[1, -1, -1, 1]])


def test_frames_hold_the_promised_columns():
    fit = fit_mixed(frame("mixed_stools"), "effort", "type", ["subject"])
    plain = ["contrast", "estimate", "se", "df", "t", "p", "low", "high"]
    assert list(fit.contrasts("type")) == plain
    extra = ["p_unadjusted", "low_unadjusted", "high_unadjusted"]
    assert list(fit.contrasts("type", adjust="exact")) == plain + extra
    assert list(fit.means("type")) == ["level", "mean", "se", "df", "low", "high"]
    assert list(fit.tests()) == ["term", "num_df", "den_df", "f", "p"]
    assert list(fit.effects) == ["effect", *plain[1:]]
    assert list(fit.random_effects()) == ["term", "level", "effect"]


def test_each_family_of_a_split_is_adjusted_alone():
    fit = fit_mixed(
        frame("mixed_flushes_unbalanced"), "y", "treatment * flush", ["block", "bag"], log=True
    )
    split = fit.contrasts("treatment", by="flush", adjust="exact")
    assert list(split)[:2] == ["flush", "contrast"]
    alone = fit.contrasts("treatment", at={"flush": "F2"}, adjust="exact")
    found = split[split["flush"] == "F2"].reset_index(drop=True)
    np.testing.assert_allclose(found["p"], alone["p"])
    np.testing.assert_allclose(found["low"], alone["low"])


def test_wider_confidence_is_wider():
    fit = fit_mixed(frame("mixed_stools"), "effort", "type", ["subject"])
    width = [
        (one["high"] - one["low"]).iloc[0]
        for one in (fit.contrasts("type", confidence=c, adjust="holm") for c in (0.8, 0.9, 0.99))
    ]
    assert width == sorted(width)
    holm = fit.contrasts("type", adjust="holm")
    exact = fit.contrasts("type", adjust="exact")
    assert ((holm["high"] - holm["low"]) >= (exact["high"] - exact["low"])).all()
