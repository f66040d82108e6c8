"""The fixed part: our reading of plain crossings against the library's, and their columns."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from formulaic import Formula, model_matrix

from analyses.models.linear.arrays import FitError
from analyses.models.linear.design import lay_out
from analyses.models.linear.formula import read_fixed

PLAIN = [
    "a",
    "a + b",
    "a * b",
    "a:b",
    "a + b + a:b",
    "a * b * c",
    "b * a + c",
    "a + b * c",
    "a:b * c",
    "c + a:b",
    "a * b + b * c",
    "a + a",
    "a*b+c",
]
OTHER = ["a - 1 + b", "0 + a", "a * b - a:b", "(a + b) * c", "a / b", "(a + b + c)**2", "1 + a"]


def by_library(text):
    terms = [[factor.expr for factor in term.factors] for term in Formula(text)]
    return [frozenset(one) for one in terms if one not in (["1"], ["0"])]


@pytest.mark.parametrize("text", PLAIN + OTHER)
def test_terms_agree_with_the_library(text):
    assert [frozenset(term) for term in read_fixed(text).terms] == by_library(text)
    assert read_fixed(text).intercept == any(str(term) == "1" for term in Formula(text))


def table(seed=0, rows=60):
    rng = np.random.default_rng(seed)
    data = pd.DataFrame({name: rng.choice([*"pqr"], rows) for name in "abc"})
    return data.assign(x=rng.normal(size=rows), y=rng.normal(size=rows))


@pytest.mark.parametrize("text", [*PLAIN, *OTHER[:4], "a * x", "a + log(x + 9)", "x + I(x**2) + b"])
def test_columns_span_what_the_library_spans(text):
    data = table()
    design = lay_out(data, "y", text)
    rows = design.cell_rows if design.cells is None else design.cell_rows[design.cells]
    library = np.asarray(model_matrix(text, data), float)
    both = np.hstack([rows, library])
    rank = np.linalg.matrix_rank
    assert rank(rows) == rank(library) == rank(both)
    assert rows.shape[1] == library.shape[1] == len(design.basis.names)


def test_names_and_order_of_columns():
    basis = lay_out(table(), "y", "a * b").basis
    assert basis.names == (
        "Intercept", "a[q]", "a[r]", "b[q]", "b[r]",
        "a[q]:b[q]", "a[r]:b[q]", "a[q]:b[r]", "a[r]:b[r]",
    )  # fmt: skip


def test_reading_twice_costs_nothing():
    assert read_fixed("a * b + c") is read_fixed("a * b + c")


def test_numbers_declared_a_factor():
    data = table().assign(dose=np.repeat([0.5, 1.0, 2.0], 20))
    basis = lay_out(data, "y", "C(dose) * a").basis
    assert basis.factors["dose"].levels == (0.5, 1.0, 2.0)
    assert basis.names[1:3] == ("dose[1]", "dose[2]")
    np.testing.assert_array_equal(basis.rows({"dose": ["1"]}), basis.rows({"dose": [1.0]}))


def test_rows_average_over_a_full_crossing():
    """The short cut for averages against the grid laid out."""
    basis = lay_out(table(), "y", "a * b * c + x").basis
    grid = [(b, c) for b in "pqr" for c in "pqr"]
    whole = basis.rows(
        {"a": ["q"] * 9, "b": [b for b, _ in grid], "c": [c for _, c in grid], "x": [0.3] * 9}
    )
    short = basis.rows({"a": ["q"], "x": [0.3]})
    np.testing.assert_allclose(short[0], whole.mean(0), atol=1e-15)
    shares = {"b": [1, 2, 3], "c": [1, 1, 2]}
    weights = np.kron(np.array([1, 2, 3]) / 6, np.array([1, 1, 2]) / 4)
    short = basis.rows({"a": ["q"], "x": [0.3]}, weights=shares)
    np.testing.assert_allclose(short[0], weights @ whole, atol=1e-15)


@pytest.mark.parametrize("text", ["a *", "a + (b", "log(a)", "I(x * y)", "zz * a"])
def test_plain_words_for_what_cannot_be_read(text):
    with pytest.raises(FitError):
        lay_out(table(), "y", text)
