"""Terms within growers, group by group, against one dense problem and statsmodels."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analyses.models.linear.groups import group
from analyses.models.linear.separate import Separate, separate_places
from analyses.models.mixed import fit_mixed


def rows(growers, seed=3, treatments="ABC"):
    """Give growers with some blocks and some bags of each treatment in each."""
    rng = np.random.default_rng(seed)
    found = []
    for grower in range(growers):
        level, inner = rng.normal(0, 5), dict(zip(treatments, rng.normal(0, 3, 9), strict=False))
        for block in range(rng.integers(2, 5)):
            shelf = rng.normal(0, 4)
            for one in treatments:
                for _ in range(rng.integers(1, 4)):
                    y = 100 + level + inner[one] + shelf + 5 * (one == "B") + rng.normal(0, 6)
                    found.append((f"g{grower}", f"b{block}", one, y))
    return pd.DataFrame(found, columns=["grower", "block", "treatment", "y"])


RANDOM = ["grower", "grower:treatment", "grower:block"]


def test_group_by_group_is_one_dense_problem(monkeypatch):
    frame = rows(40)
    found = fit_mixed(frame, "y", "treatment", RANDOM)
    assert isinstance(found.structure, Separate)
    monkeypatch.setattr("analyses.models.linear.reduce.separate_places", lambda _terms: None)
    other = fit_mixed(frame, "y", "treatment", RANDOM)
    assert not isinstance(other.structure, Separate)
    assert found.minus2_reml == pytest.approx(other.minus2_reml, rel=1e-12)
    for name, variance in other.variances.items():
        assert found.variances[name] == pytest.approx(variance, rel=1e-9)
    for table, numbers in [("contrasts", "estimate se df t p low high"), ("means", "mean se df")]:
        mine, theirs = (getattr(fit, table)("treatment") for fit in (found, other))
        columns = numbers.split()
        assert mine[columns].to_numpy() == pytest.approx(theirs[columns].to_numpy(), rel=1e-9)


def test_a_few_growers_or_a_giant_are_left_to_one_dense_problem():
    assert not isinstance(fit_mixed(rows(5), "y", "treatment", RANDOM).structure, Separate)
    names = [f"g{n}" for n in range(40)] + ["giant"] * 3000
    growers, blocks = group("grower", names), group("block", [f"b{n}" for n in range(3040)])
    assert separate_places([blocks, growers, growers]) is None
    small = [group("block", [f"b{n}" for n in range(20)]), group("grower", names[:20])]
    assert separate_places([*small, small[1]]) is None  # few levels beside the first term
    crossed = group("room", [f"r{n % 80}" for n in range(3040)])
    assert separate_places([blocks, crossed, growers]) is None


def test_statsmodels_finds_the_same_maximum():
    from statsmodels.regression.mixed_linear_model import MixedLM

    frame = rows(30, treatments="AB")
    found = fit_mixed(frame, "y", "treatment", RANDOM)
    assert isinstance(found.structure, Separate)
    other = MixedLM.from_formula(
        "y ~ treatment",
        frame,
        groups="grower",
        re_formula="1",
        vc_formula={"cell": "0 + C(treatment)", "block": "0 + C(block)"},
    ).fit(reml=True, method="lbfgs")
    assert found.minus2_reml == pytest.approx(-2 * other.llf, abs=1e-4)
    contrast = found.contrasts("treatment").iloc[0]
    assert contrast["estimate"] == pytest.approx(other.params["treatment[T.B]"], rel=1e-4)
    assert found.variances["residual"] == pytest.approx(other.scale, rel=1e-3)
