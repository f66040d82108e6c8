"""Adjusted means and comparisons of any model that keeps the contract of `fit.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.models.families.multiplicity import holm, largest_t
from analyses.models.families.weights import family_rows, interaction_rows
from analyses.models.linear.arrays import Array, FitError
from analyses.models.linear.basis import written
from analyses.models.linear.fit import Fit, JointTest
from analyses.models.linear.student import t_quantile, t_two_sided

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Comparisons", "adjusted_means", "comparisons", "infer", "joint_tests", "slopes"]

_ARRAYS = (
    *("estimate", "se", "df", "t", "p", "low", "high"),
    *("p_unadjusted", "low_unadjusted", "high_unadjusted"),
)

_Levels = Mapping[str, Sequence[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparisons:
    """Estimates with their inference, one entry each; NaN where the data say nothing.

    Attributes
    ----------
    labels : tuple of str
        What is estimated.
    estimate, se, df, t, p, low, high : arrays, shape (m,)
        Under the adjustment asked for.
    p_unadjusted, low_unadjusted, high_unadjusted : arrays, shape (m,)
        Each on its own.
    adjust : str
        "none", "holm" or "exact".
    error : float
        99 % bound on the integration error of the exact p values, else 0.
    groups : tuple of tuple
        Levels of the factors that split the family, one entry each, or empty.
    notes : tuple of str
        What could not be estimated.
    by : tuple of str
        The factors that split the family.
    """

    labels: tuple[str, ...]
    estimate: Array
    se: Array
    df: Array
    t: Array
    p: Array
    low: Array
    high: Array
    p_unadjusted: Array
    low_unadjusted: Array
    high_unadjusted: Array
    adjust: str = "none"
    error: float = 0.0
    groups: tuple[tuple[Any, ...], ...] = ()
    notes: tuple[str, ...] = ()
    by: tuple[str, ...] = ()

    def frame(self, name: str = "contrast", value: str = "estimate") -> pd.DataFrame:
        """Give the comparisons as a frame; tests only where contrasts are meant.

        The frame's `attrs` hold `notes`, `adjust` and `integration_error`.
        """
        import pandas as pd

        columns: dict[str, Any] = {
            one: [group[at] for group in self.groups] for at, one in enumerate(self.by)
        }
        columns |= {name: list(self.labels), value: self.estimate, "se": self.se, "df": self.df}
        if name == "contrast":
            columns |= {"t": self.t, "p": self.p}
        columns |= {"low": self.low, "high": self.high}
        if self.adjust != "none":
            columns |= {
                "p_unadjusted": self.p_unadjusted,
                "low_unadjusted": self.low_unadjusted,
                "high_unadjusted": self.high_unadjusted,
            }
        frame = pd.DataFrame(columns)
        frame.attrs.update(notes=list(self.notes), adjust=self.adjust, integration_error=self.error)
        return frame


def infer(
    fit: Fit,
    rows: Array,
    labels: Sequence[str],
    *,
    df: str,
    adjust: str = "none",
    confidence: float = 0.95,
) -> Comparisons:
    """Estimate rows of weights of the coefficients, as one family.

    Parameters
    ----------
    fit : Fit
        Any model.
    rows : array, shape (m, columns)
        One row of weights a contrast.
    labels : sequence of str
        Their names.
    df : str
        A df method that the model knows.
    adjust : {"none", "holm", "exact"}
        Holm adjusts p and widens intervals by Bonferroni; exact uses the joint distribution for
        both, so an interval excludes 0 exactly when p < 1 - confidence.
    confidence : float
        Of the intervals.

    Raises
    ------
    FitError
        If the adjustment or the confidence is not one that exists.
    """
    _check_family(adjust, confidence)
    known = fit.estimable(rows)
    good = np.flatnonzero(known)
    joint = rows[good] @ fit.covariance_under(df) @ rows[good].T
    # In a tiny, lopsided trial the small-sample covariance can come out below nothing.
    certain = np.diag(joint) >= 0
    known[good[~certain]] = False
    good, joint = good[certain], joint[np.ix_(certain, certain)]
    estimate, se, freedom = (np.full(len(rows), np.nan) for _ in range(3))
    estimate[good] = rows[good] @ fit.coefficients
    se[good] = np.sqrt(np.diag(joint))
    freedom[good] = fit.df(rows[good], df)
    with np.errstate(invalid="ignore", divide="ignore"):
        t = estimate / se
    p = t_two_sided(t, freedom)
    limit = t_quantile((1 + confidence) / 2, freedom)
    adjusted, wide, error = p, limit, 0.0
    if adjust == "holm":
        adjusted = holm(p)
        wide = t_quantile(1 - (1 - confidence) / 2 / max(len(good), 1), freedom)
    elif adjust == "exact" and len(good):
        adjusted, wide = np.full((2, len(rows)), np.nan)
        largest = largest_t(joint)
        adjusted[good], errors = largest.p(t[good], freedom[good])
        wide[good] = largest.critical(freedom[good], confidence)
        error = float(errors.max())
    return Comparisons(
        labels=tuple(labels),
        estimate=estimate,
        se=se,
        df=freedom,
        t=t,
        p=adjusted,
        low=estimate - wide * se,
        high=estimate + wide * se,
        p_unadjusted=p,
        low_unadjusted=estimate - limit * se,
        high_unadjusted=estimate + limit * se,
        adjust=adjust,
        error=error,
        notes=tuple(
            f"{label}: cannot be estimated from these rows"
            for label, one in zip(labels, known, strict=True)
            if not one
        ),
    )


def _check_family(adjust: str, confidence: float) -> None:
    """Refuse an adjustment or a confidence that does not exist."""
    if adjust not in ("none", "holm", "exact"):
        message = f"adjust is 'none', 'holm' or 'exact', not '{adjust}'"
        raise FitError(message)
    if not 0 < confidence < 1:
        message = f"confidence lies between 0 and 1, not at {confidence}"
        raise FitError(message)


def adjusted_means(
    fit: Fit,
    factor: str | Sequence[str],
    *,
    df: str,
    by: str | Sequence[str] = (),
    at: _Levels | None = None,
    weights: str | _Levels = "equal",
    confidence: float = 0.95,
) -> Comparisons:
    """Give the mean of each level of a factor, or of each combination of several.

    Parameters
    ----------
    fit : Fit
        Any model.
    factor : str or sequence of str
        A factor, or several ("treatment:flush").
    df : str
        A df method that the model knows.
    by : str or sequence of str
        Factors whose levels are kept apart.
    at : mapping of str to sequence, optional
        Single levels or values at which other factors or covariates are held.
    weights : {"equal", "observed"} or mapping
        How the levels of the factors that are not named count (Searle, Speed & Milliken 1980,
        The American Statistician 34, 216-221, for equal weights).
    confidence : float
        Of the intervals.
    """
    parts = []
    for group, held in _groups(fit, by, at):
        labels, rows = _mean_rows(fit, factor, held, weights)
        parts.append((group, infer(fit, rows, labels, df=df, confidence=confidence)))
    return _join(parts, _names(by))


def comparisons(
    fit: Fit,
    factor: str | Sequence[str],
    kind: str | Mapping[str, Sequence[float]] = "versus control",
    *,
    df: str,
    control: object = None,
    adjust: str = "none",
    by: str | Sequence[str] = (),
    at: _Levels | None = None,
    weights: str | _Levels = "equal",
    confidence: float = 0.95,
) -> Comparisons:
    """Compare adjusted means of the levels of a factor.

    Parameters
    ----------
    kind : {"versus control", "all pairs", "consecutive", "interaction"} or mapping
        The family; "interaction" gives differences of differences from the first levels of
        several factors; a mapping gives weights of the levels by name.
    control : optional
        Level to compare with; the first one if not given.
    adjust : {"none", "holm", "exact"}
        Within each family; with `by`, each group is a family of its own.
    fit, factor, df, by, at, weights, confidence
        As in `adjusted_means` and `infer`.
    """
    parts = []
    for group, held in _groups(fit, by, at):
        labels, rows = _mean_rows(fit, factor, held, weights)
        if kind == "interaction":
            families = [family_rows(_levels(fit, one), "versus control") for one in _names(factor)]
            names, family = interaction_rows(families)
        else:
            names, family = family_rows(labels, kind, control)
        if not len(family):
            message = f"'{factor}' has one level, so there is nothing to compare"
            raise FitError(message)
        parts.append(
            (group, infer(fit, family @ rows, names, df=df, adjust=adjust, confidence=confidence))
        )
    return _join(parts, _names(by))


def slopes(
    fit: Fit,
    covariate: str,
    *,
    df: str,
    by: str | Sequence[str] = (),
    kind: str | Mapping[str, Sequence[float]] | None = None,
    control: object = None,
    adjust: str = "none",
    confidence: float = 0.95,
) -> Comparisons:
    """Give the slope along a covariate for each level of a factor, or compare the slopes.

    Parameters
    ----------
    covariate : str
        A column that enters the fixed part as it is.
    by : str or sequence of str
        Factors whose levels have slopes of their own; none gives the one average slope.
    kind : optional
        A family as in `comparisons`, to compare the slopes instead of giving them.
    fit, df, control, adjust, confidence
        As in `infer`.
    """
    names = _names(by)
    grid = list(product(*(_levels(fit, name) for name in names)))
    at = {name: [one[place] for one in grid] for place, name in enumerate(names)}
    rows = fit.basis.rows(at, slope=covariate)
    labels = [":".join(written(level) for level in one) or "overall" for one in grid]
    if kind is not None:
        labels, family = family_rows(labels, kind, control)
        rows = family @ rows
    return infer(fit, rows, labels, df=df, adjust=adjust, confidence=confidence)


def joint_tests(fit: Fit, *, df: str) -> tuple[list[str], list[JointTest], list[str]]:
    """Test each term of the fixed part, averaged over the others with equal weights.

    Parameters
    ----------
    fit : Fit
        Any model.
    df : str
        A df method that the model knows.

    Returns
    -------
    terms, tests, notes
        What was tested, the tests, and where a part of a term cannot be estimated.
    """
    terms, tests, notes = [], [], []
    for term in fit.basis.terms:
        rows = fit.basis.term_rows(term)
        if not len(rows):
            continue
        name = ":".join(term)
        test = fit.joint(rows, df)
        if test.num_df < len(rows):
            notes.append(f"{name}: only {test.num_df:.0f} of {len(rows)} contrasts can be tested")
        terms.append(name)
        tests.append(test)
    return terms, tests, notes


def _names(factor: str | Sequence[str]) -> tuple[str, ...]:
    if isinstance(factor, str):
        return tuple(factor.split(":")) if factor else ()
    return tuple(factor)


def _levels(fit: Fit, name: str) -> tuple[Any, ...]:
    if name not in fit.basis.factors:
        message = f"'{name}' is not a factor of the fixed part"
        raise FitError(message)
    return fit.basis.factors[name].levels


def _groups(
    fit: Fit, by: str | Sequence[str], at: _Levels | None
) -> list[tuple[tuple[Any, ...], dict[str, Any]]]:
    """Give each combination of the splitting factors and what is held there."""
    held = {}
    for name, value in (at or {}).items():
        single = not isinstance(value, str) and isinstance(value, Sequence)
        held[name] = value[0] if single else value
    names = _names(by)
    grid = product(*(_levels(fit, name) for name in names))
    return [(one, held | dict(zip(names, one, strict=True))) for one in grid]


def _mean_rows(
    fit: Fit, factor: str | Sequence[str], held: dict[str, Any], weights: str | _Levels
) -> tuple[list[str], Array]:
    names = _names(factor)
    grid = list(product(*(_levels(fit, name) for name in names)))
    at: dict[str, Any] = {name: [value] * len(grid) for name, value in held.items()}
    at |= {name: [one[place] for one in grid] for place, name in enumerate(names)}
    labels = [":".join(written(level) for level in one) for one in grid]
    return labels, fit.basis.rows(at, weights=weights)


def _join(parts: list[tuple[tuple[Any, ...], Comparisons]], by: tuple[str, ...]) -> Comparisons:
    """Put the groups of a split family one after the other."""
    if len(parts) == 1 and not parts[0][0]:
        return parts[0][1]
    arrays = {name: np.concatenate([getattr(one, name) for _, one in parts]) for name in _ARRAYS}
    return Comparisons(
        labels=tuple(label for _, one in parts for label in one.labels),
        adjust=parts[0][1].adjust,
        error=max(one.error for _, one in parts),
        groups=tuple(group for group, one in parts for _ in one.labels),
        notes=tuple(
            f"{':'.join(written(level) for level in group)}, {note}"
            for group, one in parts
            for note in one.notes
        ),
        by=by,
        **arrays,
    )
