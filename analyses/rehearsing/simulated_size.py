"""How large a trial must be where no closed form is at hand: found by rehearsing it.

One rehearsal tells the reach of a size: in how many trials the interval would have stood clear of
nothing had the difference been a little more or less. Sizes are then changed as the square of
reach over worthwhile difference, and rehearsed again. Every number carries its Monte-Carlo error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyses.finding import BETTER_WHEN
from analyses.rehearsal import rehearse_hoped
from analyses.rehearsing.fit import Limits
from analyses.rehearsing.truth import USUAL
from trials.assumptions import Assumptions
from trials.problems import Refused
from trials.trial import Margin, Trial

__all__ = ["SimulatedPoint", "SimulatedSize", "simulate_size"]

Array: TypeAlias = npt.NDArray[np.float64]

_SEARCHES = 3
_MOST_TIMES = 12
_Progress: TypeAlias = Callable[[int], object] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedPoint:
    """What a trial of one size can see; each ``_error`` is a Monte-Carlo standard error.

    Parameters
    ----------
    bags : int
    reach, reach_error : float or None
        Smallest difference, or margin, settled with the power asked for; None where none would do.
    power, power_error : float or None
        For the worthwhile difference; None without one.
    width, width_error : float
        Mean width of the interval.
    """

    bags: int
    reach: float | None
    reach_error: float
    power: float | None
    power_error: float
    width: float
    width_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedSize:
    """A size question answered by rehearsals.

    Parameters
    ----------
    trial : Trial
        As planned.
    unit : str
        Of all differences: ``in 100``, ``days``, ``bags in 100`` or ``g``.
    worthwhile : float or None
    wanted : float
        Power asked for.
    planned : SimulatedPoint
    needed : SimulatedPoint or None
        The size that the worthwhile difference takes, rehearsed as well; None without one, where
        the plan is enough already, where the layout does not grow by blocks or bags, or where more
        than twelve times as many would be needed.
    bags_needed : int or None
        The same number, reckoned where it was not rehearsed; None where it is beyond that.
    trials : int
        Rehearsed for each number.
    assumptions : Assumptions
    """

    trial: Trial
    unit: str
    worthwhile: float | None
    wanted: float
    planned: SimulatedPoint
    needed: SimulatedPoint | None
    bags_needed: int | None
    trials: int
    assumptions: Assumptions


def simulate_size(
    trial: Trial,
    *,
    power: float = 0.8,
    trials: int = 200,
    seed: int | None = None,
    assumptions: Assumptions | None = None,
    executor: Executor | None = None,
    progress: _Progress = None,
) -> SimulatedSize:
    """Say what a planned trial can see, and what its worthwhile difference takes, by rehearsal.

    Parameters
    ----------
    trial : Trial
    power : float
        Chance asked for.
    trials : int
        Rehearsals for each number.
    seed : int, optional
        The plan's own when not given.
    assumptions : Assumptions, optional
    executor : concurrent.futures.Executor, optional
        Workers.
    progress : callable, optional
        Told how many trials have been rehearsed since it was told before.

    Returns
    -------
    SimulatedSize
    """
    crop = Assumptions() if assumptions is None else assumptions
    chosen = trial.design.seed if seed is None else seed

    def rehearsed(plan: Trial, effect: Margin | None) -> tuple[float, float, str, Limits]:
        world, limits = rehearse_hoped(
            plan, trials, chosen, executor, assumptions=crop, effect=effect, progress=progress
        )
        return abs(world.difference), world.margin, world.unit, limits

    first = trial.aim.worthwhile or USUAL[trial.aim.outcome]
    effect = first if trial.aim.claim == "better" else None
    made, worth, unit, limits = rehearsed(trial, effect)
    told = None if math.isnan(worth) else worth
    planned = _point(trial, limits, made, told, power)
    for _ in range(_SEARCHES - 1 if trial.aim.claim == "better" else 0):
        if planned.reach is None or abs(planned.reach - made) < 2 * planned.reach_error:
            break
        try:
            made, _, _, limits = rehearsed(trial, _as_margin(planned.reach, unit))
        except Refused:  # no difference that large is possible
            planned = replace(planned, reach=None)
            break
        again = _point(trial, limits, made, None, power)
        planned = replace(planned, reach=again.reach, reach_error=again.reach_error)
    needed, bags = None, None
    if told is not None and planned.reach is not None and planned.power is not None:
        needed, bags = _grown(trial, planned, told, power, lambda plan: rehearsed(plan, effect))
    return SimulatedSize(
        trial=trial, unit=unit, worthwhile=told, wanted=power, planned=planned, needed=needed,
        bags_needed=bags, trials=trials, assumptions=crop,
    )  # fmt: skip


def _as_margin(size: float, unit: str) -> Margin:
    return Margin(value=size, unit={"g": "g", "days": "days"}.get(unit, "in 100"))  # type: ignore[arg-type]


def _point(
    trial: Trial, limits: Limits, made: float, worth: float | None, power: float
) -> SimulatedPoint:
    """Read off one rehearsal what a trial of this size can see."""
    needed = _needed(limits, trial, made)
    count = needed.shape[1]
    ordered = np.sort(needed.ravel())
    reach, error = _quantile(ordered, power), 0.0
    slack = math.sqrt(power * (1 - power) / count)
    if math.isfinite(reach):
        ends = (max(power - slack, 0.0), min(power + slack, 1.0))
        low, high = (_quantile(ordered, end) for end in ends)
        error = (high - low) / 2 if math.isfinite(high) else reach - low
    settled = (needed < worth).mean(axis=0) if worth is not None else None
    width = (limits.high - limits.low).mean(axis=0)
    width = width[np.isfinite(width)]
    return SimulatedPoint(
        bags=trial.units,
        reach=reach if math.isfinite(reach) else None,
        reach_error=error,
        power=None if settled is None else float(settled.mean()),
        power_error=0.0 if settled is None else float(settled.std(ddof=1) / math.sqrt(count)),
        width=float(width.mean()) if len(width) else math.nan,
        width_error=float(width.std(ddof=1) / math.sqrt(len(width))) if len(width) > 1 else 0.0,
    )


def _quantile(ordered: Array, share: float) -> float:
    """Give the smallest value that so large a share lies at or below."""
    place = min(max(math.ceil(share * len(ordered)) - 1, 0), len(ordered) - 1)
    return float(ordered[place])


def _needed(limits: Limits, trial: Trial, made: float) -> Array:
    """Give the difference, or margin, from which each comparison would have been settled.

    Infinite where inference is withheld. A gain that was `made` shifts the interval with it; the
    margins of "no worse" and "same" are held against the interval as it is.
    """
    low, high = limits.low, limits.high
    if BETTER_WHEN[trial.aim.outcome] == "lower":
        low, high = -high, -low
    if trial.aim.claim == "better":
        found = made - low
    elif trial.aim.claim == "no worse":
        found = -low
    else:
        found = np.maximum(-low, high)
    return np.where(np.isfinite(found), np.maximum(found, 0.0), np.inf)


def _grown(
    trial: Trial,
    planned: SimulatedPoint,
    worth: float,
    power: float,
    rehearsed: Callable[[Trial], tuple[float, float, str, Limits]],
) -> tuple[SimulatedPoint | None, int | None]:
    """Find the size that settles the worthwhile difference."""
    if planned.reach is None or (planned.power or 0.0) >= power:
        return None, planned.bags
    now, reach, point = _rounds(trial), planned.reach, None
    if now is None:
        times = (reach / worth) ** 2
        return None, math.ceil(planned.bags * times) if times <= _MOST_TIMES else None
    rounds, first = now, now
    for _ in range(_SEARCHES - 1):
        wanted = math.ceil(rounds * (reach / worth) ** 2 - 1e-9)
        if wanted > _MOST_TIMES * first:
            return None, None
        if wanted == rounds and point is not None:
            break
        rounds = max(wanted, 2)
        grown = _with_rounds(trial, rounds)
        made, _, _, limits = rehearsed(grown)
        point = _point(grown, limits, made, worth, power)
        if point.reach is None:
            return None, None
        reach = point.reach
    return point, None if point is None else point.bags


def _rounds(trial: Trial) -> int | None:
    """Give what a plan grows by: growers are asked for by name, so that their blocks grow."""
    if trial.design.layout in ("complete blocks", "split plot"):
        return trial.design.blocks
    if trial.design.layout == "completely random":
        return trial.design.units_per_treatment
    return None


def _with_rounds(trial: Trial, rounds: int) -> Trial:
    if trial.design.layout == "completely random":
        return replace(trial, design=replace(trial.design, units_per_treatment=rounds))
    return replace(trial, design=replace(trial.design, blocks=rounds, places=()))
