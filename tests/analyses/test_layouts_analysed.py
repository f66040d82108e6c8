"""Published trials in squares, split plots and incomplete blocks through the main path."""

from __future__ import annotations

import dataclasses
import itertools
import math
from functools import cache

import numpy as np
import pytest
from scipy.stats import t as student

from analyses.analysis import Analysis
from analyses.layouts.redeal import indicators, split_plot_redeal, table_redeal
from analyses.models.layouts.rerandomise_designs import rerandomise_layouts
from analyses.questions import analyse
from tests.analyses.made import records_of
from trials.layout import Randomisation
from trials.records import Records
from trials.trial import Design, Treatment


def laid_out(
    records: Records,
    design: Design,
    randomisation: Randomisation,
    *,
    treatments: tuple[Treatment, ...] | None = None,
    row: list[str] | None = None,
    column: list[str] | None = None,
    batch: list[str] | None = None,
) -> Records:
    """Say that made records were laid out in another way."""
    count = len(records.bags)
    names = {
        "row": row or [""] * count,
        "column": column or [""] * count,
        "batch": batch or [""] * count,
    }
    slots = tuple(
        dataclasses.replace(slot, **{name: values[place] for name, values in names.items()})
        for place, slot in enumerate(records.layout.slots)
    )
    trial = dataclasses.replace(
        records.trial, design=design, treatments=treatments or records.trial.treatments
    )
    return dataclasses.replace(
        records,
        trial=trial,
        layout=dataclasses.replace(records.layout, slots=slots, randomisation=randomisation),
        bags=records.bags.assign(**names),
        flushes=records.flushes.assign(batch=names["batch"]),
    )


def propellant() -> Records:
    rows = "A24 B20 C19 D24 E24 / B17 C24 D30 E27 A36 / C18 D38 E26 A27 B21 / D26 E31 A26 B23 C22 / E22 A30 B20 C29 D31"  # noqa: E501
    cells = [
        (str(row), str(column), cell[0], float(cell[1:]))
        for row, line in enumerate(rows.split(" / "))
        for column, cell in enumerate(line.split())
    ]
    row, column, letter, value = (list(one) for one in zip(*cells, strict=True))
    design = Design(
        layout="latin square", block="batch", blocks=5, column="worker", units_per_treatment=1,
        seed=1,
    )  # fmt: skip
    return laid_out(
        records_of(letter, value, block=row, control="A"), design,
        "rows, columns and treatments of a square", row=row, column=column,
    )  # fmt: skip


def test_rocket_propellant_in_a_latin_square() -> None:
    """Montgomery, Design and Analysis of Experiments, the rocket propellant: treatments F 7.73 on
    4 and 12 df, p .0025; error mean square 10.67, rows 17, columns 37.5."""
    analysis = analyse(propellant())
    model = analysis.models[0]
    (_, num, den, f, p), *_ = model.tests
    assert (num, den) == pytest.approx((4, 12))
    assert f == pytest.approx(7.73, abs=0.005)
    assert p == pytest.approx(0.0025, abs=5e-5)
    variances = dict(model.variances)
    assert variances["residual"] == pytest.approx(128 / 12, rel=1e-6)
    assert variances["block"] == pytest.approx((68 / 4 - 128 / 12) / 5, rel=1e-5)
    assert variances["column"] == pytest.approx((150 / 4 - 128 / 12) / 5, rel=1e-5)
    started = [one for one in analysis.findings if one.id.startswith("yield-started")]
    assert all(0 < one.p_rerandomised <= 1 for one in started)
    # All treatments are dealt out, so that treatments and error make up the spread: 458 on 16 df.
    for one in started:
        t = one.estimate.value / math.sqrt(2 * (330 + 128) / 16 / 5)
        assert one.p_rerandomised == pytest.approx(2 * student.sf(abs(t), 16), abs=0.06)


def semiconductor() -> Records:
    """Stroup (1989): four blocks, factor A in whole plots, B in their halves."""
    text = "56 41 50 36 39 35 30 25 36 28 33 30 32 24 31 27 15 19 30 25 35 30 17 18"
    values = [float(one) for one in text.split()]
    cells = [(block, a, b) for block in "1234" for a in "123" for b in "12"]
    treatments = tuple(
        Treatment(
            code=f"a{a}b{b}", name=f"a{a} b{b}", control=(a, b) == ("1", "1"),
            factors=(("A", a), ("B", b)),
        )
        for a in "123" for b in "12"
    )  # fmt: skip
    design = Design(
        layout="split plot", block="block", blocks=4, units_per_treatment=1, batch_factor="A",
        seed=1,
    )  # fmt: skip
    return laid_out(
        records_of([f"a{a}b{b}" for _, a, b in cells], values, block=[one[0] for one in cells]),
        design, "batches within blocks, units within batches", treatments=treatments,
        batch=[f"batch {block}{a}" for block, a, _ in cells],
    )  # fmt: skip


@cache
def split_plot_analysis() -> Analysis:
    return analyse(semiconductor())


def test_a_published_split_plot() -> None:
    """Stroup (1989), by way of the example of a split plot in SAS/STAT: REML variances 62.3958,
    15.3819, 9.3611; A F 4.07 on 2 and 6 df, p .0764; B F 19.39 on 1 and 9, p .0017; A x B 4.02 on
    2 and 9, p .0566."""
    analysis = split_plot_analysis()
    model = next(one for one in analysis.models if "factor by factor" in one.about)
    variances = dict(model.variances)
    assert variances["block"] == pytest.approx(62.3958, abs=1e-3)
    assert variances["batch"] == pytest.approx(15.3819, abs=1e-3)
    assert variances["residual"] == pytest.approx(9.3611, abs=1e-3)
    tests = {term: rest for term, *rest in model.tests}
    for term, known in {
        "A": (2, 6, 4.07, 0.0764),
        "B": (1, 9, 19.39, 0.0017),
        "A:B": (2, 9, 4.02, 0.0566),
    }.items():
        assert tests[term][:2] == pytest.approx(known[:2], rel=1e-5)
        assert tests[term][2] == pytest.approx(known[2], abs=0.006)
        assert tests[term][3] == pytest.approx(known[3], abs=6e-5)
    assert "A * B" in model.formula


def test_the_factors_of_a_split_plot_are_told_by_their_own_unit() -> None:
    """Means of Stroup's table by hand: B2 - B1 is the mean of 12 differences; their interaction
    with A is a difference of differences."""
    analysis = split_plot_analysis()
    effects = {(one.factors, one.levels): one for one in analysis.factor_effects if not one.at}
    values = semiconductor().bags["total_g"].to_numpy().reshape(4, 3, 2)
    by_b = effects[(("B",), ("2",))]
    assert by_b.value == pytest.approx((values[:, :, 1] - values[:, :, 0]).mean(), rel=1e-9)
    assert (by_b.unit_counted, by_b.df) == ("bag", pytest.approx(9))
    by_a = effects[(("A",), ("3",))]
    assert by_a.value == pytest.approx((values[:, 2] - values[:, 0]).mean(), rel=1e-9)
    assert (by_a.unit_counted, by_a.df) == ("batch", pytest.approx(6))
    both = effects[(("A", "B"), ("3", "2"))]
    halves = values[:, :, 1] - values[:, :, 0]
    assert both.value == pytest.approx((halves[:, 2] - halves[:, 0]).mean(), rel=1e-9)
    assert len(effects) == 2 + 1 + 2
    single = {(one.factors, one.levels, one.at): one for one in analysis.factor_effects if one.at}
    assert len(single) == 2 * 2 + 1 * 3
    of_b = single[(("B",), ("2",), ("A", "3"))]
    assert of_b.value == pytest.approx(halves[:, 2].mean(), rel=1e-9)
    # A level of A inside one batch: the error of bags, 9 df; between batches both errors mix.
    assert of_b.df == pytest.approx(9)
    of_a = single[(("A",), ("3",), ("B", "2"))]
    assert of_a.value == pytest.approx((values[:, 2, 1] - values[:, 0, 1]).mean(), rel=1e-9)
    assert (of_a.unit_counted, of_a.units) == ("batch", 12)
    assert 6 < of_a.df < 15
    # 3! ^ 4 ways to deal batches out, 2 ^ 12 ways to deal bags out.
    assert 0 < by_a.p_rerandomised <= 1
    assert by_b.p_rerandomised == pytest.approx(_sign_flip(halves.ravel()), abs=1e-12)
    yields = [one.estimate for one in analysis.findings if one.id.startswith("yield-started")]
    units = {one.treatment: one for one in yields}
    assert (units["a1b2"].unit_counted, units["a2b2"].unit_counted) == ("bag", "batch")
    assert units["a2b2"].units == 8


def _sign_flip(differences: np.ndarray) -> float:
    signs = np.array(list(itertools.product((-1, 1), repeat=len(differences))))
    sums = np.abs(signs @ differences)
    return float((sums >= abs(differences.sum()) - 1e-9).mean())


def cox() -> Records:
    text = (  # noqa: SIM905
        "4 4.43 5 3.16 1 1.40 4 5.09 2 1.81 5 4.54 2 3.91 4 6.02 1 3.32 5 4.66 3 3.09 1 3.56 "
        "3 3.66 4 2.81 5 4.66 2 1.60 3 2.13 1 1.31 3 4.26 1 3.86 4 5.87 3 2.57 5 3.06 2 3.45 "
        "2 3.31 3 5.10 4 5.42 5 5.53 1 4.46 2 3.94"
    ).split()
    design = Design(
        layout="incomplete blocks", block="day", blocks=10, units_per_treatment=6,
        places=(3,) * 10, seed=1,
    )  # fmt: skip
    return laid_out(
        records_of(
            [f"T{one}" for one in text[::2]], [float(one) for one in text[1::2]],
            block=[str(place // 3) for place in range(30)], control="T1",
        ),
        design, "treatments over blocks, units within blocks",
    )  # fmt: skip


def test_balanced_incomplete_blocks_with_recovery() -> None:
    """Cox (1958), Planning of Experiments, pp. 219-230, data by way of N. W. Galwey: REML day
    0.6889, residual 0.5580; combined means 2.91 2.92 3.57 4.85 4.42; Kenward-Roger F 6.981 on 4
    and 17.36 df, p .0015 (computed with general statistics software from these data)."""
    analysis = analyse(cox())
    model = analysis.models[0]
    variances = dict(model.variances)
    assert variances["block"] == pytest.approx(0.6889, abs=5e-5)
    assert variances["residual"] == pytest.approx(0.5580, abs=5e-5)
    (_, num, den, f, p), *_ = model.tests
    assert (num, den) == pytest.approx((4, 17.36), abs=0.005)
    assert f == pytest.approx(6.981, abs=5e-4)
    assert p == pytest.approx(0.0015, abs=5e-5)
    means = {
        one.treatment: one.value
        for one in analysis.means
        if one.estimand == "per bag started" and one.unit == "g"
    }
    known = dict(zip(("T1", "T2", "T3", "T4", "T5"), (2.91, 2.92, 3.57, 4.85, 4.42), strict=True))
    assert means == pytest.approx(known, abs=0.005)


def test_incomplete_blocks_are_dealt_out_within_blocks() -> None:
    """The p value against 40,000 layouts shuffled by hand, least squares with blocks."""
    records = cox()
    analysis = analyse(records)
    finding = next(one for one in analysis.findings if one.id == "yield-started-T4")
    bags = records.bags
    names = ["T1", "T2", "T3", "T4", "T5"]
    blocks = np.eye(10)[bags["block"].astype(int)]
    y = bags["total_g"].to_numpy()
    rng = np.random.default_rng(3)

    def difference(labels: np.ndarray) -> float:
        design = np.column_stack([blocks, *(labels == name for name in names[1:])])
        return float(np.linalg.lstsq(design, y, rcond=None)[0][10 + 2])

    labels = bags["treatment"].to_numpy().reshape(10, 3)
    seen = abs(difference(labels.ravel()))
    drawn = [abs(difference(rng.permuted(labels, axis=1).ravel())) for _ in range(4_000)]
    share = np.mean(np.array(drawn) >= seen - 1e-9)
    assert finding.p_rerandomised == pytest.approx(share, abs=4 * math.sqrt(share / 4_000) + 1e-3)


def test_a_split_plot_dealt_out_again_is_one() -> None:
    records = semiconductor()
    bags = records.bags
    level, other = bags["treatment"].str[:2], bags["treatment"].str[2:]
    redeal = split_plot_redeal(level, other, bags["treatment"], bags["batch"], bags["block"])
    for labels in redeal(np.random.default_rng(5), 50):
        table = labels.reshape(4, 3, 2)
        for block in table:
            assert sorted(block.ravel()) == sorted(bags["treatment"].unique())
            for batch in block:
                assert len({one[:2] for one in batch}) == 1
    pair = {"treated": "a3b2", "control": "a1b1", "generator": np.random.default_rng(5)}
    test = rerandomise_layouts(
        bags["treatment"], bags["total_g"], redeal, nuisance=indicators(bags["block"]),
        draws=2_000, **pair,
    )  # fmt: skip
    assert 0 < test.p < 0.2


def test_a_table_dealt_out_again_keeps_its_balance() -> None:
    labels = np.array(["A", "B", "C", "B", "C", "A", "C", "A", "B", "A", "B", "C"])
    rows, columns = np.repeat(range(4), 3), np.tile(range(3), 4)
    redeal = table_redeal(labels, rows, columns)
    seen = set()
    for drawn in redeal(np.random.default_rng(8), 300):
        table = drawn.reshape(4, 3)
        assert all(sorted(row) == ["A", "B", "C"] for row in table)
        for column in table.T:
            assert sorted(np.unique(column, return_counts=True)[1]) == [1, 1, 2]
        seen.add("".join(drawn))
    assert len(seen) > 60
    with pytest.raises(ValueError, match="every cell"):
        table_redeal(labels[:-1], rows[:-1], columns[:-1])
