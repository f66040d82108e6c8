"""The mixed-model t statistic over re-randomised layouts.

Dealing labels out again within blocks is the same as moving the responses of whole units between
the places of their block: the design and the random terms stay, so that all layouts are columns
of responses of one design and `fit_batch` fits them together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.batches.batched import fit_batch
from analyses.models.layouts.rerandomise import Rerandomised, rerandomise
from analyses.models.numerics.jets import Array

__all__ = ["rerandomise_mixed"]

Index = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _MovedFits:
    """The t of one contrast for label vectors of the units."""

    table: Array  # responses, (units, rows of a unit)
    rows: Index  # row of the design at each place, (units, rows of a unit)
    design: Array
    contrast: Array
    groups: Mapping[str, npt.NDArray[np.generic]]
    labels: npt.NDArray[np.generic]
    blocks: Index

    def _ranked(self, layouts: npt.NDArray[np.generic]) -> Index:
        """Order units by block and then label, each layout a row."""
        codes = np.searchsorted(np.unique(self.labels), layouts)
        ranked: Index = np.argsort(self.blocks * (codes.max() + 1) + codes, axis=1, kind="stable")
        return ranked

    def __call__(self, layouts: npt.NDArray[np.generic]) -> Array:
        """Give t for each layout of labels, shape (layouts,)."""
        source = np.empty(layouts.shape, np.intp)
        source[:, self._ranked(self.labels[None])[0]] = self._ranked(layouts)
        responses = np.empty((len(self.design), len(layouts)))
        responses[self.rows.ravel()] = self.table[source].reshape(len(layouts), -1).T
        t: Array = fit_batch(responses, self.design, self.contrast, self.groups).t[0]
        return t


def rerandomise_mixed(
    labels: npt.ArrayLike,
    response: npt.ArrayLike,
    units: npt.ArrayLike,
    design: npt.ArrayLike,
    contrast: npt.ArrayLike,
    groups: Mapping[str, npt.ArrayLike],
    *,
    blocks: npt.ArrayLike | None = None,
    generator: np.random.Generator | None = None,
    enumerate_up_to: int = 200_000,
    draws: int = 100_000,
) -> Rerandomised:
    """Test with the t of a mixed model, labels dealt out again among the units of each block.

    Parameters
    ----------
    labels
        Treatment of each unit, shape (units,).
    response
        One row a measurement, NaN where missing, shape (rows,).
    units
        Which unit each row belongs to, numbered from 0 in the order of `labels`; each unit has
        the same rows in the same order (e.g. flush 1, 2, 3), shape (rows,).
    design
        Fixed part of the layout used; beyond the labels it may depend on the block and on the
        place of a row within its unit, shape (rows, coefficients).
    contrast
        Weights of the coefficients, shape (coefficients,).
    groups
        Random terms, outermost first, as in `fit_batch`; each is the same in all units of a
        block or different in every unit.
    blocks
        Block of each unit, shape (units,); None where labels were dealt out over all units.
    generator, enumerate_up_to, draws
        As in `rerandomise`.

    Raises
    ------
    ValueError
        If units have different rows, or moving a unit's responses within its block would change
        the model.
    """
    given = np.asarray(labels)
    unit = np.asarray(units, np.intp)
    x = np.asarray(design, float)
    place = np.zeros(len(given), np.intp)
    if blocks is not None:
        place = np.unique(np.asarray(blocks), return_inverse=True)[1]
    sizes = np.bincount(unit, minlength=len(given))
    if len(sizes) != len(given) or (sizes != sizes[0]).any():
        msg = "every unit needs the same number of rows, missing ones as NaN"
        raise ValueError(msg)
    rows = np.argsort(unit, kind="stable").reshape(len(given), -1)
    terms = {name: np.asarray(one) for name, one in groups.items()}
    _check_movable(given, place, rows, x, terms)
    fits = _MovedFits(
        table=np.asarray(response, float)[rows],
        rows=rows,
        design=x,
        contrast=np.atleast_2d(np.asarray(contrast, float)),
        groups=terms,
        labels=given,
        blocks=place,
    )
    return rerandomise(
        given,
        np.zeros(len(given)),
        blocks=blocks,
        statistic=fits,
        generator=generator,
        enumerate_up_to=enumerate_up_to,
        draws=draws,
    )


def _check_movable(
    labels: npt.NDArray[np.generic],
    blocks: Index,
    rows: Index,
    design: Array,
    terms: Mapping[str, npt.NDArray[np.generic]],
) -> None:
    """Check that units of one block differ in nothing but their label."""
    _, pair = np.unique(
        np.stack([blocks, np.unique(labels, return_inverse=True)[1]]), axis=1, return_inverse=True
    )
    first = np.unique(pair, return_index=True)[1][pair]
    if not np.array_equal(design[rows], design[rows][first]):
        msg = "units of one block and label must have the same fixed part"
        raise ValueError(msg)
    for name, values in terms.items():
        by_unit = values[rows]
        head = np.unique(blocks, return_index=True)[1][blocks]
        shared = bool((by_unit == by_unit[head]).all())
        owned = sum(len(np.unique(one)) for one in by_unit) == len(np.unique(values))
        if not (shared or owned):
            msg = f"random term {name!r} must be the same in a block or differ between all units"
            raise ValueError(msg)
