"""Count the layouts whose statistic is at least as extreme as that of the layout used."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyses.models.layouts.additive_statistic import AdditiveStatistic
from analyses.models.layouts.label_layouts import Layouts
from analyses.models.layouts.relabelling_sums import Codes, TooManySums

__all__ = ["CountPlan", "Rerandomised", "count_additive", "count_written"]

_TIE = 1e-9  # relative difference below which statistics are tied
_ROUNDING = 1e-12  # of the largest statistic; what is closer to zero is zero
_CHUNK = 20_000  # layouts worked on at once


@dataclass(frozen=True, slots=True, kw_only=True)
class Rerandomised:
    """Result of a re-randomisation test.

    Parameters
    ----------
    p
        count / total, two-sided.
    count
        Layouts at least as extreme as the one used, which is among them.
    total
        Layouts looked at, the one used among them.
    exact
        Whether these are all layouts that the randomisation could have drawn.
    statistic
        Of the layout used, in units of the response (squared for "treatments").
    method
        What was done, in words.
    """

    p: float
    count: int
    total: int
    exact: bool
    statistic: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CountPlan:
    """How many layouts to list or draw.

    Parameters
    ----------
    generator
        Source of randomness, None where nothing may be drawn.
    enumerate_up_to
        List all layouts when there are at most this many.
    draws
        Layouts drawn otherwise.
    """

    generator: np.random.Generator | None
    enumerate_up_to: int
    draws: int

    def source(self) -> np.random.Generator:
        """Give the generator or say that one is needed."""
        if self.generator is None:
            msg = "too many layouts to list them all: pass a generator to draw some"
            raise ValueError(msg)
        return self.generator


def _limit(observed: float, scale: float) -> float:
    """Give the value from which a statistic counts as at least as extreme."""
    if not math.isfinite(observed):
        msg = "what is left of the layout used cannot tell the two labels apart"
        raise ValueError(msg)
    return abs(observed) * (1 - _TIE) - _ROUNDING * scale


def _result(beyond: int, total: int, exact: bool, statistic: float, where: str) -> Rerandomised:
    """Make the result; a drawn one counts the layout used in."""
    if exact:
        method = f"re-randomisation {where}, all {total:,} layouts"
    else:
        method = f"re-randomisation {where}, {total:,} layouts drawn and the one used"
        beyond, total = beyond + 1, total + 1
    return Rerandomised(
        p=beyond / total,
        count=beyond,
        total=total,
        exact=exact,
        statistic=float(statistic),
        method=method,
    )


def count_additive(
    additive: AdditiveStatistic, total: int, plan: CountPlan, where: str
) -> Rerandomised:
    """Test a statistic that adds up over blocks without writing layouts out.

    Parameters
    ----------
    additive
        The statistic with its blocks.
    total
        Number of layouts.
    plan
        Whether to list them all.
    where
        Where labels were dealt out, in words.

    Raises
    ------
    ValueError
        If the layout used has no statistic, or layouts must be drawn without a generator.
    """
    observed = additive.observed
    limit = _limit(observed, additive.scale)
    if total <= plan.enumerate_up_to:
        try:
            beyond, comparable = additive.count(limit)
        except TooManySums:
            pass
        else:
            return _result(beyond, comparable, True, observed, where)
    beyond, comparable = additive.draw(limit, plan.draws, plan.source())
    return _result(beyond, comparable, False, observed, where)


def count_written(
    layouts: Layouts,
    used: Codes,
    evaluate: Callable[[Codes], npt.ArrayLike],
    plan: CountPlan,
    where: str,
) -> Rerandomised:
    """Test any statistic on written-out layouts.

    Parameters
    ----------
    layouts
        All layouts.
    used
        Label codes of the layout used, shape (units,).
    evaluate
        Gives the statistic of layouts, shape (layouts, units) to (layouts,).
    plan
        Whether to list them all.
    where
        Where labels were dealt out, in words.

    Raises
    ------
    ValueError
        If the layout used has no statistic, or layouts must be drawn without a generator.
    """
    observed = float(np.asarray(evaluate(used[None]), float)[0])
    limit = _limit(observed, 0.0)
    exact = layouts.total is not None and layouts.total <= plan.enumerate_up_to
    if exact:
        chunks = layouts.every()
    else:
        source = plan.source()
        sizes = [min(_CHUNK, plan.draws - done) for done in range(0, plan.draws, _CHUNK)]
        chunks = (layouts.draw(source, size) for size in sizes)
    beyond = total = 0
    for chunk in chunks:
        values = np.abs(np.asarray(evaluate(chunk), float))
        values = values[~np.isnan(values)]
        rounding = _ROUNDING * values.max(initial=0.0)
        beyond += int(np.count_nonzero(values >= limit - rounding))
        total += len(values)
    return _result(beyond, total, exact, observed, where)
