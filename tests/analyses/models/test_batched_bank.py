"""Batches of one trial against fits of published data by reference software (files name it)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from formulaic import model_matrix

from analyses.models.batches.batched import fit_batch
from tests.reference.load import case, frame

# case: (data, response, fixed part, random terms outermost first, first level of a factor)
BANK = {
    "o-lmm-01-oats-splitplot": ("Oats", "yield", "Variety * nitroF", ["Block", "Block:Variety"]),
    "o-lmm-02-ergostool": ("ergoStool", "effort", "Type", ["Subject"]),
    "o-lmm-03-machines-nested": ("Machines", "score", "Machine", ["Worker", "Worker:Machine"]),
    "o-lmm-05-pastes-nested": ("Pastes", "strength", "1", ["batch", "batch:cask"]),
    "o-lmm-07-cake-splitplot": ("cake", "angle", "recipe * temperature", ["recipe:replicate"]),
    "o-lmm-08-ratpup-unbalanced": (
        "RatPupWeight",
        "weight",
        "Treatment * sex + Lsize",
        ["Litter"],
    ),
    "o-lmm-09-kiwishade": ("kiwishade", "yield", "shade", ["block", "block:shade"]),
    "o-lmm-10-simflush": ("sim_flush_open", "yield_g", "recipe * flushF", ["block", "bag"]),
    "o-lmm-12-beets-kr": ("beets", "sugpct", "block + sow + harvest", ["block:harvest"]),
    "o-lmm-14-appletaste-interblock": ("appletaste", "aftertaste", "product", ["panelist"]),
    "o-lmm-16-sim-singular": ("sim_singular_open", "y", "recipe", ["block"]),
    "o-lmm-17-incblk": ("IncBlk", "y", "Treatment", ["Block"]),
    "o-lmm-19-soils": ("Soils", "pH", "Contour * Depth", ["Block", "Block:Contour"]),
    "o-lmm-20-btheb-dropout": (
        "BtheB",
        "bdi",
        "pre + month + treatment + drug + length",
        ["subject"],
    ),
    "o-lmm-21-crackerfiber": ("CrackerFiber", "Calories", "Fiber", ["Subj"]),
}
FIRST = {
    "Treatment": "Control",
    "shade": "none",
    "Fiber": "control",
    "recipe": "control",
    "treatment": "TAU",
}
NUMBERS = {"Lsize", "pre", "month"}


def _data(name):
    data = frame(f"bank/{name}")
    if name == "Oats":
        data["nitroF"] = data["nitro"].map("{:g}".format)
    if name == "sim_flush_open":
        data["flushF"] = data["flush"].astype(str)
    if name == "BtheB":
        data["subject"] = np.arange(len(data))
        months = [
            data.assign(month=float(k), bdi=data[f"bdi.{k}m"], pre=data["bdi.pre"])
            for k in (2, 4, 6, 8)
        ]
        data = pd.concat(months, ignore_index=True)
    return data


def _factor(name, values):
    levels = sorted(values.astype(str).unique())
    first = FIRST.get(name)
    if first in levels:
        levels = [first, *(level for level in levels if level != first)]
    return pd.Categorical(values.astype(str), categories=levels)


def _design(data, fixed):
    columns = [c for c in data if c in fixed.replace("*", " ").replace("+", " ").split()]
    made = data.assign(**{c: _factor(c, data[c]) for c in columns if c not in NUMBERS})
    matrix = model_matrix(fixed, made)
    names = [
        name.replace("Intercept", "(Intercept)").replace("[T.", "").replace("]", "")
        for name in matrix.columns
    ]
    return matrix.to_numpy(float), names


def _labels(data, term):
    return data[term.split(":")].astype(str).agg("/".join, axis=1).to_numpy()


@pytest.mark.parametrize("name", BANK)
def test_bank_of_mixed_models(name):
    data_name, response, fixed, random = BANK[name]
    data, expected = _data(data_name), case(f"bank/{name}")["results"]
    x, names = _design(data, fixed)
    groups = {term: _labels(data, term) for term in random}
    fit = fit_batch(data[[response]].to_numpy(float), x, np.eye(len(names)), groups)
    assert fit.converged.all()
    for column, got in (
        ("fixef", fit.estimates),
        ("se_kr", fit.standard_errors),
        ("kr_df", fit.df),
    ):
        want = [expected[column][one] for one in names]
        size = max(np.abs(want)) if column == "fixef" else 0.0
        np.testing.assert_allclose(got[:, 0], want, rtol=1e-6, atol=1e-9 * size)
    residual = expected["varcomp"]["Residual"]
    want = [expected["varcomp"].get(term, np.nan) for term in [*random, "Residual"]]
    np.testing.assert_allclose(fit.variances[:, 0], want, rtol=1e-6, atol=1e-6 * residual)


@pytest.mark.parametrize("name", ["Dyestuff", "Dyestuff2"])
def test_one_way_with_and_without_variance_between_batches(name):
    """Davies & Goldsmith (1972) section 6.4; Box & Tiao (1973) section 5.1.2."""
    data, expected = frame(f"bank/{name}"), case("bank/o-lmm-06-dyestuff-boundary")["results"][name]
    response = data[["Yield"]].to_numpy(float)
    fit = fit_batch(response, np.ones((30, 1)), [[1.0]], {"batch": data["Batch"]})
    got = [fit.estimates[0, 0], fit.standard_errors[0, 0], fit.df[0, 0], *fit.variances[:, 0]]
    want = [expected[k]["(Intercept)"] for k in ("fixef", "se_kr", "kr_df")]
    want += [expected["varcomp"]["Batch"], expected["varcomp"]["Residual"]]
    np.testing.assert_allclose(got, want, rtol=1e-6, atol=1e-9)
    assert fit.at_zero[0, 0] == (name == "Dyestuff2")


@pytest.mark.parametrize(
    ("name", "factor", "block", "response"),
    [("mixed_singular", "treatment", "block", "y"), ("mixed_stools", "type", "subject", "effort")],
)
def test_complete_blocks(name, factor, block, response):
    """Pinheiro & Bates (2000) p. 12, and an invented trial whose block variance is zero."""
    data, expected = frame(name), case(name)["kenward_roger"]
    x = pd.get_dummies(data[factor], dtype=float).to_numpy()
    rows = np.concatenate([np.eye(x.shape[1])[1:] - np.eye(x.shape[1])[:1], np.eye(x.shape[1])])
    fit = fit_batch(data[[response]].to_numpy(float), x, rows, {block: data[block]})
    _compare(fit, [*expected["versus_control"], *expected["means"]])


def test_flushes_with_lost_bags():
    """4 treatments x 6 blocks x 3 bags x 3 flushes on the log scale, 22 rows lost; invented."""
    data, expected = frame("mixed_flushes_unbalanced"), case("mixed_flushes_unbalanced")
    kr = expected["kenward_roger"]
    cell = data["treatment"] + data["flush"]
    x = pd.get_dummies(cell, dtype=float).to_numpy()
    means = np.kron(np.eye(4), np.full((1, 3), 1 / 3))
    rows = np.concatenate([means[1:] - means[:1], means])
    groups = {"block": data["block"], "bag": data["bag"]}
    fit = fit_batch(np.log(data[["y"]].to_numpy(float)), x, rows, groups)
    _compare(fit, [*kr["versus_control"], *kr["means"]])
    want = [expected["variances"][k] for k in ("block", "bag", "Residual")]
    np.testing.assert_allclose(fit.variances[:, 0], want, rtol=2e-7)


def _compare(fit, table):
    for i, row in enumerate(table):
        got = [a[i, 0] for a in (fit.standard_errors, fit.df, fit.low, fit.high)]
        want = [row[k] for k in ("SE", "df", "lower.CL", "upper.CL")]
        np.testing.assert_allclose(got, want, rtol=1e-6)
        if "p.value" in row:
            np.testing.assert_allclose(fit.estimates[i, 0], row["estimate"], rtol=1e-9, atol=1e-12)
            np.testing.assert_allclose(fit.p[i, 0], row["p.value"], rtol=1e-6)
