"""The engine against the bank's mixed models (`tests/reference/bank/INDEX.md`, section 2).

Not covered, and why: correlated random slopes (o-lmm-13), serial or unstructured residual
correlation (the `ar1`, `car1` and `un` parts of o-lmm-11 and o-lmm-18), and maximum likelihood
(the `ML` parts): the engine has random intercepts, residual variances by group and REML only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd
import pytest

from analyses.models.mixed import fit_mixed
from tests.reference.load import case, frame, matrix


@dataclass(frozen=True)
class Model:
    """How a case of the bank is asked of the engine."""

    data: str
    response: str
    fixed: str
    random: tuple[str, ...]
    factor: str | None = None
    control: str | None = None
    part: str = ""
    names: dict[str, str] = field(default_factory=dict)
    log: bool = False
    order: dict[str, list[str]] = field(default_factory=dict)
    text: tuple[str, ...] = ()
    boundary: bool = False


CASES = {
    "o-lmm-01-oats-splitplot": Model(
        "Oats", "yield", "Variety * C(nitro)", ("Block", "Block:Variety"), "Variety",
        names={"nitro": "nitroF"},
    ),
    "o-lmm-02-ergostool": Model("ergoStool", "effort", "Type", ("Subject",), "Type"),
    "o-lmm-03-machines-nested": Model(
        "Machines", "score", "Machine", ("Worker", "Worker:Machine"), "Machine"
    ),
    "o-lmm-04-penicillin-crossed": Model("Penicillin", "diameter", "1", ("plate", "sample")),
    "o-lmm-05-pastes-nested": Model("Pastes", "strength", "1", ("batch", "batch:cask")),
    "o-lmm-06-dyestuff-boundary/Dyestuff": Model(
        "Dyestuff", "Yield", "1", ("Batch",), part="Dyestuff"
    ),
    "o-lmm-06-dyestuff-boundary/Dyestuff2": Model(
        "Dyestuff2", "Yield", "1", ("Batch",), part="Dyestuff2"
    ),
    "o-lmm-07-cake-splitplot": Model(
        "cake", "angle", "recipe * temperature", ("recipe:replicate",), "recipe",
        text=("temperature",),
    ),
    "o-lmm-08-ratpup-unbalanced": Model(
        "RatPupWeight", "weight", "Treatment * sex + Lsize", ("Litter",), "Treatment",
        order={"Treatment": ["Control", "Low", "High"], "sex": ["Female", "Male"]},
    ),
    "o-lmm-09-kiwishade": Model(
        "kiwishade", "yield", "shade", ("block", "block:shade"), "shade",
        order={"shade": ["none", "Aug2Dec", "Dec2Feb", "Feb2May"]},
    ),
    "o-lmm-10-simflush": Model(
        "sim_flush_open", "yield_g", "recipe * C(flush)", ("block", "bag"), "recipe",
        names={"flush": "flushF"},
        order={"recipe": ["control", "bran", "coffee", "straw"]},
    ),
    "o-lmm-12-beets-kr": Model(
        "beets", "sugpct", "block + sow + harvest", ("block:harvest",), "sow"
    ),
    "o-lmm-14-appletaste-interblock": Model(
        "appletaste", "aftertaste", "product", ("panelist",), "product", text=("product",)
    ),
    "o-lmm-15-antigua-multisite": Model(
        "antigua", "harvwt", "C(trt)", ("site", "site:block", "site:trt"), "trt"
    ),
    "o-lmm-16-sim-singular": Model(
        "sim_singular_open", "y", "recipe", ("block",), "recipe", boundary=True
    ),
    "o-lmm-17-incblk": Model(
        "IncBlk", "y", "Treatment", ("Block",), "Treatment", text=("Treatment",)
    ),
    "o-lmm-17-incblk/with_covariate": Model(
        "IncBlk", "y", "Treatment + x", ("Block",), "Treatment", part="with_covariate",
        text=("Treatment",),
    ),
    "o-lmm-18-bodyweight-ar1/independent_errors": Model(
        "BodyWeight", "weight", "Time * C(Diet)", ("Rat",), part="independent_errors"
    ),
    "o-lmm-19-soils": Model(
        "Soils", "pH", "Contour * Depth", ("Block", "Block:Contour"), "Contour"
    ),
    "o-lmm-19-soils/log_K": Model(
        "Soils", "K", "Contour * Depth", ("Block", "Block:Contour"), part="log_K", log=True
    ),
    "o-lmm-20-btheb-dropout": Model(
        "BtheB", "bdi", "pre + month + treatment + drug + length", ("subject",), "treatment",
        order={"treatment": ["TAU", "BtheB"]},
    ),
    "o-lmm-20-btheb-dropout/interaction": Model(
        "BtheB", "bdi", "pre + month * treatment + drug + length", ("subject",),
        part="interaction", order={"treatment": ["TAU", "BtheB"]},
    ),
    "o-lmm-21-crackerfiber": Model(
        "CrackerFiber", "Calories", "Fiber", ("Subj",), "Fiber",
        order={"Fiber": ["control", "bran", "combo", "gum"]},
    ),
}  # fmt: skip


def table_of(model):
    data = frame(f"bank/{model.data}")
    if model.data == "antigua":
        data = data[data["harvwt"] > 0]
    if model.data == "Soils":
        order = ["Depression", "Slope", "Top"]
        data["Contour"] = pd.Categorical(data["Contour"], order, ordered=True)
    if model.data == "BtheB":
        data = long_form(data)
    if model.data == "BodyWeight":
        data["Diet"] = data["Diet"].astype(str)
    for name in model.text:
        data[name] = data[name].astype(str)
    for name, order in model.order.items():
        data[name] = pd.Categorical(data[name], order, ordered=True)
    return data


def long_form(wide):
    parts = [
        pd.DataFrame(
            {
                "subject": np.arange(len(wide)),
                "pre": wide["bdi.pre"],
                "treatment": wide["treatment"],
                "drug": wide["drug"],
                "length": wide["length"],
                "month": month,
                "bdi": wide[f"bdi.{month}m"],
            }
        )
        for month in (2, 4, 6, 8)
    ]
    return pd.concat(parts, ignore_index=True)


@cache
def fitted(name):
    model = CASES[name]
    truth = case(f"bank/{name.split('/')[0]}")["results"]
    truth = truth[model.part] if model.part else truth
    data = table_of(model)
    return model, truth, fit_mixed(data, model.response, model.fixed, model.random, log=model.log)


def plain(model, name):
    """Write a column of the engine as the bank does."""
    name = name.replace("[", "").replace("]", "").replace("Intercept", "(Intercept)")
    for ours, theirs in model.names.items():
        name = name.replace(ours, theirs)
    return name


def matrix_of(table):
    """Give a matrix of the bank, which writes a single row as a word."""
    return matrix({key: np.atleast_1d(table[key]).tolist() for key in ("rows", "cols", "values")})


def near(found, truth, rel=1e-6, absolute=1e-12):
    np.testing.assert_allclose(np.asarray(found, float), truth, rtol=rel, atol=absolute)


every = pytest.mark.parametrize("name", CASES)
posthoc = pytest.mark.parametrize("name", [one for one, model in CASES.items() if model.factor])
methods = pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])


@every
def test_criterion_and_variances(name):
    _, truth, fit = fitted(name)
    assert fit.rows == truth["n"]
    assert fit.minus2_reml == pytest.approx(-2 * truth["logLik"], rel=1e-10, abs=1e-9)
    residual = truth["varcomp"]["Residual"]
    for term, value in truth["varcomp"].items():
        found = fit.variances["residual" if term == "Residual" else term]
        assert found == pytest.approx(value, rel=1e-8, abs=1e-9 * residual)


@every
def test_effects_covariances_and_df(name):
    model, truth, fit = fitted(name)
    names = [plain(model, one) for one in fit.effects["effect"]]
    assert set(names) == set(truth["fixef"])
    at = [names.index(one) for one in truth["fixef"]]
    near(fit.effects["estimate"].to_numpy()[at], list(truth["fixef"].values()), rel=1e-8)
    near(fit.effects["df"].to_numpy()[at], list(truth["kr_df"].values()), rel=1e-7)
    near(fit.effects["se"].to_numpy()[at], list(truth["se_kr"].values()), rel=1e-8)
    satterthwaite = fit.df(np.eye(len(names)), "satterthwaite")
    near(satterthwaite[at], list(truth["satterthwaite_df"].values()), rel=1e-6)
    for ours, theirs in ((fit.covariance, "vcov"), (fit.covariance_kenward_roger, "vcov_kr")):
        expected = matrix_of(truth[theirs])
        near(ours[np.ix_(at, at)], expected, rel=1e-6, absolute=1e-9 * np.abs(expected).max())


@posthoc
@methods
def test_means_and_comparisons(name, method):
    model, truth, fit = fitted(name)
    table = truth["posthoc"][method.replace("-", "_")]
    means = fit.means(model.factor, df=method).set_index("level")
    at = [str(label) for label in table["means"]["label"]]
    for ours, theirs in (("mean", "estimate"), ("se", "se"), ("df", "df"), ("low", "lower")):
        near(means.loc[at, ours], table["means"][theirs])
    control = table["vs_control"]["label"]
    control = (control if isinstance(control, list) else [control])[0].split(" - ")[1]
    control = unlabelled(model, control)
    compare(fit.contrasts(model.factor, control=control, df=method), table["vs_control"], model)
    if "pairs" in table:
        compare(fit.contrasts(model.factor, "all pairs", df=method), table["pairs"], model)


def unlabelled(model, level):
    """Take the factor's name off a level, which the bank puts before numbers."""
    return level.removeprefix(model.factor) if model.factor != "sow" else level


def compare(found, table, model):
    """Compare contrasts by name, turning those round that the bank has the other way."""
    found = found.set_index("contrast")
    labels = table["label"] if isinstance(table["label"], list) else [table["label"]]
    for row, label in enumerate(labels):
        one, other = (unlabelled(model, side) for side in label.split(" - "))
        turned = f"{one} - {other}" not in found.index
        ours = found.loc[f"{other} - {one}" if turned else f"{one} - {other}"]
        truth = {key: np.atleast_1d(table[key])[row] for key in ("estimate", "se", "df", "p_none")}
        near(-ours["estimate"] if turned else ours["estimate"], truth["estimate"], rel=1e-7)
        for key, theirs in (("se", "se"), ("df", "df"), ("p", "p_none")):
            near(ours[key], truth[theirs])


@posthoc
@methods
def test_adjusted_comparisons(name, method):
    model, truth, fit = fitted(name)
    table = truth["posthoc"][method.replace("-", "_")]["vs_control"]
    control = np.atleast_1d(table["label"])[0].split(" - ")[1]
    control = unlabelled(model, control)
    found = fit.contrasts(model.factor, control=control, df=method, adjust="holm")
    near(found["p"], table["p_holm" if len(found) > 1 else "p_none"])
    near(found["p_unadjusted"], table["p_none"], rel=1e-6)
    if "p_mvt" in table:
        found = fit.contrasts(model.factor, control=control, df=method, adjust="exact")
        near(found["p"], table["p_mvt"], rel=1e-3, absolute=5e-5)


@pytest.mark.parametrize(
    "name",
    [one for one, m in CASES.items() if m.part in ("", "log_K", "interaction") and m.fixed != "1"],
)
@methods
def test_joint_tests(name, method):
    model, truth, fit = fitted(name)
    key = f"type3_{method.replace('-', '_')}"
    found = fit.tests(df=method)
    found.index = [plain(model, one) for one in found["term"]]
    table = {column: np.atleast_1d(values) for column, values in truth[key].items()}
    for row, term in enumerate(table["term"]):
        if "interaction" in name and term == "treatment":
            continue  # the reference tests it at month 0, the engine at the mean month
        near(found.loc[term, "num_df"], table["NumDF"][row])
        near(found.loc[term, "den_df"], table["DenDF"][row], rel=2e-6)
        near(found.loc[term, "f"], table["F value"][row])
        near(found.loc[term, "p"], table["Pr(>F)"][row], rel=1e-5)


def test_published_kenward_roger_tests():
    """Halekoh & Hojsgaard (2014), Journal of Statistical Software 58(10): sugar beets."""
    truth = case("bank/o-lmm-12-beets-kr")["results"]
    _, _, fit = fitted("o-lmm-12-beets-kr")
    found = fit.tests().set_index("term")
    for term, key in {"harvest": "KR_harvest", "sow": "KR_sow"}.items():
        near(found.loc[term, "f"], truth[key]["Fstat"], rel=1e-7)
        near(found.loc[term, "den_df"], truth[key]["ddf"], rel=1e-6)
        near(found.loc[term, "p"], truth[key]["p.value"], rel=1e-6)
    assert found.loc["harvest", "f"] == pytest.approx(15.2, abs=0.05)
    assert found.loc["harvest", "p"] == pytest.approx(0.0599, abs=5e-5)


def test_random_effects_of_crossed_terms():
    """Predictions of the samples in the penicillin assay (Davies & Goldsmith 1972)."""
    _, truth, fit = fitted("o-lmm-04-penicillin-crossed")
    found = fit.random_effects()
    found = found[found["term"] == "sample"].set_index("level")["effect"]
    for level, value in truth["ranef_sample"].items():
        assert found[level] == pytest.approx(value, rel=1e-6)


def test_flush_by_flush():
    """Recipes against the control within each flush (o-lmm-10)."""
    model, truth, fit = fitted("o-lmm-10-simflush")
    for method, key in {"kenward-roger": "kr", "satterthwaite": "satt"}.items():
        split = fit.contrasts("recipe", by="flush", df=method)
        for flush in (1, 2, 3):
            found = split[split["flush"] == flush].drop(columns="flush")
            compare(found, truth["by_flush"][f"flush{flush}"][key], model)


def test_residual_variance_by_sex():
    """Compound symmetry with a variance for each sex (o-lmm-11, Potthoff & Roy 1964).

    The bank has one correlation for both sexes, the engine one between-subject variance; they
    are the same model where one sex is fitted alone and close, not equal, together. So the
    homogeneous structure is compared here.
    """
    truth = case("bank/o-lmm-11-gls-orthodont")["results"]["cs"]
    data = frame("bank/Orthodont")
    data["Sex"] = pd.Categorical(data["Sex"], sorted(set(data["Sex"])))
    fit = fit_mixed(data, "distance", "Sex * age", ["Subject"])
    assert fit.minus2_reml == pytest.approx(-2 * truth["logLik"], rel=1e-9)
    total = truth["covariance"]["sigma"] ** 2
    assert fit.variances["Subject"] == pytest.approx(total * truth["covariance"]["rho"], rel=1e-6)
    assert sum(fit.variances.values()) == pytest.approx(total, rel=1e-6)
