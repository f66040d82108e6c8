"""Re-randomisation tests for Latin squares, split plots and layouts that can only be drawn."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.adjusted_labels import AdjustedLabels, orthonormal
from analyses.models.layouts.counted_layouts import CountPlan, Rerandomised, count_written
from analyses.models.layouts.label_codes import Statistic, block_codes, coded_labels, number_values
from analyses.models.layouts.label_layouts import DrawnLayouts, SquareLayouts, WithinBlocks
from analyses.models.layouts.relabelling_sums import Codes
from analyses.models.layouts.rerandomise import rerandomise
from analyses.models.numerics.jets import Array

__all__ = ["rerandomise_layouts", "rerandomise_split_plot", "rerandomise_square"]


def rerandomise_square(
    labels: npt.ArrayLike,
    rows: npt.ArrayLike,
    columns: npt.ArrayLike,
    response: npt.ArrayLike,
    *,
    treated: object = None,
    control: object = None,
    statistic: Statistic = "difference",
    generator: np.random.Generator | None = None,
    enumerate_up_to: int = 200_000,
    draws: int = 100_000,
) -> Rerandomised:
    """Test by shuffling the rows, columns and letters of the Latin square that was used.

    Parameters
    ----------
    labels, rows, columns, response
        One entry a unit, all cells of the square, shape (units,).
    treated, control, statistic, generator, enumerate_up_to, draws
        As in `rerandomise`; adjusted for rows and columns.

    Raises
    ------
    ValueError
        If the units do not make up a Latin square.
    """
    names, codes, y = coded_labels(labels, response, treated, control, statistic)
    places = np.stack([number_values(rows), number_values(columns)], axis=1)
    square = _checked_square(codes, places, len(names))
    layouts = SquareLayouts(square, places)
    nuisance = np.concatenate([np.eye(len(names))[place] for place in places.T], axis=1)
    evaluate = _evaluator(statistic, names, y, nuisance)
    plan = CountPlan(generator=generator, enumerate_up_to=enumerate_up_to, draws=draws)
    return count_written(
        layouts, codes, evaluate, plan, "of rows, columns and letters of the square"
    )


def rerandomise_split_plot(
    labels: npt.ArrayLike,
    other_labels: npt.ArrayLike,
    plots: npt.ArrayLike,
    response: npt.ArrayLike,
    *,
    blocks: npt.ArrayLike | None = None,
    treated: object = None,
    control: object = None,
    statistic: str = "difference",
    generator: np.random.Generator | None = None,
    enumerate_up_to: int = 200_000,
    draws: int = 100_000,
) -> Rerandomised:
    """Test one factor of a split plot by dealing it out again where it was dealt out.

    A factor that is constant within whole plots is dealt out among the plots of a block; one that
    varies within plots among the units of each plot. The other factor stays where it is and is
    adjusted for.

    Parameters
    ----------
    labels
        The factor tested, shape (units,).
    other_labels
        The other factor, shape (units,).
    plots
        Whole plot of each unit, its label not used in another block, shape (units,).
    response
        NaN where the unit was lost, shape (units,).
    blocks
        Block of each unit, shape (units,).
    treated, control, statistic, generator, enumerate_up_to, draws
        As in `rerandomise`; "difference" or "treatments".

    Raises
    ------
    ValueError
        If a whole plot lies in two blocks, or as `rerandomise` does.
    """
    names, codes, y = coded_labels(labels, response, treated, control, statistic)
    _, first, plot = np.unique(np.asarray(plots), return_index=True, return_inverse=True)
    if (codes != codes[first][plot]).any():
        return rerandomise(
            labels, response, treated=treated, control=control, blocks=plot, statistic=statistic,
            generator=generator, enumerate_up_to=enumerate_up_to, draws=draws,
        )  # fmt: skip
    groups = block_codes(blocks, len(codes))
    if (groups != groups[first][plot]).any():
        msg = "a whole plot lies in more than one block; give plots of different blocks own labels"
        raise ValueError(msg)
    other = number_values(other_labels)
    nuisance = np.concatenate([np.eye(groups.max() + 1)[groups], np.eye(other.max() + 1)[other]], 1)
    evaluate = _adjusted(y, nuisance, plot, len(names), statistic)
    plan = CountPlan(generator=generator, enumerate_up_to=enumerate_up_to, draws=draws)
    layouts = WithinBlocks(codes[first], groups[first])
    return count_written(layouts, codes[first], evaluate, plan, "of whole plots")


def rerandomise_layouts(
    labels: npt.ArrayLike,
    response: npt.ArrayLike,
    draw: Callable[[np.random.Generator, int], npt.ArrayLike],
    *,
    generator: np.random.Generator,
    treated: object = None,
    control: object = None,
    nuisance: npt.ArrayLike | None = None,
    statistic: Statistic = "difference",
    draws: int = 100_000,
) -> Rerandomised:
    """Test over layouts from the function that drew the one used.

    Parameters
    ----------
    labels, response
        One entry a unit, shape (units,).
    draw
        Takes the generator and a count, gives labels of shape (count, units).
    nuisance
        Columns to adjust for, e.g. one for each row and column, shape (units, columns); a
        constant by default.
    treated, control, statistic, generator, draws
        As in `rerandomise`.
    """
    names, codes, y = coded_labels(labels, response, treated, control, statistic)
    order = np.argsort(names)

    def coded(source: np.random.Generator, count: int) -> Codes:
        drawn = np.asarray(draw(source, count))
        return order[np.searchsorted(names, drawn, sorter=order)].astype(np.int8)

    columns = np.ones((len(y), 1)) if nuisance is None else np.asarray(nuisance, float)
    evaluate = _evaluator(statistic, names, y, columns)
    plan = CountPlan(generator=generator, enumerate_up_to=0, draws=draws)
    return count_written(DrawnLayouts(coded), codes, evaluate, plan, "by the design's own draw")


def _checked_square(codes: Codes, places: npt.NDArray[np.intp], size: int) -> Codes:
    """Give the square, or say why it is none."""
    square = np.full((size, size), -1, np.int8)
    if len(codes) == size * size and (places.max(axis=0) == size - 1).all():
        square[places[:, 0], places[:, 1]] = codes
    full = np.arange(size)
    if (np.sort(square, axis=0) != full[:, None]).any() or (np.sort(square) != full).any():
        msg = "each treatment must stand once in every row and column of the square"
        raise ValueError(msg)
    return square


def _evaluator(
    statistic: Statistic, names: npt.NDArray[np.generic], y: Array, nuisance: Array
) -> Callable[[Codes], npt.ArrayLike]:
    """Give what turns label codes into values of the statistic."""
    if isinstance(statistic, str):
        return _adjusted(y, nuisance, np.arange(len(y)), len(names), statistic)

    def of_labels(layouts: Codes) -> npt.ArrayLike:
        return statistic(names[layouts])

    return of_labels


def _adjusted(
    y: Array, nuisance: Array, unit_of_row: npt.NDArray[np.intp], labels: int, statistic: str
) -> AdjustedLabels:
    """Adjust the responses that are there for the nuisance columns."""
    there = np.isfinite(y)
    basis = orthonormal(nuisance[there])
    residual = y[there] - y[there].mean()
    residual = residual - basis @ (basis.T @ residual)
    return AdjustedLabels(residual, basis, unit_of_row[there], labels, statistic)
