"""The closed form, the general elimination and a plain dense matrix say the same."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyses.models.linear.design import lay_out
from analyses.models.linear.reduce import _sum_general, reduce_design, sum_up
from analyses.models.mixed import fit_design


def trial(seed=0, *, blocks=5, lost=0.15, bag=0.5, block=1.0):
    rng = np.random.default_rng(seed)
    grid = pd.MultiIndex.from_product(
        [[f"b{i}" for i in range(blocks)], ["T1", "T2", "T3"], ["x", "y"], ["F1", "F2", "F3"]],
        names=["block", "treatment", "rep", "flush"],
    ).to_frame(index=False)
    grid["bag"] = grid["block"] + grid["treatment"] + grid["rep"]
    grid["day"] = rng.choice(["d1", "d2", "d3", "d4"], len(grid))
    bags = grid["bag"].astype("category").cat.codes.to_numpy()
    places = grid["block"].astype("category").cat.codes.to_numpy()
    grid["y"] = (
        10
        + 2.0 * (grid["treatment"] == "T2")
        - 1.5 * grid["flush"].str[1].astype(int)
        + bag * rng.normal(size=bags.max() + 1)[bags]
        + block * rng.normal(size=places.max() + 1)[places]
        + rng.normal(size=len(grid))
    )
    return grid[rng.random(len(grid)) > lost].reset_index(drop=True)


def dense(design, columns, structure, theta):
    """Work out every product with the matrix that the engine never forms."""
    q = columns.q_rows if design.cells is None else columns.q_rows[design.cells]
    d = np.column_stack([q, columns.leftover])
    parts = []
    terms = {term.name: term for term in design.random}
    for name in structure.names:
        if name in terms:
            z = np.eye(terms[name].count)[terms[name].codes]
            parts.append(z @ z.T)
        elif design.residual is None:
            parts.append(np.eye(len(d)))
        else:
            level = [f"residual[{level}]" for level in design.residual.levels].index(name)
            parts.append(np.diag((design.residual.codes == level).astype(float)))
    v = sum(t * part for t, part in zip(theta, parts, strict=True))
    inverse = np.linalg.inv(v)
    half = [inverse @ part for part in parts]
    return {
        "log_det": np.linalg.slogdet(v)[1],
        "traces": np.array([np.trace(one) for one in half]),
        "a": d.T @ inverse @ d,
        "b": np.array([d.T @ one @ inverse @ d for one in half]),
        "c": np.array([[d.T @ one @ other @ inverse @ d for other in half] for one in half]),
        "t": np.array([[np.trace(one @ other) for other in half] for one in half]),
    }


MODELS = {
    "least squares": ((), None),
    "bags": (("bag",), None),
    "bags in blocks": (("block", "bag"), None),
    "crossed": (("day", "bag"), None),
    "three terms": (("day", "bag", "block"), None),
    "a variance a flush": (("block", "bag"), "flush"),
    "a variance a flush, one term": (("bag",), "flush"),
    "a variance a flush, no term": ((), "flush"),
    "a variance a flush, crossed": (("day", "bag", "block"), "flush"),
}


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("zero", [None, 0])
def test_moments_agree_with_a_dense_matrix(name, zero):
    random, by = MODELS[name]
    design = lay_out(trial(3), "y", "treatment * flush", random, residual_by=by)
    columns = reduce_design(design)
    structure = sum_up(design, columns)
    theta = np.random.default_rng(1).uniform(0.3, 2, len(structure.names))
    if zero is not None and random:
        theta[zero] = 0.0
    found = structure.moments(theta)
    for key, value in dense(design, columns, structure, theta).items():
        size = np.abs(value).max()
        np.testing.assert_allclose(getattr(found, key), value, atol=1e-11 * size, err_msg=key)


@pytest.mark.parametrize("random", [(), ("bag",), ("block", "bag")])
def test_closed_form_is_a_case_of_the_general_one(random):
    design = lay_out(trial(4), "y", "treatment + flush", random)
    columns = reduce_design(design)
    closed = sum_up(design, columns)
    order = sorted(design.random, key=lambda one: -one.count)
    general = _sum_general(design, columns, order)
    assert type(closed) is not type(general)
    theta = np.array([*[0.7, 1.3, 0.9][: len(random)], 1.1])
    for key in ("log_det", "traces", "a", "b", "c", "t"):
        one, other = (getattr(s.moments(theta), key) for s in (closed, general))
        np.testing.assert_allclose(one, other, atol=1e-11 * np.abs(other).max())


def test_covariates_row_by_row_agree_with_cells():
    """The same fixed part as factors (summed by cell) and as indicators (row by row)."""
    data = trial(5)
    for level in ("T2", "T3"):
        data[level] = (data["treatment"] == level).astype(float)
    one = fit_design(lay_out(data, "y", "treatment", ["block", "bag"]))
    other = fit_design(lay_out(data, "y", "T2 + T3", ["block", "bag"]))
    assert one.design.cells is not None
    assert other.design.cells is None
    assert one.minus2_reml == pytest.approx(other.minus2_reml, rel=1e-11)
    np.testing.assert_allclose(one.covariance_kenward_roger, other.covariance_kenward_roger)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from(list(MODELS)))
def test_the_gradient_vanishes_and_no_neighbour_is_better(seed, name):
    random, by = MODELS[name]
    data = trial(seed, blocks=4, bag=0.3, block=0.3)
    fit = fit_design(lay_out(data, "y", "treatment + flush", random, residual_by=by))
    point, structure = fit.optimum.point, fit.structure
    errors = 1 / np.sqrt(np.diag(point.expected))
    inside = ~fit.optimum.at_zero
    # a residual variance held at its floor blurs the rest by its weight
    blurred = fit.optimum.at_zero[-structure.residuals :].any()
    assert (np.abs(point.gradient * errors)[inside] < (1e-4 if blurred else 1e-7)).all()
    assert (point.gradient[~inside] >= 0).all()
    rng = np.random.default_rng(seed)
    for _ in range(5):
        step = rng.normal(0, 0.05, len(errors)) * errors
        theta = np.maximum(point.theta + step, 0)
        theta[-structure.residuals :] = np.maximum(theta[-structure.residuals :], 1e-3)
        from analyses.models.linear.criterion import evaluate

        assert evaluate(structure, theta).criterion >= point.criterion - (1e-6 if blurred else 1e-9)


@pytest.mark.parametrize("seed", [47, 220, 276])
def test_the_lower_of_two_low_points_is_found(seed):
    """Trials so small that one residual variance a flush leaves the criterion two low points."""
    from scipy.optimize import minimize

    from analyses.models.linear.criterion import evaluate

    rng = np.random.default_rng(seed)
    bags, flushes = rng.integers(3, 6), rng.integers(2, 4)
    data = pd.DataFrame({"bag": np.repeat(np.arange(bags), flushes)})
    data["flush"] = np.tile(list("abc")[:flushes], bags)
    data["t"] = data["bag"] % 2
    data["y"] = rng.normal(size=len(data))
    data["y"] *= rng.choice([0.05, 0.3, 1, 3], size=flushes)[np.tile(np.arange(flushes), bags)]
    data["y"] += np.repeat(rng.normal(size=bags), flushes) * rng.choice([0, 0.5, 2])
    data = data[rng.random(len(data)) > 0.15]
    fixed = ["1", "C(t)", "flush"][seed % 3]
    fit = fit_design(lay_out(data, "y", fixed, ["bag"], residual_by="flush"))
    for start in rng.uniform(-7, 2, (6, len(fit.structure.names))):
        found = minimize(
            lambda x: evaluate(fit.structure, np.exp(np.clip(x, -9, 5))).criterion,
            start,
            method="Nelder-Mead",
            options={"maxiter": 200},
        )
        assert found.fun >= fit.optimum.point.criterion - 1e-6


def test_predictions_solve_the_mixed_model_equations():
    """Henderson (1975): the predictions by elimination against one dense solve."""
    for name in ("bags in blocks", "three terms", "a variance a flush", "bags"):
        random, by = MODELS[name]
        design = lay_out(trial(6), "y", "treatment", random, residual_by=by)
        fit = fit_design(design)
        v = np.zeros((fit.rows, fit.rows))
        for term in design.random:
            z = np.eye(term.count)[term.codes]
            v += fit.variances[term.name] * z @ z.T
        if by is None:
            v += fit.variances["residual"] * np.eye(fit.rows)
        else:
            levels = [fit.variances[f"residual[{x}]"] for x in design.residual.levels]
            v += np.diag(np.array(levels)[design.residual.codes])
        solved = np.linalg.solve(v, fit.residuals("marginal"))
        effects = fit.random_effects()
        for term in design.random:
            expected = fit.variances[term.name] * np.bincount(term.codes, solved)
            found = effects[effects["term"] == term.name]["effect"]
            np.testing.assert_allclose(found, expected, atol=1e-10)
        np.testing.assert_allclose(fit.fitted() + fit.residuals(), design.response)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(300))
def test_any_small_table_is_fitted_or_refused_in_words(seed):
    from scipy.optimize import minimize

    from analyses.models.linear.arrays import FitError
    from analyses.models.linear.criterion import evaluate

    rng = np.random.default_rng(seed)
    data = trial(seed, blocks=int(rng.integers(2, 5)), lost=rng.choice([0.1, 0.5, 0.8]))
    data["y"] = np.round(data["y"], int(rng.integers(0, 4)))
    random, by = MODELS[rng.choice(list(MODELS))]
    try:
        fit = fit_design(lay_out(data, "y", "treatment + flush", random, residual_by=by))
    except FitError:
        return
    best = fit.optimum.point.criterion
    for _ in range(3):
        found = minimize(
            lambda x: evaluate(fit.structure, np.exp(np.clip(x, -9, 5))).criterion,
            rng.normal(-0.5, 1, len(fit.structure.names)),
            method="Nelder-Mead",
            options={"maxiter": 400},
        )
        few = fit.structure.residuals == 1 or fit.rows <= 120  # then second low points are sought
        if few or found.x[-fit.structure.residuals :].min() > np.log(1e-3):
            assert found.fun >= best - 1e-5


@pytest.mark.parametrize("ordered", [False, True])
def test_a_categorical_keeps_the_order_of_its_categories(ordered):
    data = trial(4)
    data["treatment"] = pd.Categorical(data["treatment"], ["T3", "T1", "T2"], ordered=ordered)
    fit = fit_design(lay_out(data, "y", "treatment", ["block"]))
    means = fit.means("treatment")
    assert list(means["level"]) == ["T3", "T1", "T2"]
    text = fit_design(lay_out(data.astype({"treatment": str}), "y", "treatment", ["block"]))
    same = text.means("treatment").set_index("level").loc[["T3", "T1", "T2"], "mean"]
    np.testing.assert_allclose(means["mean"], same)
