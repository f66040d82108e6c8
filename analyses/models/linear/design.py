"""From a table and the names of its columns to the arrays of a mixed model."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from analyses.models.linear.arrays import Array, Codes, Column, FitError, plain_list
from analyses.models.linear.basis import Basis, Covariate, Factor
from analyses.models.linear.coding import code_terms
from analyses.models.linear.formula import Terms, read_fixed
from analyses.models.linear.groups import Grouping, cross, group, missing
from analyses.models.linear.repeats import note_repeats

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Design", "Table", "lay_out"]

Table: TypeAlias = "Mapping[str, Any] | pd.DataFrame"

_CELLS = 4096  # more combinations of fixed factors than this are kept row by row

_Columns = dict[str, Column]


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A mixed model as arrays.

    Attributes
    ----------
    response : array, shape (n,)
        The response, on the log scale if asked.
    basis : Basis
        What the columns of the fixed part mean.
    cells : array of int, shape (n,), or None
        Which row of `cell_rows` belongs to each observation; None when they are the same.
    cell_rows : array, shape (cells, columns) or (n, columns)
        The distinct rows of the fixed part.
    random : tuple of Grouping
        The random terms, in the order given.
    residual : Grouping or None
        The factor with a residual variance for each level.
    used : array of int, shape (n,)
        Positions of the rows of the table that were used.
    notes : tuple of str
        What was left out, in plain words.
    """

    response: Array
    basis: Basis
    cells: Codes | None
    cell_rows: Array
    random: tuple[Grouping, ...]
    residual: Grouping | None = None
    used: Codes
    notes: tuple[str, ...] = ()


def lay_out(
    frame: Table,
    response: str,
    fixed: str,
    random: Sequence[str] = (),
    *,
    log: bool = False,
    residual_by: str | None = None,
) -> Design:
    """Read the columns that a model needs and code them.

    Parameters
    ----------
    frame : data frame or mapping of str to array
        The table, one row an observation.
    response, fixed, random, log, residual_by
        As in `analyses.models.mixed.fit_mixed`.

    Returns
    -------
    Design
        Rows with a missing response or label are left out and noted.

    Raises
    ------
    FitError
        If a column is absent, no row is left, or a logarithm cannot be taken.
    """
    terms = read_fixed(fixed)
    parts = [[name.strip() for name in term.split(":")] for term in random]
    sources = {name: _source(name, frame) for name in terms.variables}
    needed = [*sources.values(), *(name for term in parts for name in term)]
    needed = list(dict.fromkeys([*needed, residual_by] if residual_by else needed))
    whole = {name: _column(frame, name) for name in [response, *needed]}
    used, notes = _rows_to_use(whole, response)
    columns = whole if used is None else {name: _take(one, used) for name, one in whole.items()}
    y = _response(columns[response], response, log=log)
    basis, coded = _basis(terms, sources, columns)
    cells, cell_rows = _cells(basis, coded, columns, len(y))
    grouped = {
        name: coded[name] if name in coded else group(name, columns[name])
        for name in [*(n for term in parts for n in term), *([residual_by] if residual_by else [])]
    }
    terms_of = tuple(cross(":".join(term), [grouped[name] for name in term]) for term in parts)
    notes = [*notes, *_lost_levels(whole, columns, basis), *note_repeats(y, cells, terms_of)]
    return Design(
        response=y,
        basis=basis,
        cells=cells,
        cell_rows=cell_rows,
        random=terms_of,
        residual=grouped[residual_by] if residual_by else None,
        used=np.arange(len(y)) if used is None else used,
        notes=tuple(notes),
    )


def _source(name: str, frame: Table) -> str:
    """Give the column that a variable of the fixed part is made of."""
    if name in frame:
        return name
    if name.isidentifier():
        message = f"the table has no column '{name}'"
        raise FitError(message)
    from formulaic import Formula

    found = sorted(one for one in Formula(f"0 + {name}").required_variables if one in frame)
    if len(found) != 1:
        message = f"'{name}' must be made of one column of the table"
        raise FitError(message)
    return str(found[0])


def _column(frame: Table, name: str) -> Column:
    """Give a column as an array, or as it is if it is a categorical."""
    if name not in frame:
        message = f"the table has no column '{name}'"
        raise FitError(message)
    values = frame[name]
    dtype = getattr(values, "dtype", None)
    if getattr(dtype, "categories", None) is not None:
        return values
    if hasattr(dtype, "na_value") and not isinstance(dtype, np.dtype):
        return _without_pandas(values, str(getattr(dtype, "kind", "O")))
    return np.asarray(values)


def _without_pandas(values: Column, kind: str) -> Column:
    """Give a column of a pandas type of its own as numbers or labels, gaps as NaN or None."""
    if not values.isna().any():
        return values.to_numpy(dtype=object if kind == "O" else None)
    if kind in "iuf":
        return values.to_numpy(dtype=float, na_value=np.nan)
    return values.to_numpy(dtype=object, na_value=None)


def _take(values: Column, used: Codes) -> Column:
    return values.iloc[used] if hasattr(values, "iloc") else values[used]


def _rows_to_use(columns: _Columns, response: str) -> tuple[Codes | None, list[str]]:
    """Find the rows without gaps; None when they are all of them."""
    lengths = {len(values) for values in columns.values()}
    if len(lengths) != 1:
        message = "the columns of the table are not of one length"
        raise FitError(message)
    lacking = missing(columns[response])
    notes = []
    if lacking.any():
        notes.append(f"{_rows(lacking.sum())} without '{response}' left out")
    for name, values in columns.items():
        gaps = missing(values) & ~lacking
        if name != response and gaps.any():
            notes.append(f"{_rows(gaps.sum())} without '{name}' left out")
            lacking = lacking | gaps
    if not notes:
        return None, notes
    if lacking.all():
        message = f"no row has a value of '{response}' and of all other columns of the model"
        raise FitError(message)
    return np.flatnonzero(~lacking), notes


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"


def _response(values: Column, name: str, *, log: bool) -> Array:
    try:
        y = np.asarray(values, float)
    except (TypeError, ValueError):
        message = f"'{name}' must hold numbers"
        raise FitError(message) from None
    if not len(y):
        message = "the table has no rows"
        raise FitError(message)
    if not np.isfinite(y).all():
        message = f"'{name}' holds a value that is not a finite number"
        raise FitError(message)
    if not log:
        return y
    if (y <= 0).any():
        message = f"'{name}' is not above 0 in {_rows(int((y <= 0).sum()))}, so it has no logarithm"
        raise FitError(message)
    return np.asarray(np.log(y))


def _basis(
    terms: Terms, sources: dict[str, str], columns: _Columns
) -> tuple[Basis, dict[str, Grouping]]:
    factors: dict[str, Factor] = {}
    covariates: dict[str, Covariate] = {}
    coded: dict[str, Grouping] = {}
    for name, source in sources.items():
        values = columns[source]
        if name == source and (name in terms.as_factor or not _is_measured(values)):
            coded[name] = found = group(name, values)
            shares = np.bincount(found.codes, minlength=found.count) / len(found.codes)
            factors[name] = Factor(name=name, levels=found.levels, shares=shares)
        else:
            covariates[name] = _covariate(name, source, values)
    basis = Basis(
        intercept=terms.intercept,
        terms=terms.terms,
        blocks=code_terms(terms, covariates.keys()),
        factors=factors,
        covariates=covariates,
    )
    return basis, coded


def _is_measured(values: Column) -> bool:
    return getattr(values.dtype, "kind", "O") in "fiu"


def _covariate(name: str, source: str, values: Column) -> Covariate:
    if not _is_measured(values):
        message = f"'{name}' needs numbers, and '{source}' holds labels"
        raise FitError(message)
    numbers = np.asarray(values, float)
    if not np.isfinite(numbers).all():
        message = f"'{source}' holds a value that is not a finite number"
        raise FitError(message)
    evaluate = None if name == source else _expression(name, source, numbers)
    return Covariate(name=name, mean=float(numbers.mean()), source=source, evaluate=evaluate)


def _expression(name: str, source: str, values: Array) -> Callable[[Array], Array]:
    """Learn an expression from the data, so that it can be evaluated elsewhere."""
    import pandas as pd
    from formulaic import model_matrix
    from formulaic.errors import FormulaicError

    try:
        spec = model_matrix(f"0 + {name}", pd.DataFrame({source: values})).model_spec
    except FormulaicError as error:
        message = f"'{name}' cannot be worked out: {error}"
        raise FitError(message) from None

    def evaluate(at: Array) -> Array:
        return np.asarray(spec.get_model_matrix(pd.DataFrame({source: at})), float)

    return evaluate


def _cells(
    basis: Basis, coded: dict[str, Grouping], columns: _Columns, rows: int
) -> tuple[Codes | None, Array]:
    """Find the distinct rows of the fixed part, where it has factors only."""
    if not basis.covariates:
        if not coded:
            return np.zeros(rows, np.intp), basis.matrix({}, 1)
        crossed = cross("", list(coded.values()))
        if crossed.count <= _CELLS:
            example = np.empty(crossed.count, np.intp)
            example[crossed.codes] = np.arange(rows)
            codes = {name: one.codes[example] for name, one in coded.items()}
            return crossed.codes, basis.matrix(codes, crossed.count)
    values: _Columns = {name: one.codes for name, one in coded.items()}
    values |= {one.source: columns[one.source] for one in basis.covariates.values()}
    return None, basis.matrix(values, rows)


def _lost_levels(whole: _Columns, columns: _Columns, basis: Basis) -> list[str]:
    """Name the levels of fixed factors that lost every row to gaps."""
    if columns is whole:
        return []
    notes = []
    for name, factor in basis.factors.items():
        values = whole[name]
        before = group(name, _take(values, np.flatnonzero(~missing(values)))).levels
        lost = [level for level in before if level not in set(factor.levels)]
        if lost:
            notes.append(f"no row left for {name} {plain_list(lost)}: not compared")
    return notes
