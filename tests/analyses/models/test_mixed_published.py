"""Published worked examples of mixed models and analyses of variance, complete in this file."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from analyses.models.mixed import fit_mixed
from tests.reference.load import frame


def table(**columns):
    return pd.DataFrame(columns)


def near(found, published, places):
    np.testing.assert_allclose(np.asarray(found, float), published, atol=0.51 * 10.0**-places)


def f_tests(fit, df="kenward-roger"):
    return fit.tests(df=df).set_index("term")


def test_complete_blocks_of_ingots():
    """STANDARDS C3: Mendenhall (1968) in Littell et al. (1996), output 1.1."""
    rows = [
        (67.0, 71.9, 72.2), (67.5, 68.8, 66.4), (76.0, 82.6, 74.5), (72.7, 78.1, 67.3),
        (73.1, 74.2, 73.2), (65.8, 70.8, 68.7), (75.6, 84.9, 69.0),
    ]  # fmt: skip
    data = table(
        pressure=np.ravel(rows), metal=list("nic") * 7, ingot=np.repeat(list("abcdefg"), 3)
    )
    fit = fit_mixed(data, "pressure", "metal", ["ingot"])
    found = f_tests(fit).loc["metal"]
    near([found["f"], found["p"]], [6.3588, 0.01309], 4)
    near(found["den_df"], 12, 6)
    near(np.sqrt([fit.variances["ingot"], fit.variances["residual"]]), [3.383, 3.220], 3)


def test_complete_blocks_of_grafts():
    """STANDARDS C4: Montgomery, Design and Analysis of Experiments, vascular grafts."""
    rows = [
        (90.3, 89.2, 98.2, 93.9, 87.4, 97.9), (92.5, 89.5, 90.6, 94.7, 87.0, 95.8),
        (85.5, 90.8, 89.6, 86.2, 88.0, 93.4), (82.5, 89.5, 85.6, 87.4, 78.9, 90.7),
    ]  # fmt: skip
    data = table(
        y=np.ravel(rows),
        pressure=np.repeat(["8500", "8700", "8900", "9100"], 6),
        batch=[*"abcdef"] * 4,
    )
    for fit in (
        fit_mixed(data, "y", "pressure", ["batch"]),
        fit_mixed(data, "y", "pressure + batch"),
    ):
        found = f_tests(fit).loc["pressure"]
        near(found["f"], 8.11, 2)
        near(found["p"], 0.0019, 4)
        near(fit.variances["residual"], 7.33, 2)


ROCKET = "A24 B20 C19 D24 E24 B17 C24 D30 E27 A36 C18 D38 E26 A27 B21 D26 E31 A26 B23 C22"


def test_latin_square_of_propellants():
    """STANDARDS C5: Montgomery, rocket propellant; rows and columns fixed or random."""
    cells = [*ROCKET.split(), "E22", "A30", "B20", "C29", "D31"]
    data = table(
        y=[float(cell[1:]) for cell in cells],
        formula=[cell[0] for cell in cells],
        batch=np.repeat(list("12345"), 5),
        operator=list("12345") * 5,
    )
    fixed = fit_mixed(data, "y", "formula + batch + operator")
    crossed = fit_mixed(data, "y", "formula", ["batch", "operator"])
    for fit in (fixed, crossed):
        found = f_tests(fit).loc["formula"]
        near([found["f"], found["den_df"]], [7.73, 12], 2)
        near(found["p"], 0.0025, 4)
        near(fit.variances["residual"], 10.67, 2)
    near(crossed.variances["operator"], (37.5 - 128 / 12) / 5, 6)


SPLIT_PLOT = {
    1: [(56, 41), (50, 36), (39, 35)],
    2: [(30, 25), (36, 28), (33, 30)],
    3: [(32, 24), (31, 27), (15, 19)],
    4: [(30, 25), (35, 30), (17, 18)],
}


def split_plot():
    rows = [
        (f"b{block}", f"a{a + 1}", f"b{b + 1}", y)
        for block, plots in SPLIT_PLOT.items()
        for a, pair in enumerate(plots)
        for b, y in enumerate(pair)
    ]
    return pd.DataFrame(rows, columns=["block", "a", "b", "y"])


@pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])
def test_split_plot(method):
    """STANDARDS C7: Stroup (1989), the example of the SAS/STAT MIXED procedure."""
    fit = fit_mixed(split_plot(), "y", "a * b", ["block", "block:a"])
    near(list(fit.variances.values()), [62.3958, 15.3819, 9.3611], 4)
    found = f_tests(fit, method)
    near(found["f"], [4.07, 19.39, 4.02], 2)
    near(found["p"], [0.0764, 0.0017, 0.0566], 4)
    near(found["den_df"], [6, 9, 9], 6)
    first = fit.means("a", df=method).iloc[0]
    near([first["mean"], first["se"]], [32.8750, 4.5403], 4)
    near(first["df"], 4.2, 1)


def test_cakes():
    """Cochran & Cox (1957), p. 300: recipes in batches, temperatures within."""
    fit = fit_mixed(
        frame("mixed_cake_split_plot"),
        "angle",
        "recipe * temperature",
        ["replicate", "replicate:recipe"],
    )
    found = f_tests(fit)
    # mean squares 67.54/42.80, 420.06/20.47, 20.60/20.47 (from memory of the printed table)
    near(found["den_df"], [28, 210, 210], 5)
    near(found["f"], [1.58, 20.52, 1.01], 2)


def test_oats():
    """STANDARDS C9: Yates (1935), strata of 10 and 45 degrees of freedom."""
    fit = fit_mixed(
        frame("mixed_oats_split_plot"), "yield", "variety * nitro", ["block", "block:variety"]
    )
    found = f_tests(fit)
    near(found["f"], [1.4853, 37.6856, 0.3028], 4)
    near(found["den_df"], [10, 45, 45], 6)
    near(found.loc["variety", "p"], 0.2724, 4)


CATALYST = [
    ("c1", {"b1": 73, "b2": 74, "b4": 71}),
    ("c2", {"b2": 75, "b3": 67, "b4": 72}),
    ("c3", {"b1": 73, "b2": 75, "b3": 68}),
    ("c4", {"b1": 75, "b3": 72, "b4": 75}),
]


def test_balanced_incomplete_blocks():
    """STANDARDS C11: Montgomery, catalysts; within blocks and with recovery."""
    rows = [(c, b, y) for c, blocks in CATALYST for b, y in blocks.items()]
    data = pd.DataFrame(rows, columns=["catalyst", "batch", "y"])
    fixed = fit_mixed(data, "y", "catalyst + batch")
    found = f_tests(fixed).loc["catalyst"]
    near([found["f"], found["den_df"]], [11.67, 5], 2)
    near(found["p"], 0.0107, 4)
    near(fixed.means("catalyst")["mean"], [71.375, 71.625, 72.000, 75.000], 3)
    mixed = fit_mixed(data, "y", "catalyst", ["batch"])
    found = f_tests(mixed).loc["catalyst"]
    near(mixed.variances["batch"], 8.0167, 4)
    near([found["f"], found["den_df"]], [11.33, 5.03], 2)
    near(found["p"], 0.0112, 4)


COX = """4 4.43 5 3.16 1 1.40|4 5.09 2 1.81 5 4.54|2 3.91 4 6.02 1 3.32|5 4.66 3 3.09 1 3.56
3 3.66 4 2.81 5 4.66|2 1.60 3 2.13 1 1.31|3 4.26 1 3.86 4 5.87|3 2.57 5 3.06 2 3.45
2 3.31 3 5.10 4 5.42|5 5.53 1 4.46 2 3.94"""


def test_recovery_of_information_between_blocks():
    """STANDARDS C12: Cox (1958), Planning of Experiments, pp. 219-230."""
    rows = []
    for day, text in enumerate(COX.replace("\n", "|").split("|")):
        words = text.split()
        rows += [(f"d{day}", f"T{words[i]}", float(words[i + 1])) for i in (0, 2, 4)]
    data = pd.DataFrame(rows, columns=["day", "treatment", "y"])
    fixed = fit_mixed(data, "y", "day + treatment")
    found = f_tests(fixed).loc["treatment"]
    near([found["f"], found["den_df"]], [7.008, 16], 3)
    near(found["p"], 0.00185, 5)
    near(fixed.variances["residual"], 0.5620, 4)
    near(fixed.means("treatment")["mean"], [2.88, 2.90, 3.60, 4.82, 4.46], 2)
    mixed = fit_mixed(data, "y", "treatment", ["day"])
    near(list(mixed.variances.values()), [0.6889, 0.5580], 4)
    near(mixed.means("treatment")["mean"], [2.91, 2.92, 3.57, 4.85, 4.42], 2)
    found = f_tests(mixed).loc["treatment"]
    near(found["f"], 6.981, 3)
    near([found["den_df"]], [17.36], 2)
    near(found["p"], 0.0015, 4)


SOYBEANS = """1 6,2 7,3 5,4 8,5 6|6 16,7 12,8 12,9 13,10 8|11 17,12 7,13 7,14 9,15 14
16 18,17 16,18 13,19 13,20 14|21 14,22 15,23 11,24 14,25 14
1 24,6 13,11 24,16 11,21 8|2 21,7 11,12 14,17 11,22 23|3 16,8 4,13 12,18 12,23 12
4 17,9 10,14 30,19 9,24 23|5 15,10 15,15 22,20 16,25 19"""


def test_square_lattice():
    """STANDARDS C13: Cochran & Cox (1957), p. 406, soybeans; the SAS LATTICE example."""
    rows = []
    for at, block in enumerate(SOYBEANS.replace("\n", "|").split("|")):
        for cell in block.split(","):
            line, y = cell.split()
            rows.append((f"r{at // 5}", f"k{at % 5}", f"l{int(line):02d}", float(y)))
    data = pd.DataFrame(rows, columns=["rep", "block", "line", "y"])
    data["place"] = data["rep"] + data["block"]
    fixed = fit_mixed(data, "y", "line + place")
    near(fixed.variances["residual"], 13.6550, 4)
    mixed = fit_mixed(data, "y", "line + rep", ["rep:block"])
    near(mixed.variances["rep:block"], 19.63, 2)
    near(mixed.means("line")["mean"][0], 19.07, 2)


def test_tukey():
    """STANDARDS C18: SAS values in scipy's tests, equal and unequal groups."""
    groups = {
        "g1": [24.5, 23.5, 26.4, 27.1, 29.9],
        "g2": [28.4, 34.2, 29.5, 32.2, 30.1],
        "g3": [26.1, 28.3, 24.3, 26.2, 27.8],
    }
    found = pairs_of(groups)
    near(found.loc["g2 - g1", ["estimate", "low", "high"]], [4.60, 0.9508830568, 8.249116943], 4)
    near(-found.loc["g3 - g2", ["estimate", "high", "low"]], [4.34, 0.6908830568, 7.989116943], 4)
    near(found.loc["g3 - g1", ["low", "high"]], [-3.389116943, 3.909116943], 4)
    groups["g1"] = [24.5, 23.5, 26.28, 26.4, 27.1, 29.9, 30.1, 30.1]
    found = pairs_of(groups)
    # Kramer's limits are a little wide where sizes differ; the exact ones lie within
    kramer = {"g2 - g1": (0.2679292645, 7.022070736), "g3 - g1": (-4.072070736, 2.682070736)}
    for name, (low, high) in kramer.items():
        assert low - 1e-6 <= found.loc[name, "low"] <= low + 0.03
        assert high - 0.03 <= found.loc[name, "high"] <= high + 1e-6


def pairs_of(groups):
    data = table(
        y=np.concatenate(list(groups.values())),
        group=np.repeat(list(groups), [len(one) for one in groups.values()]),
    )
    fit = fit_mixed(data, "y", "group")
    return fit.contrasts("group", "all pairs", adjust="exact").set_index("contrast")


def test_linear_contrast():
    """STANDARDS C19: Snedecor & Cochran's data, as Bonett gives the contrast."""
    means, sds = [33.5, 37.9, 38.0, 44.1], [3.84, 3.84, 3.65, 4.98]
    shape = np.arange(10.0)
    shape = (shape - shape.mean()) / shape.std(ddof=1)
    y = np.concatenate([m + s * shape for m, s in zip(means, sds, strict=True)])
    fit = fit_mixed(table(y=y, group=np.repeat(list("abcd"), 10)), "y", "group")
    found = fit.contrasts("group", {"first two - last two": [0.5, 0.5, -0.5, -0.5]}).iloc[0]
    near([found["estimate"], found["se"], found["t"]], [-5.35, 1.300136, -4.115], 3)
    near(found["df"], 36, 8)
    near([found["low"], found["high"]], [-7.986797, -2.713203], 6)
    near(found["p"], 0.00022, 5)


def test_criterion_of_statsmodels():
    """An independent REML for one random term: the same criterion and variances."""
    import statsmodels.formula.api as smf

    data = frame("mixed_flushes_unbalanced")
    data["logy"] = np.log(data["y"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = smf.mixedlm("logy ~ C(treatment) * C(flush)", data, groups="bag").fit(reml=True)
    fit = fit_mixed(data, "logy", "treatment * flush", ["bag"])
    assert fit.minus2_reml == pytest.approx(-2 * peer.llf, abs=1e-6)
    assert fit.variances["residual"] == pytest.approx(peer.scale, rel=1e-4)
    assert fit.variances["bag"] == pytest.approx(float(peer.cov_re.iloc[0, 0]), rel=1e-3)
    np.testing.assert_allclose(np.sort(peer.fe_params), np.sort(fit.coefficients), rtol=1e-4)
