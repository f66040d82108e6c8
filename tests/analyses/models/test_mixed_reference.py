"""The engine against mixed models fitted by general-purpose reference software.

Each file of `tests/reference` names its source and what it was made with.
"""

from __future__ import annotations

import numpy as np
import pytest

from analyses.models.mixed import fit_mixed
from tests.reference.load import case, frame

CASES = [
    "mixed_npk",
    "mixed_oats_split_plot",
    "mixed_cake_split_plot",
    "mixed_penicillin",
    "mixed_flushes_unbalanced",
    "mixed_stools",
    "mixed_singular",
]
FIELDS = {"estimate": "estimate", "se": "SE", "df": "df", "t": "t.ratio", "p": "p.value"}
LIMITS = {"low": "lower.CL", "high": "upper.CL"}


@pytest.fixture(scope="module", params=CASES)
def fitted(request):
    truth = case(request.param)
    model = truth["model"]
    fit = fit_mixed(
        frame(request.param),
        model["response"],
        model["fixed"],
        model["random"],
        log=model["transform"] == "log",
    )
    return truth, fit


def near(found, truth, rel=1e-6):
    np.testing.assert_allclose(np.asarray(found, float), truth, rtol=rel, atol=1e-12)


def column(table, name):
    return [row[name] for row in table]


def factor_of(truth):
    return next(iter(truth["kenward_roger"]["means"][0]))


def test_criterion_and_variances(fitted):
    truth, fit = fitted
    expected = dict(truth["variances"])
    residual = expected.pop("Residual")
    assert fit.rows == truth["rows"]
    assert fit.minus2_reml == pytest.approx(truth["minus2_reml_loglik"], rel=1e-9)
    assert fit.variances["residual"] == pytest.approx(residual, rel=1e-6)
    for name, value in expected.items():
        assert fit.variances[name] == pytest.approx(value, rel=1e-6, abs=1e-6 * residual)


def test_effects_and_both_covariances(fitted):
    truth, fit = fitted
    near(fit.effects["estimate"], list(truth["fixed_effects"].values()))
    scale = np.abs(truth["fixed_vcov"]).max()
    np.testing.assert_allclose(fit.covariance, truth["fixed_vcov"], atol=1e-6 * scale)
    np.testing.assert_allclose(
        fit.covariance_kenward_roger, truth["fixed_vcov_kenward_roger"], atol=1e-6 * scale
    )


@pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])
def test_means_and_contrasts(fitted, method):
    truth, fit = fitted
    factor, table = factor_of(truth), truth[method.replace("-", "_")]
    means = fit.means(factor, df=method)
    assert list(means["level"]) == column(table["means"], factor)
    for name, other in {"mean": "emmean", "se": "SE", "df": "df", **LIMITS}.items():
        near(means[name], column(table["means"], other))
    for key, kind in {"versus_control": "versus control", "all_pairs": "all pairs"}.items():
        found = fit.contrasts(factor, kind, df=method)
        assert list(found["contrast"]) == column(table[key], "contrast")
        for name, other in {**FIELDS, **LIMITS}.items():
            near(found[name], column(table[key], other))


@pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])
def test_adjusted_p(fitted, method):
    truth, fit = fitted
    factor, table = factor_of(truth), truth[method.replace("-", "_")]
    for kind, key in {
        "all pairs": "p_all_pairs_holm",
        "versus control": "p_versus_control_holm",
    }.items():
        near(fit.contrasts(factor, kind, adjust="holm", df=method)["p"], np.atleast_1d(table[key]))
    exact = fit.contrasts(factor, "all pairs", adjust="exact", df=method)
    error = np.abs(exact["p"] - np.atleast_1d(table["p_all_pairs_tukey"]))
    assert error.max() < 1e-4
    assert exact.attrs["integration_error"] < 2e-4


@pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])
def test_joint_tests(fitted, method):
    """Where the design is unbalanced this reference does not pool the df of an F by either method
    nor scale it; the bank holds such tests."""
    truth, fit = fitted
    balanced = truth["id"] != "mixed_flushes_unbalanced"
    table = truth[method.replace("-", "_")]["joint_tests"]
    found = fit.tests(df=method)
    assert list(found["term"]) == column(table, "model term")
    near(found["num_df"], column(table, "df1"))
    if balanced or method == "satterthwaite":
        np.testing.assert_allclose(found["f"], column(table, "F.ratio"), atol=5.1e-4)
    if balanced:
        near(found["den_df"], column(table, "df2"), rel=1e-4)
        near(found["p"], column(table, "p.value"), rel=2e-6)


def test_slopes_of_flushes():
    """Slope per treatment of log yield on flush number (flush_drop)."""
    truth, data = case("flush_drop"), frame("flush_drop")
    fit = fit_mixed(data, "y", "treatment * k", ["block", "bag"], log=True)
    for name, other in {"block": "block", "bag": "bag", "residual": "Residual"}.items():
        assert fit.variances[name] == pytest.approx(truth["variances"][other], rel=1e-6)
    slopes = fit.slopes("k", by="treatment")
    for name, other in {"slope": "k.trend", "se": "SE", "df": "df", **LIMITS}.items():
        near(slopes[name], column(truth["slopes"], other))
    pairs = fit.slopes("k", by="treatment", kind="all pairs")
    assert list(pairs["contrast"]) == ["m2 - m1", "m3 - m1", "m3 - m2"]
    near(-pairs["estimate"], column(truth["slope_pairs"], "estimate"))
    for name in ("se", "df", "p"):
        near(pairs[name], column(truth["slope_pairs"], FIELDS[name]))
    common = fit_mixed(data, "y", "treatment + k", ["block", "bag"], log=True).slopes("k")
    for name, other in {"slope": "k.trend", "se": "SE", "df": "df", **LIMITS}.items():
        near(common[name], column(truth["common"], other))


def test_residual_variance_per_flush():
    """One residual variance a flush; the reference stopped at about 1e-7 of its criterion."""
    truth, data = case("residual_by_flush"), frame("residual_by_flush")
    fit = fit_mixed(data, "y", "treatment * flush", ["block", "bag"], log=True, residual_by="flush")
    assert fit.minus2_reml == pytest.approx(truth["minus2_reml_loglik"], rel=1e-9)
    assert fit.minus2_reml <= truth["minus2_reml_loglik"] + 1e-9
    for flush, value in truth["residual_variances"].items():
        assert fit.variances[f"residual[{flush}]"] == pytest.approx(value, rel=2e-5)
    for name, value in truth["variances"].items():
        assert fit.variances[name] == pytest.approx(value, rel=2e-4)
    near(fit.effects["estimate"], list(truth["fixed_effects"].values()), rel=1e-4)
    scale = np.abs(truth["fixed_vcov"]).max()
    np.testing.assert_allclose(fit.covariance, truth["fixed_vcov"], atol=1e-4 * scale)
