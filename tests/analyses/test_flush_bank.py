"""Flush by flush on the wider bank of check values: shares kept, differences, growth rates.

The main path is held to reference flush_drop in `test_flushes.py`. In bank o-pos-05 control and
coffee share their labels of bags, so its model is fitted as it stands there and not as a trial.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyses.models.contrasts import infer
from analyses.models.mixed import fit_mixed
from tests.reference.load import case, frame

COLUMNS = (
    ("estimate", "estimate"),
    ("se", "se"),
    ("df", "df"),
    ("low", "lower"),
    ("high", "upper"),
)


@pytest.fixture(scope="module")
def decay():
    """Bank o-pos-05, invented: four recipes, three flushes, some missing."""
    data = frame("bank/sim_flush_open")
    return data.assign(k=data["flush"] - 1.0)


def test_each_share_kept_and_their_differences(decay) -> None:
    """Slope, standard error, df and limits by Kenward and Roger, as the reference has them."""
    known = case("bank/o-pos-05-simflush-decay")["results"]
    fit = fit_mixed(decay, "yield_g", "recipe * k", ["block", "bag"], log=True)
    rows = known["slopes"]["kenward_roger"]
    recipes = rows["label"]
    weights = np.array([fit.basis.rows({"recipe": [one]}, slope="k")[0] for one in recipes])
    found = infer(fit, weights, recipes, df="kenward-roger")
    for mine, theirs in COLUMNS:
        assert getattr(found, mine) == pytest.approx(rows[theirs], rel=1e-6)
    kept = [known["retention"][one] for one in recipes]
    assert np.exp(found.estimate) == pytest.approx([one["ratio"] for one in kept], rel=1e-7)
    assert np.exp(found.low) == pytest.approx([one["ci"][0] for one in kept], rel=1e-6)
    gaps = known["slopes"]["differences_kr"]
    apart = infer(fit, weights[1:] - weights[0], gaps["label"], df="kenward-roger")
    for mine, theirs in (*COLUMNS, ("p", "p_none")):
        assert getattr(apart, mine) == pytest.approx(gaps[theirs], rel=1e-6)


def test_the_share_common_to_all(decay) -> None:
    known = case("bank/o-pos-05-simflush-decay")["results"]["common_slope"]
    fit = fit_mixed(decay, "yield_g", "recipe + k", ["block", "bag"], log=True)
    found = infer(fit, fit.basis.rows({}, slope="k"), ["k"], df="kenward-roger")
    for mine, theirs in COLUMNS:
        assert float(getattr(found, mine)[0]) == pytest.approx(known["kr"][theirs], rel=1e-6)
    assert math.exp(found.high[0]) == pytest.approx(known["retention"]["ci"][1], rel=1e-6)


def test_growth_of_chicks_is_the_same_model() -> None:
    """Bank o-pos-04, Crowder & Hand (1990), example 5.3: slopes of the logarithm by diet."""
    data = frame("bank/ChickWeight").astype({"Diet": str, "Chick": str})
    fit = fit_mixed(data, "weight", "Diet * Time", ["Chick"], log=True)
    known = case("bank/o-pos-04-chickweight-growth")["results"]
    rows = known["slopes"]["kenward_roger"]
    weights = np.concatenate(
        [fit.basis.rows({"Diet": [diet]}, slope="Time") for diet in ("1", "2", "3", "4")]
    )
    found = infer(fit, weights, rows["label"], df="kenward-roger")
    for name, mine in (("estimate", found.estimate), ("se", found.se), ("df", found.df),
                       ("lower", found.low), ("upper", found.high)):  # fmt: skip
        assert mine == pytest.approx(rows[name], rel=1e-6)
    assert fit.variances["Chick"] == pytest.approx(known["varcomp"]["Chick"], rel=1e-6)
    assert fit.minus2_reml == pytest.approx(-2 * known["logLik"], rel=1e-8)
    ratio = known["rate_per_day"][0]
    assert math.exp(found.estimate[0]) == pytest.approx(ratio["ratio"], rel=1e-8)
