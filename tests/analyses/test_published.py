"""The main path run on published tables: records in, findings out."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from analyses.flush.table import shares_and_ratios
from analyses.questions import analyse
from tests.analyses.made import records_of
from tests.reference.load import HERE, case, frame


def treatment_test(records) -> tuple[float, float, float, float]:
    """Give df, df, F and p of the treatments from the first model."""
    tests = {row[0]: row[1:] for row in analyse(records).models[0].tests}
    return tests["treatment"]


def test_ergonomic_stools_in_complete_blocks() -> None:
    """Nine people, four stools (Pinheiro & Bates 2000, p. 12): reference mixed_stools."""
    data, known = frame("mixed_stools"), case("mixed_stools")
    records = records_of(data["type"], data["effort"], block=data["subject"].astype(str))
    analysis = analyse(records)
    joint = known["kenward_roger"]["joint_tests"][0]
    num, den, f, p = treatment_test(records)
    assert (num, den) == pytest.approx((joint["df1"], joint["df2"]), rel=1e-6)
    assert f == pytest.approx(joint["F.ratio"], abs=6e-4)
    assert p == pytest.approx(joint["p.value"], rel=1e-6)
    means = {
        one.treatment: one
        for one in analysis.means
        if one.estimand == "per bag started" and one.unit == "g"
    }
    for row in known["kenward_roger"]["means"]:
        mine = means[row["type"]]
        assert mine.value == pytest.approx(row["emmean"], rel=1e-6)
        assert (mine.low, mine.high) == pytest.approx((row["lower.CL"], row["upper.CL"]), rel=1e-6)
    started = [one for one in analysis.findings if one.id.startswith("yield-started")]
    for finding, row in zip(started, known["kenward_roger"]["versus_control"], strict=True):
        estimate = finding.estimate
        assert estimate.value == pytest.approx(row["estimate"], rel=1e-6)
        assert estimate.df == pytest.approx(row["df"], rel=1e-6)
        half = (estimate.high_alone - estimate.low_alone) / 2
        assert half == pytest.approx(row["SE"] * 2.0638985616280205, rel=1e-6)  # t .975, 24 df


def test_bond_strength_in_complete_blocks() -> None:
    """Three metals, seven ingots: Mendenhall (1968) by way of Littell et al. (1996), output 1.1:
    F 6.3588 on 2 and 12 df, p .0131; REML SD of ingots 3.383, residual 3.220."""
    rows = "67.0 71.9 72.2 67.5 68.8 66.4 76.0 82.6 74.5 72.7 78.1 67.3 73.1 74.2 73.2 65.8 70.8 68.7 75.6 84.9 69.0"  # noqa: E501
    strength = [float(one) for one in rows.split()]
    metal, ingot = ["n", "i", "c"] * 7, [str(1 + place // 3) for place in range(21)]
    records = records_of(metal, strength, block=ingot)
    num, den, f, p = treatment_test(records)
    assert (num, den) == pytest.approx((2, 12))
    assert f == pytest.approx(6.3588, abs=5e-5)
    assert p == pytest.approx(0.01309, abs=5e-6)
    variances = dict(analyse(records).models[0].variances)
    assert math.sqrt(variances["block"]) == pytest.approx(3.383, abs=5e-4)
    assert math.sqrt(variances["residual"]) == pytest.approx(3.220, abs=5e-4)


def test_vascular_grafts_in_complete_blocks() -> None:
    """Four pressures, six batches of resin (Montgomery, Design and Analysis of Experiments,
    example 4.1): F 8.11 on 3 and 15 df, p .0019, error mean square 7.33."""
    table = {
        "8500": [90.3, 89.2, 98.2, 93.9, 87.4, 97.9],
        "8700": [92.5, 89.5, 90.6, 94.7, 87.0, 95.8],
        "8900": [85.5, 90.8, 89.6, 86.2, 88.0, 93.4],
        "9100": [82.5, 89.5, 85.6, 87.4, 78.9, 90.7],
    }
    pressure = [name for name in table for _ in range(6)]
    resin = [str(batch) for _ in table for batch in range(6)]
    yields = [value for values in table.values() for value in values]
    records = records_of(pressure, yields, block=resin)
    num, den, f, p = treatment_test(records)
    assert (num, den) == pytest.approx((3, 15))
    assert f == pytest.approx(8.11, abs=0.005)
    assert p == pytest.approx(0.0019, abs=5e-5)
    assert dict(analyse(records).models[0].variances)["residual"] == pytest.approx(7.33, abs=0.005)


def test_plant_growth_completely_random() -> None:
    """Three groups of ten plants (Dobson 1983, by way of R's PlantGrowth): analysis of variance,
    Dunnett's comparison with the control, and Welch's test."""
    data, known = frame("oneway_plant_growth"), case("oneway_plant_growth")
    records = records_of(data["group"], data["weight"], control="ctrl")
    num, den, f, p = treatment_test(records)
    assert (num, den) == pytest.approx((2, 27))
    assert f == pytest.approx(known["anova"][0]["F value"], rel=1e-9)
    assert p == pytest.approx(known["anova"][0]["Pr(>F)"], rel=1e-9)
    welch = next(row for row in analyse(records).models[0].tests if "Welch" in row[0])
    assert welch[1:3] == pytest.approx(known["welch"]["df"], rel=1e-9)
    assert welch[3:] == pytest.approx((known["welch"]["F"], known["welch"]["p"]), rel=1e-9)
    started = [one for one in analyse(records).findings if one.id.startswith("yield-started")]
    dunnett = known["dunnett"]
    assert [one.estimate.value for one in started] == pytest.approx(dunnett["estimate"], rel=1e-9)
    assert [one.estimate.p for one in started] == pytest.approx(dunnett["p"], abs=1e-4)
    standard_error = math.sqrt(2 * known["anova"][1]["Mean Sq"] / 10)
    for one in started:
        half = (one.estimate.high - one.estimate.low) / 2
        assert half / standard_error == pytest.approx(dunnett["critical"], rel=1e-4)


@pytest.mark.parametrize("name", ["SiRstv", "SmLs01"])
def test_nist_certified_analysis_of_variance(name: str) -> None:
    """NIST Statistical Reference Datasets, analysis of variance: certified F to 9 digits."""
    text = (HERE / "nist" / f"{name}.dat").read_text()
    certified = float(re.search(r"Between \w+\s+\d+\s+\S+\s+\S+\s+(\S+)", text)[1])
    rows = [line.split() for line in text.splitlines()[60:] if line.strip()]
    groups, values = [row[0] for row in rows], [float(row[1]) for row in rows]
    records = records_of(groups, values)
    _, _, f, _ = treatment_test(records)
    assert f == pytest.approx(certified, rel=1e-9)


def test_fishers_tea_table_as_lost_bags() -> None:
    """Fisher (1935), The Design of Experiments, chapter 2: 3 of 4 against 1 of 4 has the two-sided
    p 34/70 = .4857."""
    fate = ["contaminated"] * 3 + ["finished"] + ["contaminated"] + ["finished"] * 3
    records = records_of(["A"] * 4 + ["B"] * 4, [1.0] * 8, fate=fate, control="B")
    finding = next(one for one in analyse(records).findings if "contamination" in one.id)
    assert finding.estimate.p == pytest.approx(34 / 70, rel=1e-12)
    assert finding.estimate.value == pytest.approx(50)


def test_lost_bags_by_miettinen_and_nurminen() -> None:
    """Newcombe (1998), Statist. Med. 17, 873-890, table II, first contrast: 56/70 against 48/80
    has the Miettinen-Nurminen interval .0528 to .3382; here in bags of a hundred."""
    fate = ["contaminated"] * 56 + ["finished"] * 14 + ["contaminated"] * 48 + ["finished"] * 32
    records = records_of(["A"] * 70 + ["B"] * 80, [1.0] * 150, fate=fate, control="B")
    estimate = next(one for one in analyse(records).findings if "contamination" in one.id).estimate
    assert (estimate.low, estimate.high) == pytest.approx((5.28, 33.82), abs=5e-3)


def test_a_published_table_by_flush() -> None:
    """Fruit bodies per bag of grey oyster in four flushes, four mixes (Advances in Agriculture
    2019, 6853627, table 3): column means 23.75 15.33 6.25 3.8; ratios 0.65, 0.41, 0.61."""
    table = np.array(
        [
            [9.3, 6.3, 2.3, 1.7],
            [33.3, 22.0, 8.3, 5.0],
            [30.0, 20.3, 8.7, 5.3],
            [22.3, 12.7, 5.7, 3.3],
        ]
    )
    means = table.mean(axis=0)
    assert means == pytest.approx([23.75, 15.33, 6.25, 3.8], abs=0.03)
    totals = dict(enumerate(table.sum(axis=0), start=1))
    shares, kept = shares_and_ratios(list(means), totals)
    assert kept[1:] == pytest.approx([0.65, 0.41, 0.61], abs=0.006)
    assert np.prod(kept[1:]) ** (1 / 3) == pytest.approx(0.54, abs=0.006)
    assert list(shares.values()) == pytest.approx([0.48, 0.31, 0.13, 0.08], abs=0.006)
    records = records_of(["c100", "c90", "c80", "c70"], table)
    rows = [one for one in analyse(records).flush_rows if one.treatment == "c90"]
    assert [one.mean_g for one in rows] == [33.3, 22.0, 8.3, 5.0]
    assert [100 * one.share for one in rows] == pytest.approx([48, 32, 12, 7], abs=0.6)
