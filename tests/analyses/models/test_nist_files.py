"""NIST StRD one-way analyses of variance as NIST writes them, with the digits reached.

Digits are those of F (log relative error). The files with many constant leading digits hold
numbers that a double rounds before any arithmetic, so fewer can be had.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from analyses.models.mixed import fit_mixed
from tests.reference.load import HERE

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
    return 15.0 if found == certified else -np.log10(abs(found - certified) / certified)


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
