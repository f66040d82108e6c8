"""NIST StRD one-way analyses of variance and linear regressions, with the digits reached.

Digits are those of F (log relative error). The files with many constant leading digits hold
numbers that a double rounds before any arithmetic, so fewer can be had.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from analyses.models.linear.arrays import FitError
from analyses.models.mixed import fit_mixed
from tests.reference.load import HERE, case, frame

FOLDER = Path(HERE) / "nist"
DIGITS = {
    "SiRstv": 13,  # lower difficulty
    "SmLs01": 13,
    "SmLs02": 13,
    "AtmWtAg": 10,  # average: 6 constant leading digits
    "SmLs04": 10,
    "SmLs05": 10,
    "SmLs07": 3,  # higher: 13 constant leading digits
    "SmLs08": 3,
}


def read(name):
    """Give the data and the certified degrees of freedom, F and residual deviation."""
    text = (FOLDER / f"{name}.dat").read_text()
    number = r"[-+\d.E]+"
    between = re.search(rf"Between .*?(\d+)\s+{number}\s+{number}\s+({number})", text)
    within = re.search(r"Within .*?(\d+)\s", text)
    deviation = re.search(rf"Standard Deviation\s+({number})", text)
    lines = text.split("\n")[60:]
    rows = np.array([line.split() for line in lines if line.strip()], float)
    data = {"group": rows[:, 0].astype(int).astype(str), "y": rows[:, 1]}
    df = (float(between[1]), float(within[1]))
    return data, df, float(between[2]), float(deviation[1])


def digits(found, certified):
    """Count the digits that agree."""
    return 15.0 if found == certified else -np.log10(abs(found - certified) / abs(certified))


@pytest.mark.parametrize("name", DIGITS)
def test_certified_values(name):
    data, df, f, deviation = read(name)
    fit = fit_mixed(data, "y", "group")
    found = fit.tests().iloc[0]
    assert (round(found["num_df"], 6), round(found["den_df"], 6)) == df
    assert digits(found["f"], f) >= DIGITS[name]
    assert digits(np.sqrt(fit.variances["residual"]), deviation) >= DIGITS[name]


def test_every_file_is_checked():
    assert {path.stem for path in FOLDER.glob("*.dat")} == set(DIGITS)


OF_BANK = {"SiRstv": 12, "SmLs01": 12.5, "SmLs02": 12.5, "SmLs04": 9, "SmLs05": 9, "SmLs07": 2}


@pytest.mark.parametrize("name", OF_BANK)
def test_one_way_of_the_bank(name):
    """NIST StRD; the data of SmLs04 and 05 carry 7 constant digits, of SmLs07 thirteen."""
    truth = case(f"bank/o-nist-anova-{name}")["results"]
    data = frame(f"bank/nist_{name}").astype({"treatment": str})
    fit = fit_mixed(data, "y", "treatment")
    found = fit.tests().iloc[0]
    assert found["num_df"] == pytest.approx(truth["df_between"])
    assert found["den_df"] == pytest.approx(truth["df_within"])
    assert digits(found["f"], truth["F"]) >= OF_BANK[name]
    assert digits(fit.variances["residual"], truth["ms_within"]) >= OF_BANK[name]


LINEAR = {
    "longley": (" + ".join(f"x{k}" for k in range(1, 7)), 9),
    "noint1": ("0 + x", 13),
    "noint2": ("0 + x", 13),
    "norris": ("x", 11),
    "wampler4": ("x + I(x**2) + I(x**3) + I(x**4) + I(x**5)", 7),
}


@pytest.mark.parametrize("name", LINEAR)
def test_linear(name):
    truth = case(f"bank/o-nist-lin-{name}")["results"]
    fixed, least = LINEAR[name]
    fit = fit_mixed(frame(f"bank/nist_{name}"), "y", fixed)
    found = fit.effects
    for ours, theirs in (("estimate", "coef"), ("se", "se")):
        for value, certified in zip(found[ours], truth[theirs], strict=True):
            assert digits(value, certified) >= least
    assert digits(np.sqrt(fit.variances["residual"]), truth["residual_sd"]) >= least


@pytest.mark.parametrize("name", ["wampler1", "wampler2"])
def test_exact_fits_are_refused(name):
    """A polynomial that fits every row exactly leaves no error to judge by."""
    fixed = LINEAR["wampler4"][0]
    with pytest.raises(FitError, match="nothing varies"):
        fit_mixed(frame(f"bank/nist_{name}"), "y", fixed)
