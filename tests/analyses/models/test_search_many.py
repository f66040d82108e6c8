"""Many trials searched at once end where each does by itself; what is not sure says so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analyses.models.flush.kept_many import kept_many
from analyses.models.linear.criterion import evaluate
from analyses.models.linear.design import lay_out
from analyses.models.linear.reduce import reduce_design, sum_up
from analyses.models.linear.reml import maximise
from analyses.models.linear.search_many import corners, lowest_of_many, search_many
from tests.analyses.models.test_mixed_structures import trial

RANDOM = {"bags": ["bag"], "bags in blocks": ["block", "bag"], "crossed": ["day", "bag"]}


def structures(random, *, blocks, bag):
    """Lay out trials of one shape: no row lost, other weights."""
    found = []
    for seed in range(12):
        data = trial(seed, blocks=blocks, lost=0, bag=bag, block=0.4)
        data["day"] = [f"d{one % 4}" for one in range(len(data))]
        design = lay_out(data, "y", "treatment + flush", RANDOM[random], residual_by="flush")
        found.append(sum_up(design, reduce_design(design)))
    return found


def stacked(found):
    names = ("group_rows", "total", "within", "counts", "sums")
    parts = {name: np.stack([getattr(one, name) for one in found]) for name in names}
    return replace(found[0], rows=np.array([float(one.rows) for one in found]), **parts)


@pytest.mark.parametrize("random", RANDOM)
@pytest.mark.parametrize(("blocks", "bag"), [(3, 0.8), (4, 0.0), (8, 0.5)])
def test_the_lowest_point_of_each_is_that_of_one_trial(random, blocks, bag):
    found = structures(random, blocks=blocks, bag=bag)
    many = lowest_of_many(stacked(found))
    assert many.found.all()
    for at, one in enumerate(found):
        alone = maximise(one)
        assert many.criterion[at] == pytest.approx(alone.point.criterion, abs=1e-7)
        errors = 1 / np.sqrt(np.diag(alone.point.expected))
        np.testing.assert_allclose(many.theta[at], alone.point.theta, atol=1e-6 * errors.max())
        assert many.at_zero[at].tolist() == alone.at_zero.tolist()


def test_a_stack_says_of_each_trial_and_variance_what_one_says():
    found = structures("bags in blocks", blocks=3, bag=0.5)
    theta = np.random.default_rng(2).uniform(0.2, 2, (len(found), 5))
    many = evaluate(stacked(found), theta)
    one_trial = evaluate(found[0].stacked(), theta)
    for at, one in enumerate(found):
        for point, alone in (
            (many, evaluate(one, theta[at])),
            (one_trial, evaluate(found[0], theta[at])),
        ):
            for name in ("theta", "criterion", "beta", "phi", "gradient", "average", "expected"):
                told, true = getattr(point, name)[at], getattr(alone, name)
                np.testing.assert_allclose(told, true, rtol=1e-9, atol=1e-9, err_msg=name)


def test_what_cannot_be_told_apart_is_not_found():
    """Blocks that are the same as the bags: two variances for one thing."""
    data = trial(1, blocks=4, lost=0)
    data["again"] = data["bag"]
    design = lay_out(data, "y", "treatment", ["bag", "again"], residual_by="flush")
    structure = sum_up(design, reduce_design(design))
    starts = np.vstack([np.full(5, 0.2), corners(5, 3)])
    many = search_many(structure.stacked(), starts, np.zeros(len(starts), np.intp))
    assert not many.found.any()


def test_trials_out_of_the_ordinary_are_not_sure():
    """A trial without any third flush, one with weights on a line, and an ordinary one."""
    rng = np.random.default_rng(3)
    logs = 5.6 - 0.6 * np.arange(3) + 0.2 * rng.normal(size=(3, 8, 3))
    logs[0, :, 2] = np.nan
    logs[1] = 5.6 - 0.6 * np.arange(3)
    found = kept_many(logs, np.repeat([0, 1], 4), np.arange(8) % 4, called_for=0.01)
    assert found.sure.tolist() == [False, False, True]
    assert np.isfinite(found.value[:, 2]).all()


def test_the_share_kept_of_balanced_trials_is_the_mean_of_slopes():
    """Every flush weighed, one spread for all: the slope is plain least squares."""
    rng = np.random.default_rng(4)
    logs = 5.6 - 0.6 * np.arange(3) + 0.1 * rng.normal(size=(20, 8, 3))
    logs += 0.2 * rng.normal(size=(20, 8, 1))
    treatment = np.repeat([0, 1], 4)
    found = kept_many(logs, treatment, None, called_for=0.0)
    slopes = (logs[..., 2] - logs[..., 0]) / 2
    shares = [100 * np.exp(slopes[:, treatment == one].mean(1)) for one in (0, 1)]
    np.testing.assert_allclose(found.control, shares[0], rtol=1e-9)
    np.testing.assert_allclose(found.value[0], shares[1] - shares[0], atol=1e-7)
