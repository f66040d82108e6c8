"""The columns of the fixed part, and a row of them for any combination of factors."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from analyses.models.linear.arrays import Array, Codes, FitError
from analyses.models.linear.coding import Block

__all__ = ["Basis", "Covariate", "Factor", "written"]


def written(level: object) -> str:
    """Write a level as a person would: 0.5, 1, north."""
    return f"{level:.12g}" if isinstance(level, float) else str(level)


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """A factor of the fixed part.

    Attributes
    ----------
    name : str
        The column.
    levels : tuple
        Its levels; the first one is the reference.
    shares : array, shape (levels,)
        Share of the rows that each level has.
    """

    name: str
    levels: tuple[Any, ...]
    shares: Array

    def codes(self, labels: Sequence[Any]) -> Codes:
        """Find levels by label or by what is written for them.

        Raises
        ------
        FitError
            If a label is none of the levels.
        """
        place = {written(level): at for at, level in enumerate(self.levels)}
        unknown = [label for label in labels if written(label) not in place]
        if unknown:
            known = ", ".join(place)
            message = f"'{self.name}' has no level '{unknown[0]}'; its levels are {known}"
            raise FitError(message)
        return np.array([place[written(label)] for label in labels], np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Covariate:
    """A measured variable of the fixed part.

    Attributes
    ----------
    name : str
        The column, or an expression such as "log(weight)".
    mean : float
        Mean of the column over the rows used; adjusted means are taken there.
    source : str
        The column that the expression is made of.
    evaluate : callable or None
        Turns values of `source` into columns; None for a plain column.
    """

    name: str
    mean: float
    source: str
    evaluate: Callable[[Array], Array] | None = None

    def columns(self, values: Array) -> Array:
        """Give the columns for values of the source, shape (rows, width)."""
        return values[:, None] if self.evaluate is None else self.evaluate(values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """The columns of the fixed part under treatment coding.

    Attributes
    ----------
    intercept : bool
        Whether the first column is an overall level.
    terms : tuple of tuple of str
        Variables of each term.
    blocks : tuple of Block
        The columns after the overall level, block by block (`analyses.models.linear.coding`).
    factors : dict of str to Factor
        The factors of the fixed part.
    covariates : dict of str to Covariate
        The measured variables.
    """

    intercept: bool
    terms: tuple[tuple[str, ...], ...]
    blocks: tuple[Block, ...]
    factors: dict[str, Factor]
    covariates: dict[str, Covariate]

    def matrix(self, values: Mapping[str, npt.NDArray[Any]], rows: int) -> Array:
        """Give the columns for codes of factors and values of covariates, one entry a row."""
        coded = {
            name: np.eye(len(factor.levels))[values[name]] for name, factor in self.factors.items()
        }
        for name, covariate in self.covariates.items():
            coded[name] = covariate.columns(np.asarray(values[covariate.source], float))
        return self._assemble(coded, rows)

    def rows(
        self,
        at: Mapping[str, Sequence[Any]],
        *,
        weights: str | Mapping[str, Sequence[float]] = "equal",
        slope: str | None = None,
    ) -> Array:
        """Give a row of weights for each combination of levels, averaged over what is not named.

        A full crossing with weights that multiply has an average that multiplies too, so no
        grid is ever laid out.

        Parameters
        ----------
        at : mapping of str to sequence
            For each factor or covariate named, one entry a row: a label or a value.
        weights : {"equal", "observed"} or mapping, default "equal"
            How the levels of other factors count: alike, by their share of the rows, or as
            given for each factor.
        slope : str, optional
            Give the slope along this covariate instead of the mean.

        Returns
        -------
        array, shape (rows, columns)
            Weights of the coefficients.
        """
        known = self.factors.keys() | {one.source for one in self.covariates.values()}
        for name in at:
            if name not in known:
                message = f"'{name}' is not in the fixed part of the model"
                raise FitError(message)
        count = max((len(labels) for labels in at.values()), default=1)
        coded = {}
        for name, factor in self.factors.items():
            eye = np.eye(len(factor.levels))
            share = self._share(factor, weights)
            coded[name] = eye[factor.codes(at[name])] if name in at else np.tile(share, (count, 1))
        for name, covariate in self.covariates.items():
            values = at.get(covariate.source, [covariate.mean] * count)
            coded[name] = covariate.columns(np.asarray(values, float))
        if slope is None:
            return self._assemble(coded, count)
        self._check_slope(slope)
        coded[slope] = np.ones((count, 1))
        return self._assemble(coded, count, {slope})

    def term_rows(self, term: tuple[str, ...]) -> Array:
        """Give the contrasts that a term stands for, averaged over all else with equal weights.

        For factors these are differences from the first level, for several factors differences
        of differences, for a covariate its slope; other covariates stay at their means.
        """
        parts = {name: self._differences(name) for name in term}
        places = list(product(*(range(len(parts[name])) for name in term)))
        coded = {}
        for name, factor in self.factors.items():
            equal = np.full(len(factor.levels), 1 / len(factor.levels))
            coded[name] = np.tile(equal, (len(places), 1))
        for name, covariate in self.covariates.items():
            middle = covariate.columns(np.array([covariate.mean]))
            coded[name] = np.tile(middle, (len(places), 1))
        for at, name in enumerate(term):
            coded[name] = parts[name][[place[at] for place in places]]
        return self._assemble(coded, len(places), set(term))

    def _differences(self, name: str) -> Array:
        if name in self.factors:
            eye = np.eye(len(self.factors[name].levels))
            return np.asarray(eye[1:] - eye[0])
        covariate = self.covariates[name]
        return np.eye(covariate.columns(np.array([covariate.mean])).shape[1])

    def _check_slope(self, name: str) -> None:
        if name not in self.covariates:
            message = f"'{name}' is not a covariate of the model, so it has no slope"
            raise FitError(message)
        others = [c for c in self.covariates.values() if c.source == name and c.name != name]
        if others or self.covariates[name].evaluate is not None:
            message = f"'{name}' enters through an expression, so it has no single slope"
            raise FitError(message)

    @staticmethod
    def _share(factor: Factor, weights: str | Mapping[str, Sequence[float]]) -> Array:
        if isinstance(weights, Mapping):
            given = weights.get(factor.name)
            if given is not None:
                share = np.asarray(given, float)
                if share.shape != (len(factor.levels),) or not share.sum() > 0:
                    message = f"the weights of '{factor.name}' must be one number a level"
                    raise FitError(message)
                return np.asarray(share / share.sum())
        elif weights == "observed":
            return factor.shares
        elif weights != "equal":
            message = f"weights are 'equal', 'observed' or given by factor, not '{weights}'"
            raise FitError(message)
        return np.full(len(factor.levels), 1 / len(factor.levels), float)

    def _assemble(
        self, coded: Mapping[str, Array], rows: int, within: AbstractSet[str] = frozenset()
    ) -> Array:
        """Multiply the columns of each term, its first variable fastest; 0 outside `within`."""
        blocks = []
        if self.intercept:
            blocks.append(np.full((rows, 1), 0.0 if within else 1.0))
        for variables in self.blocks:
            block = np.ones((rows, 1))
            for name, whole in variables:
                part = coded[name] if whole else coded[name][:, 1:]
                width = part.shape[1] * block.shape[1]
                block = (part[:, :, None] * block[:, None, :]).reshape(rows, width)
            inside = within <= {name for name, _ in variables}
            blocks.append(block if inside else np.zeros_like(block))
        return np.asarray(np.hstack(blocks)) if blocks else np.zeros((rows, 0))

    @property
    def has_crossing(self) -> bool:
        """Whether some term lies within another, as a factor does in its interaction."""
        sets = [set(term) for term in self.terms]
        return any(one < other for one in sets for other in sets)

    @property
    def names(self) -> tuple[str, ...]:
        """A name for each column."""
        names = ["Intercept"] if self.intercept else []
        for block in self.blocks:
            labels = [self._labels(name, whole) for name, whole in block]
            names += [":".join(reversed(one)) for one in product(*reversed(labels))]
        return tuple(names)

    def _labels(self, name: str, whole: bool) -> list[str]:
        if name in self.factors:
            levels = self.factors[name].levels
            return [f"{name}[{written(level)}]" for level in (levels if whole else levels[1:])]
        covariate = self.covariates[name]
        width = covariate.columns(np.array([covariate.mean])).shape[1]
        return [name] if width == 1 else [f"{name}[{at + 1}]" for at in range(width)]
